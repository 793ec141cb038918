"""Signing in with a password, a passkey and a second secret; signing out."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from app import web
from app.actions import codes, passkeys, sign_in
from app.errors import Refused
from app.pages.forms import Entries
from app.store import accounts
from app.store.signed_in import SignedIn, fingerprint, viewer_by_key
from app.web import presence, signing
from app.web.cookies import read_cookie
from app.web.hosts import own_address

router = APIRouter()

WRONG = "The address of mail and the password do not belong together."
WRONG_CODE = "This is not a code that counts now. Wait for the next one, or take a code on paper."
OVER = "The sign-in took too long. Start again with the password."


@router.get("/sign-in")
@web.may("everyone")
def sign_in_form(request: Request, db: web.Db, asked: web.Asking) -> Response:
    address = own_next(request.query_params.get("next", ""))
    if asked.signed_in is not None:
        return web.see_other(address)
    return _form(request, Entries({"next": [address]}), nobody=not accounts.anybody(db))


@router.post("/sign-in")
@web.may("everyone")
def give_password(
    request: Request, asked: web.Asking, posted: web.Posted, now: signing.Clock
) -> Response:
    email, here = posted.one("email"), presence.place(request)
    with signing.writing(request) as db:
        wait = sign_in.try_password(db, email, here, now)
    with signing.reading(request) as db:
        account = sign_in.account_of(db, email)
    if wait:
        signing.tell(request, "password", "held up", account)
        return _later(_form(request, _typed(posted, wait_for(wait)), 429), wait)
    with signing.reading(request) as db:
        person, renewed = sign_in.person_with(db, email, posted.secret("password"))
    if person is None:
        signing.tell(request, "password", "wrong", account)
        return _form(request, _typed(posted, WRONG), 422)
    lasting = presence.lasting(request.app.state.settings)
    with signing.writing(request, person) as db:
        signing.end_earlier(request, db, now)
        key, second = sign_in.with_password(db, person.id, renewed, here, lasting, now)
    address = own_next(posted.one("next"))
    signing.tell(request, "password", "second wanted" if second else "in", person.id)
    return signing.let_in(request, key, second_address(address) if second else address)


@router.post("/sign-in/passkey/ask")
@web.may("everyone")
def ask_for_passkey(request: Request, asked: web.Asking, now: signing.Clock) -> Response:
    waiting = _waiting(request)
    with signing.writing(request) as db:
        person_id = waiting.viewer.person_id if waiting else None
        wanted = passkeys.ask_for_one(db, signing.site(request), now, person_id)
    return JSONResponse({"challenge": wanted.challenge_id, "options": wanted.options})


@router.post("/sign-in/passkey")
@web.may("everyone")
def give_passkey(
    request: Request, asked: web.Asking, posted: web.Posted, now: signing.Clock
) -> Response:
    here, lasting = presence.place(request), presence.lasting(request.app.state.settings)
    waiting = _waiting(request)
    person_id = waiting.viewer.person_id if waiting else None
    shown = posted.one("challenge"), posted.one("answer"), signing.site(request), now, person_id
    try:
        with signing.writing(request) as db:
            person = passkeys.accept(db, *shown)
    except Refused as refused:
        signing.tell(request, "passkey", "wrong", person_id)
        if waiting:
            return _second_form(request, waiting, posted, str(refused), 422)
        return _form(request, _typed(posted, str(refused)), 422)
    with signing.writing(request, person) as db:
        signing.end_earlier(request, db, now)
        how = waiting.how if waiting else "passkey"
        key = sign_in.begin(db, person, how, "passkey", here, lasting, now)
    signing.tell(request, "passkey", "in", person.id)
    return signing.let_in(request, key, own_next(posted.one("next")))


@router.get("/sign-in/second")
@web.may("everyone")
def second_form(request: Request, asked: web.Asking) -> Response:
    waiting = _waiting(request)
    address = own_next(request.query_params.get("next", ""))
    if waiting is None:
        return web.see_other(address if asked.signed_in else "/sign-in")
    return _second_form(request, waiting, {"next": [address]})


@router.post("/sign-in/second")
@web.may("everyone")
def give_code(
    request: Request, asked: web.Asking, posted: web.Posted, now: signing.Clock
) -> Response:
    waiting = _waiting(request)
    if waiting is None:
        return _form(request, _typed(posted, OVER), 422)
    with signing.writing(request) as db:
        wait = codes.try_code(db, waiting.viewer.person_id, now)
    if wait:
        signing.tell(request, "code", "held up", waiting.viewer.person_id)
        return _later(_second_form(request, waiting, posted, wait_for(wait), 429), wait)
    here, lasting = presence.place(request), presence.lasting(request.app.state.settings)
    with signing.reading(request) as db:
        person = accounts.person_or_raise(db, waiting.viewer.person_id)
    with signing.writing(request, person) as db:
        person = accounts.person_or_raise(db, person.id)
        second = codes.accept(db, person, posted.one("code"), signing.seal(request), now)
        if second is not None:
            key = sign_in.second_given(db, waiting.fingerprint, second, here, lasting, now)
    signing.tell(request, second or "code", "in" if second else "wrong", person.id)
    if second is None:
        return _second_form(request, waiting, posted, WRONG_CODE, 422)
    return signing.let_in(request, key, own_next(posted.one("next")))


@router.post("/sign-out")
@web.may("everyone")
def sign_out(request: Request, asked: web.Asking, now: signing.Clock) -> Response:
    key = read_cookie(request, request.app.state.settings)
    if key:
        with signing.writing(request) as db:
            person_id = sign_in.sign_out(db, fingerprint(key), now)
        signing.tell(request, "", "out", person_id)
    return signing.leave(request, "/sign-in")


def wait_for(seconds: int) -> str:
    """How long to wait after so many attempts, in the same words whoever tried."""
    spoken = f"{seconds} seconds" if seconds < 120 else f"{-(-seconds // 60)} minutes"
    return (
        f"Too many attempts to sign in. Wait {spoken} before the next one. "
        f"A passkey is not held up by this."
    )


def _waiting(request: Request) -> SignedIn | None:
    """Who gave a password here and is still to give the second secret."""
    key = read_cookie(request, request.app.state.settings)
    with signing.reading(request) as db:
        found = viewer_by_key(db, key, request.app.state.clock()) if key else None
    return found if found and found.second_wanted else None


def own_next(given: str) -> str:
    """Where to go on to: an address of our own that is not itself about signing in."""
    address = own_address(given)
    return "/" if address.startswith(("/sign-", "/set-up", "/new-password")) else address


def second_address(address: str) -> str:
    """Where the second secret is given, on the way to this address."""
    return f"/sign-in/second?next={quote(address, safe='')}"


def refused(request: Request, problem: str) -> Response:
    """The sign-in page, with why nobody was let in."""
    return _form(request, Entries({"next": ["/"]}, {"": problem}), 422)


def _typed(posted: web.Sent, problem: str) -> Entries:
    """What was typed, but for secrets, and what is wrong with it."""
    kept = {"email": [posted.one("email")], "next": [own_next(posted.one("next"))]}
    return Entries(kept, {"": problem})


def _later(answer: Response, seconds: int) -> Response:
    answer.headers["Retry-After"] = str(seconds)
    return answer


def _form(request: Request, entries: Entries, status: int = 200, nobody: bool = False) -> Response:
    return web.page(
        request,
        "sign_in/form.html",
        status,
        entries=entries,
        nobody=nobody,
        passkeys_at=signing.passkeys_at(request),
        openid_name=signing.openid_name(request),
    )


def _second_form(
    request: Request, waiting: SignedIn, typed: Any, problem: str = "", status: int = 200
) -> Response:
    address = own_next(next(iter(typed.get("next", ())), ""))
    with signing.reading(request) as db:
        person = accounts.person_or_raise(db, waiting.viewer.person_id)
        held = bool(accounts.passkeys(db, person.id))
    return web.page(
        request,
        "sign_in/second.html",
        status,
        entries=Entries({"next": [address]}, {"code": problem} if problem else {}),
        has_code=person.code_secret is not None,
        has_passkeys=held,
        passkeys_at=signing.passkeys_at(request),
    )
