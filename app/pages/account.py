"""One's own account: name, address of mail, password, where one is signed in, proving anew who one is."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import JSONResponse, Response

from app import web
from app.actions import passkeys, people, sign_in
from app.errors import Problem, Refused
from app.pages import forms
from app.pages.changing import faults_of, kept
from app.pages.forms import Entries
from app.pages.roles import role_words
from app.pages.sign_in import wait_for
from app.store import accounts, members, qualifications
from app.store.people import Person
from app.web import ground, presence, signing
from app.web.hosts import own_address

router = APIRouter()

SAVED = {
    "name": "Your name was changed.",
    "ground": "This browser shows pages so from now on.",
    "email": "Your address of mail was changed. Sign in with it from now on.",
    "password": "Your password was changed, and every other sign-in of yours has ended.",
    "joined": "You accepted the invitation.",
    "linked": "You can sign in by your provider from now on.",
    "unlinked": "The sign-in by your provider was removed.",
    "codes-off": "No codes are asked for any more.",
    "passkey-off": "The passkey was removed.",
    "revoked": "The token was revoked.",
    "ended": "The sign-in was ended.",
}


def person(db: web.Db, me: signing.Me) -> Person:
    """The row of the person who is signed in."""
    return accounts.person_or_raise(db, me.viewer.person_id)


Mine = Annotated[Person, Depends(person)]


@router.get("/account")
@web.may("own_account")
def account(request: Request, db: web.Db, mine: Mine) -> Response:
    return _account(request, db, mine, forms.filled({"name": mine.name}))


@router.post("/account/name")
@web.may("own_account")
def rename(request: Request, db: web.Db, mine: Mine, posted: web.Posted) -> Response:
    made = kept(db, lambda: people.rename(db, mine, posted.one("name")))
    if isinstance(made, Problem):
        entries = Entries(forms.typed(posted), forms.beside(faults_of(made), ("name",)))
        return _account(request, db, mine, entries, 422)
    return web.see_other("/account?saved=name")


@router.post("/account/ground")
@web.may("own_account")
def choose_ground(request: Request, posted: web.Posted) -> Response:
    answer = web.see_other("/account?saved=ground")
    ground.keep(request, answer, posted.one("ground"))
    return answer


@router.get("/account/email")
@web.may("own_account")
def email_form(request: Request, me: signing.Me, mine: Mine) -> Response:
    return signing.must_prove(request, me, "/account/email") or _email(
        request, forms.filled({"email": mine.email})
    )


@router.post("/account/email")
@web.may("own_account")
def change_email(
    request: Request, db: web.Db, me: signing.Me, mine: Mine, posted: web.Posted
) -> Response:
    if ask := signing.must_prove(request, me, "/account/email"):
        return ask
    made = kept(db, lambda: people.change_email(db, mine, posted.one("email")))
    if isinstance(made, Problem):
        beside = forms.beside(faults_of(made), ("email",))
        return _email(request, Entries(forms.typed(posted), beside), 422)
    return web.see_other("/account?saved=email")


@router.get("/account/password")
@web.may("own_account")
def password_form(request: Request, me: signing.Me, mine: Mine) -> Response:
    return signing.must_prove(request, me, "/account/password") or _password(
        request, mine, Entries()
    )


@router.post("/account/password")
@web.may("own_account")
def change_password(
    request: Request, me: signing.Me, posted: web.Posted, now: signing.Clock
) -> Response:
    if ask := signing.must_prove(request, me, "/account/password"):
        return ask
    wrong = _wrong_password(request, me.viewer.person_id, posted.secret("current"))
    with signing.writing(request) as db:
        mine = accounts.person_or_raise(db, me.viewer.person_id)
        if wrong and mine.password is not None:
            return _password(request, mine, Entries({}, {"current": wrong}), 422)
        new, again = posted.secret("password"), posted.secret("again")
        held = me.fingerprint
        made = kept(db, lambda: people.change_password(db, mine, new, again, held, now))
        if isinstance(made, Problem):
            beside = forms.beside(faults_of(made), ("password", "again"))
            return _password(request, mine, Entries({}, beside), 422)
        signing.end_earlier(request, db, now)
        lasting, here = presence.lasting(request.app.state.settings), presence.place(request)
        key = sign_in.begin(db, mine, me.how, me.second, here, lasting, now)
    return signing.let_in(request, key, "/account?saved=password")


@router.get("/account/sign-ins")
@web.may("own_account")
def sign_ins(request: Request, db: web.Db, me: signing.Me, now: signing.Clock) -> Response:
    return web.page(
        request,
        "account/sign_ins.html",
        found=[
            (sign_in.name_of(each), each)
            for each in accounts.sign_ins(db, me.viewer.person_id, now)
        ],
        this=me.fingerprint,
        saved=SAVED.get(request.query_params.get("saved", "")),
    )


@router.post("/account/sign-ins/end")
@web.may("own_account")
def end_sign_in(
    request: Request, db: web.Db, me: signing.Me, posted: web.Posted, now: signing.Clock
) -> Response:
    sign_in.end_one(db, me.viewer.person_id, posted.one("sign_in"), now)
    return web.see_other("/account/sign-ins?saved=ended")


@router.post("/account/sign-ins/end-all")
@web.may("own_account")
def end_everywhere(request: Request, db: web.Db, me: signing.Me, now: signing.Clock) -> Response:
    sign_in.end_everywhere(db, me.viewer.person_id, now)
    return signing.leave(request, "/sign-in")


# Proving anew


@router.get(signing.PROVE)
@web.may("own_account")
def prove_form(request: Request, db: web.Db, mine: Mine) -> Response:
    return _prove(request, db, mine, own_address(request.query_params.get("next", "")), "")


@router.post(signing.PROVE)
@web.may("own_account")
def prove(request: Request, me: signing.Me, posted: web.Posted, now: signing.Clock) -> Response:
    address = own_address(posted.one("next"))
    wrong = _wrong_password(request, me.viewer.person_id, posted.secret("password"))
    if wrong:
        with signing.reading(request) as db:
            mine = accounts.person_or_raise(db, me.viewer.person_id)
            return _prove(request, db, mine, address, wrong, 422)
    with signing.writing(request) as db:
        sign_in.proved(db, me.fingerprint, now)
    return web.see_other(address)


@router.post(f"{signing.PROVE}/ask")
@web.may("own_account")
def ask_to_prove(request: Request, db: web.Db, me: signing.Me, now: signing.Clock) -> Response:
    asked = passkeys.ask_for_one(db, signing.site(request), now, me.viewer.person_id)
    return JSONResponse({"challenge": asked.challenge_id, "options": asked.options})


@router.post(f"{signing.PROVE}/passkey")
@web.may("own_account")
def prove_by_passkey(
    request: Request, db: web.Db, me: signing.Me, mine: Mine, posted: web.Posted, now: signing.Clock
) -> Response:
    address, site = own_address(posted.one("next")), signing.site(request)
    challenge, answer = posted.one("challenge"), posted.one("answer")
    try:
        passkeys.accept(db, challenge, answer, site, now, mine.id)
    except Refused as refused:
        return _prove(request, db, mine, address, str(refused), 422)
    sign_in.proved(db, me.fingerprint, now)
    return web.see_other(address)


def _wrong_password(request: Request, person_id: int, given: str) -> str | None:
    """What is wrong with the password given anew; counted and slowed down as at sign-in."""
    here, now = presence.place(request), request.app.state.clock()
    with signing.reading(request) as db:
        email = accounts.person_or_raise(db, person_id).email
    with signing.writing(request) as db:
        wait = sign_in.try_password(db, email, here, now)
    if wait:
        return wait_for(wait)
    with signing.reading(request) as db:
        found, _ = sign_in.person_with(db, email, given)
    if found is None:
        return "This is not your password."
    with signing.writing(request) as db:
        sign_in.password_was_right(db, email, here)
    return None


def _account(
    request: Request, db: web.Db, mine: Person, entries: Entries, status: int = 200
) -> Response:
    belongs = members.memberships(db, person_id=mine.id)
    return web.page(
        request,
        "account/show.html",
        status,
        mine=mine,
        entries=entries,
        ground=forms.filled({"ground": ground.chosen(request)}),
        belongs=[(each.party.name, role_words(each.membership.role)) for each in belongs],
        qualified=qualifications.counting(db, mine.id),
        passkeys=len(accounts.passkeys(db, mine.id)),
        recovery=accounts.codes_left(db, mine.id),
        tokens=len(accounts.tokens(db, mine.id)),
        linked=accounts.open_identities(db, mine.id),
        openid_name=signing.openid_name(request),
        saved=SAVED.get(request.query_params.get("saved", "")),
    )


def _email(request: Request, entries: Entries, status: int = 200) -> Response:
    return web.page(request, "account/email.html", status, entries=entries)


def _password(request: Request, mine: Person, entries: Entries, status: int = 200) -> Response:
    return web.page(request, "account/password.html", status, entries=entries, mine=mine)


def _prove(
    request: Request, db: web.Db, mine: Person, address: str, problem: str, status: int = 200
) -> Response:
    return web.page(
        request,
        "account/prove.html",
        status,
        entries=Entries({"next": [address]}, {"password": problem} if problem else {}),
        mine=mine,
        has_passkeys=bool(accounts.passkeys(db, mine.id)),
        passkeys_at=signing.passkeys_at(request),
        openid_name=signing.openid_name(request) if accounts.open_identities(db, mine.id) else "",
    )
