"""Pages behind links that open something once: the first account, an invitation, a new password."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.access import ROLES
from app.actions import invitations, sign_in
from app.actions.invitations import Newcomer
from app.errors import Problem
from app.pages import forms
from app.pages.changing import faults_of, kept
from app.pages.forms import Entries
from app.pages.roles import ROLE_CHOICES, role_words
from app.store import accounts
from app.store.people import Invitation, Person
from app.store.tables import Party
from app.web import presence, signing
from app.web.hosts import from_this_machine

router = APIRouter()

FIRST_ROLES = ("planner", "compliance", "administrator")
ONLY_HERE = (
    "The first account is made on the machine on which the program runs, before it faces a network. "
    "Open the link there, at the address that was printed with it."
)
FIELDS = ("name", "email", "password", "again", "party", "roles")


@router.get("/set-up/{key}")
@web.may("everyone")
def set_up_form(request: Request, key: str, db: web.Db, now: signing.Clock) -> Response:
    if not from_this_machine(request):
        return _only_here(request)
    invitations.opened(db, key, "set_up", now)
    return _set_up(request, key, Entries({"roles": FIRST_ROLES}))


@router.post("/set-up/{key}")
@web.may("everyone")
def set_up(
    request: Request, key: str, posted: web.Posted, db: web.Db, now: signing.Clock
) -> Response:
    if not from_this_machine(request):
        return _only_here(request)
    roles = [role for role in ROLES if role in posted.get("roles", ())]
    new, party = _newcomer(posted), posted.one("party")
    made = kept(db, lambda: invitations.set_up(db, key, new, party, roles, now))
    if isinstance(made, Problem):
        return _set_up(request, key, _again(posted, made), 422)
    return _first_sign_in(request, db, made, now, "/people")


@router.get("/invitation/{key}")
@web.may("everyone")
def invitation_form(
    request: Request, key: str, db: web.Db, asked: web.Asking, now: signing.Clock
) -> Response:
    found = invitations.opened(db, key, "join", now)
    return _invited(request, db, key, found, Entries({"name": [found.name]}))


@router.post("/invitation/{key}")
@web.may("everyone")
def join(
    request: Request, key: str, posted: web.Posted, db: web.Db, now: signing.Clock
) -> Response:
    made = kept(db, lambda: invitations.join(db, key, _newcomer(posted), now))
    if isinstance(made, Problem):
        found = invitations.opened(db, key, "join", now)
        return _invited(request, db, key, found, _again(posted, made), 422)
    return _first_sign_in(request, db, made, now, "/account")


@router.post("/invitation/{key}/accept")
@web.may("own_account")
def join_with_account(
    request: Request, key: str, db: web.Db, me: signing.Me, now: signing.Clock
) -> Response:
    person = accounts.person_or_raise(db, me.viewer.person_id)
    invitations.join_as(db, key, person, now)
    return web.see_other("/account?saved=joined")


@router.get("/new-password/{key}")
@web.may("everyone")
def new_password_form(request: Request, key: str, db: web.Db, now: signing.Clock) -> Response:
    found = invitations.opened(db, key, "new_password", now)
    return _new_password(request, db, key, found, Entries())


@router.post("/new-password/{key}")
@web.may("everyone")
def set_password(
    request: Request, key: str, posted: web.Posted, db: web.Db, now: signing.Clock
) -> Response:
    password, again = posted.secret("password"), posted.secret("again")
    made = kept(db, lambda: invitations.set_password(db, key, password, again, now))
    if isinstance(made, Problem):
        found = invitations.opened(db, key, "new_password", now)
        return _new_password(request, db, key, found, _again(posted, made), 422)
    return signing.leave(request, "/sign-in")


def _newcomer(posted: web.Sent) -> Newcomer:
    return Newcomer(
        posted.one("name"), posted.one("email"), posted.secret("password"), posted.secret("again")
    )


def _first_sign_in(
    request: Request, db: Session, person: Person, now: Any, address: str
) -> Response:
    """Who has just made an account is signed in with it."""
    signing.end_earlier(request, db, now)
    here, lasting = presence.place(request), presence.lasting(request.app.state.settings)
    key = sign_in.begin(db, person, "set_up", "", here, lasting, now)
    signing.tell(request, "set_up", "in", person.id)
    return signing.let_in(request, key, address)


def _again(posted: web.Sent, problem: Problem) -> Entries:
    """The form as it was typed, but for its secrets."""
    typed = {name: values for name, values in posted.items() if name not in ("password", "again")}
    return Entries(typed, forms.beside(faults_of(problem), FIELDS))


def _only_here(request: Request) -> Response:
    return web.page(
        request,
        "error.html",
        403,
        heading="Not from here",
        message=ONLY_HERE,
        faults=[],
        held=None,
        back=None,
    )


def _set_up(request: Request, key: str, entries: Entries, status: int = 200) -> Response:
    return web.page(
        request, "sign_in/set_up.html", status, key=key, entries=entries, roles=ROLE_CHOICES
    )


def _invited(
    request: Request,
    db: Session,
    key: str,
    found: Invitation,
    entries: Entries,
    status: int = 200,
) -> Response:
    party = db.get(Party, found.party_id)
    admitted = request.state.admitted.signed_in
    person = accounts.person_or_raise(db, admitted.viewer.person_id) if admitted else None
    return web.page(
        request,
        "sign_in/invitation.html",
        status,
        key=key,
        entries=entries,
        email=found.email,
        made_by=found.made_by,
        party=party.name if party else "",
        roles=[role_words(role) for role in found.roles],
        me=person.email if person else "",
        openid_name=signing.openid_name(request),
    )


def _new_password(
    request: Request,
    db: Session,
    key: str,
    found: Invitation,
    entries: Entries,
    status: int = 200,
) -> Response:
    assert found.person_id is not None
    person = accounts.person_or_raise(db, found.person_id)
    return web.page(
        request, "sign_in/new_password.html", status, key=key, entries=entries, email=person.email
    )
