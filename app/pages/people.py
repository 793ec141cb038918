"""People and parties, for administrators: of one's own parties, or of any for who looks after the register."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import mail, web
from app.access import ROLES, Viewer
from app.actions import invitations, people
from app.actions.people import REGISTER_ONLY, Office
from app.errors import Problem, Refused
from app.pages import forms
from app.pages.changing import faults_of, kept
from app.pages.forms import Entries
from app.pages.roles import ROLE_CHOICES, role_words
from app.store import accounts, members, qualifications
from app.store.people import Invitation, Person
from app.store.tables import Party
from app.web import signing

router = APIRouter()

SAVED = {
    "roles": "The roles were added.",
    "role-ended": "The role has ended.",
    "ended": "This person may do nothing here any longer.",
    "taken-back": "The invitation was taken back; its link opens nothing.",
    "signed-out": "Every sign-in of this person has ended.",
    "second": "The password alone lets this person in now.",
    "party": "The party was added. Invite its first administrator.",
    "stands": "The party stands for itself now. Invite its first administrator.",
}
FIELDS = ("email", "name", "party", "roles")


@dataclass(frozen=True, slots=True)
class Line:
    """A person in the list of a party, with the roles there."""

    person: Person
    roles: list[str]


@dataclass(frozen=True, slots=True)
class Group:
    """A party with its people and those who are invited to it."""

    party: Party
    people: list[Line]
    invited: list[tuple[str, Invitation, list[str]]]


def office(viewer: web.Seeing) -> Office:
    """What the person who asks may administer."""
    return office_of(viewer)


def office_of(viewer: Viewer) -> Office:
    anywhere = viewer.looks_after_register
    return Office(None if anywhere else viewer.parties("administer"), viewer.name)


Administering = Annotated[Office, Depends(office)]


@router.get("/people")
@web.may("administer")
def people_list(
    request: Request, db: web.Db, office: Administering, now: signing.Clock
) -> Response:
    groups = groups_in(db, office, now)
    return web.page(
        request,
        "people/list.html",
        groups=groups,
        seen=seen_of(db, groups),
        former=members.former(db, office.parties),
        anywhere=office.parties is None,
        saved=_saved(request),
    )


def groups_in(db: Session, office: Office, now: datetime) -> list[Group]:
    """The parties of an office with their people and invitations, by name."""
    held = members.memberships(db, parties=office.parties)
    invited = members.invitations(db, office.parties, now)
    return [
        Group(party, _lines(held, party), _invited(invited, party))
        for party in members.standing(db, office.parties)
    ]


def seen_of(db: Session, groups: Sequence[Group]) -> dict[int, datetime]:
    """When each of their people was last there, for those who were."""
    return accounts.last_seen(db, {line.person.id for group in groups for line in group.people})


@router.get("/people/invite")
@web.may("administer")
def invite_form(request: Request, db: web.Db, office: Administering) -> Response:
    wanted = {"party": [request.query_params.get("party", "")]}
    return _invite(request, db, office, Entries(wanted))


@router.post("/people/invite")
@web.may("administer")
def invite(
    request: Request, office: Administering, posted: web.Posted, now: signing.Clock
) -> Response:
    email, name, roles = posted.one("email"), posted.one("name"), _roles(posted)
    party = forms.whole(posted.one("party")) or 0
    with signing.writing(request) as db:
        made = kept(db, lambda: invitations.invite(db, office, email, name, party, roles, now))
        if isinstance(made, Problem):
            entries = Entries(forms.typed(posted), forms.beside(faults_of(made), FIELDS))
            return _invite(request, db, office, entries, 422)
        party_name = people.party_in(db, office, party).name
    return _link(request, "invitation", f"/invitation/{made}", email, party_name)


@router.post("/people/invitations/take-back")
@web.may("administer")
def take_back(
    request: Request, db: web.Db, office: Administering, posted: web.Posted, now: signing.Clock
) -> Response:
    invitations.take_back(db, office, posted.one("invitation"), now)
    return web.see_other("/people?saved=taken-back")


@router.get("/people/parties")
@web.may("administer")
def parties(request: Request, db: web.Db, office: Administering) -> Response:
    return _parties(request, db, office, Entries())


@router.post("/people/parties")
@web.may("administer")
def add_party(request: Request, db: web.Db, office: Administering, posted: web.Posted) -> Response:
    _only_register(office)
    made = kept(db, lambda: people.add_party(db, posted.one("name")))
    if isinstance(made, Problem):
        beside = forms.beside(faults_of(made), ("name",))
        return _parties(request, db, office, Entries(forms.typed(posted), beside), 422)
    return web.see_other("/people?saved=party")


@router.post("/people/parties/{party_id}/stand-alone")
@web.may("administer")
def let_stand_alone(
    request: Request, party_id: web.Key, db: web.Db, office: Administering
) -> Response:
    _only_register(office)
    people.let_stand_alone(db, party_id)
    return web.see_other("/people?saved=stands")


@router.get("/people/{person_id}")
@web.may("administer")
def show_person(
    request: Request, person_id: web.Key, db: web.Db, office: Administering
) -> Response:
    person = people.seen_person(db, office, person_id)
    return _person(request, db, office, person, Entries())


@router.post("/people/{person_id}/roles")
@web.may("administer")
def add_roles(
    request: Request,
    person_id: web.Key,
    db: web.Db,
    office: Administering,
    posted: web.Posted,
    now: signing.Clock,
) -> Response:
    person = people.seen_person(db, office, person_id)
    party, roles = (forms.whole(posted.one("party")) or 0), _roles(posted)
    made = kept(db, lambda: people.give_roles(db, office, person_id, party, roles, now))
    if isinstance(made, Problem):
        beside = forms.beside(faults_of(made), ("party", "roles"))
        return _person(request, db, office, person, Entries(forms.typed(posted), beside), 422)
    return web.see_other(f"/people/{person_id}?saved=roles")


@router.post("/people/{person_id}/roles/end")
@web.may("administer")
def end_role(
    request: Request,
    person_id: web.Key,
    db: web.Db,
    office: Administering,
    posted: web.Posted,
    now: signing.Clock,
) -> Response:
    person = people.seen_person(db, office, person_id)
    role = forms.whole(posted.one("membership")) or 0
    made = kept(db, lambda: people.end_membership(db, office, person_id, role, now))
    return _after(request, db, office, person, made, "role-ended")


@router.post("/people/{person_id}/end")
@web.may("administer")
def end_person(
    request: Request, person_id: web.Key, db: web.Db, office: Administering, now: signing.Clock
) -> Response:
    person = people.seen_person(db, office, person_id)
    made = kept(db, lambda: people.end_person(db, office, person_id, now))
    return _after(request, db, office, person, made, "ended")


@router.post("/people/{person_id}/end-sign-ins")
@web.may("administer")
def end_sign_ins(
    request: Request, person_id: web.Key, db: web.Db, office: Administering, now: signing.Clock
) -> Response:
    person = people.seen_person(db, office, person_id)
    made = kept(db, lambda: people.end_sign_ins(db, office, person_id, now))
    return _after(request, db, office, person, made, "signed-out")


@router.post("/people/{person_id}/take-seconds-away")
@web.may("administer")
def take_seconds_away(
    request: Request, person_id: web.Key, db: web.Db, office: Administering, now: signing.Clock
) -> Response:
    person = people.seen_person(db, office, person_id)
    made = kept(db, lambda: people.take_seconds_away(db, office, person_id, now))
    return _after(request, db, office, person, made, "second")


@router.post("/people/{person_id}/new-password")
@web.may("administer")
def new_password(
    request: Request, person_id: web.Key, office: Administering, now: signing.Clock
) -> Response:
    with signing.writing(request) as db:
        person = people.seen_person(db, office, person_id)
        made = kept(db, lambda: invitations.new_password_link(db, office, person_id, now))
        if isinstance(made, Problem):
            return _after(request, db, office, person, made, "")
        email = person.email
    return _link(request, "new password", f"/new-password/{made}", email, "")


def _after(
    request: Request, db: Session, office: Office, person: Person, made: object, saved: str
) -> Response:
    if isinstance(made, Problem):
        entries = Entries({}, forms.beside(faults_of(made), ()))
        return _person(request, db, office, person, entries, 422)
    return web.see_other(f"/people/{person.id}?saved={saved}")


def _only_register(office: Office) -> None:
    if office.parties is not None:
        raise Refused(REGISTER_ONLY)


def _roles(posted: web.Sent) -> list[str]:
    return [role for role in ROLES if role in posted.get("roles", ())]


def _saved(request: Request) -> str | None:
    return SAVED.get(request.query_params.get("saved", ""))


def _lines(held: Sequence[members.Belongs], party: Party) -> list[Line]:
    lines: dict[int, Line] = {}
    for each in held:
        if each.party.id == party.id:
            line = lines.setdefault(each.person.id, Line(each.person, []))
            line.roles.append(role_words(each.membership.role))
    return list(lines.values())


def _invited(
    invited: Sequence[Invitation], party: Party
) -> list[tuple[str, Invitation, list[str]]]:
    return [
        (invitations.name_of(each), each, [role_words(role) for role in each.roles])
        for each in invited
        if each.party_id == party.id
    ]


def _party_choices(db: Session, office: Office) -> list[tuple[str, str]]:
    return [(str(each.id), each.name) for each in members.standing(db, office.parties)]


def _invite(
    request: Request, db: Session, office: Office, entries: Entries, status: int = 200
) -> Response:
    return web.page(
        request,
        "people/invite.html",
        status,
        entries=entries,
        parties=_party_choices(db, office),
        roles=ROLE_CHOICES,
        mails=mail.can_mail(request.app.state.settings),
    )


def _link(request: Request, what: str, path: str, email: str, party: str) -> Response:
    """The page that shows a link, once; it is mailed besides where a server for mail is set."""
    settings, link = request.app.state.settings, signing.public_address(request, path)
    joins = f" to {party}" if party else ""
    text = f"This link opens your {what}{joins} in Stencilbook. It works once.\n\n{link}\n"
    mailed = mail.send(settings, email, f"Stencilbook: your {what}", text)
    return web.page(
        request,
        "people/link.html",
        what=what,
        email=email,
        link=link,
        mailed=mailed,
        mails=mail.can_mail(settings),
    )


def _parties(
    request: Request, db: Session, office: Office, entries: Entries, status: int = 200
) -> Response:
    keeper = members.keeper(db)
    anywhere = office.parties is None
    return web.page(
        request,
        "people/parties.html",
        status,
        entries=entries,
        standing=members.standing(db, office.parties),
        kept=members.kept(db, keeper.id) if keeper and anywhere else [],
        anywhere=anywhere,
    )


def _person(
    request: Request,
    db: Session,
    office: Office,
    person: Person,
    entries: Entries,
    status: int = 200,
) -> Response:
    held = members.memberships(db, person_id=person.id, parties=office.parties)
    return web.page(
        request,
        "people/show.html",
        status,
        person=person,
        held=held,
        qualified=qualifications.counting(db, person.id),
        role_words=role_words,
        entries=entries,
        parties=_party_choices(db, office),
        roles=ROLE_CHOICES,
        seen=accounts.last_seen(db, [person.id]).get(person.id),
        saved=_saved(request),
    )
