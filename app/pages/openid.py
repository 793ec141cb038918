"""Signing in by a provider of OpenID Connect, and linking one's account to it."""

from __future__ import annotations

import hmac
import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from secrets import token_urlsafe

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from app import web
from app.actions import identities, sign_in
from app.errors import NotFound, Problem, Refused
from app.pages.account import Mine
from app.pages.sign_in import own_next, refused, second_address
from app.store import accounts
from app.store.people import Challenge
from app.store.signed_in import fingerprint
from app.web import openid, presence, signing
from app.web.cookies import drop_cookie, read_cookie, set_cookie
from app.web.openid import Begun, Identity
from app.web.rendering import query

router = APIRouter()
BACK = "/sign-in/openid/back"
COOKIE = "openid"
GOOD_FOR = timedelta(minutes=10)
MOST_WAITING = 5_000
FROM_HERE = ("same-origin", "none")
NOT_BEGUN = "This sign-in was not begun in this browser, or took too long. Start again."


@dataclass(frozen=True, slots=True)
class Waited:
    """Where to go on to; whose account is to be linked, if any; whether a secret had to be given anew."""

    address: str
    linking: int | None
    anew: bool


@router.get("/sign-in/openid")
@web.may("everyone")
def begin(request: Request, asked: web.Asking) -> Response:
    address = own_next(request.query_params.get("next", ""))
    if not _asked_by_a_person(request):
        return web.see_other(f"/sign-in{query({'next': address if address != '/' else ''})}")
    return _begin(request, address, None, anew=asked.signed_in is not None)


@router.get("/account/openid")
@web.may("own_account")
def begin_linking(request: Request, me: signing.Me) -> Response:
    if not _asked_by_a_person(request):
        return web.see_other("/account")
    ask = signing.must_prove(request, me, "/account/openid")
    return ask or _begin(request, "/account?saved=linked", me.viewer.person_id, anew=True)


@router.get(BACK)
@web.may("everyone")
def come_back(request: Request, asked: web.Asking, now: signing.Clock) -> Response:
    try:
        begun, waited = _begun(request)
        who = _who(request, begun)
        answer = _link(request, who, waited) if waited.linking else _let_in(request, who, waited)
    except Problem as problem:
        signing.tell(request, "openid", "wrong")
        answer = refused(request, str(problem))
    drop_cookie(answer, request.app.state.settings, COOKIE)
    return answer


@router.post("/account/openid/unlink")
@web.may("own_account")
def unlink(request: Request, db: web.Db, me: signing.Me, mine: Mine) -> Response:
    if ask := signing.must_prove(request, me, "/account"):
        return ask
    identities.unlink(db, mine)
    return web.see_other("/account?saved=unlinked")


def _asked_by_a_person(request: Request) -> bool:
    """Whether a button of ours led here: another site must not have somebody signed in unasked.

    A browser that does not tell names our page as the one before.
    """
    told = request.headers.get("sec-fetch-site")
    if told is not None:
        return told in FROM_HERE
    return request.headers.get("referer", "").startswith(f"{signing.site(request).origin}/")


def _begin(request: Request, address: str, person_id: int | None, anew: bool) -> Response:
    settings, now = request.app.state.settings, request.app.state.clock()
    if not settings.openid_issuer:
        raise NotFound("No provider for signing in is set up.")
    begun = Begun(*(token_urlsafe(32) for _ in range(3)))
    to = openid.address_of(settings, begun, signing.public_address(request, BACK), anew)
    kept = json.dumps(
        {"nonce": begun.nonce, "verifier": begun.verifier, "next": address, "anew": anew}
    )
    with signing.writing(request) as db:
        accounts.forget_challenges(db, now, MOST_WAITING)
        waiting = Challenge(
            id=begun.state, person_id=person_id, value=kept.encode(), expires_at=now + GOOD_FOR
        )
        db.add(waiting)
    answer = RedirectResponse(to, status_code=303)
    seconds = int(GOOD_FOR.total_seconds())
    set_cookie(answer, settings, begun.state, name=COOKIE, seconds=seconds)
    return answer


def _begun(request: Request) -> tuple[Begun, Waited]:
    """What this browser was sent away with: good once, and in this browser alone."""
    state = request.query_params.get("state", "")
    held = read_cookie(request, request.app.state.settings, COOKIE)
    if not state or not hmac.compare_digest(state.encode(), held.encode()):
        raise Refused(NOT_BEGUN)
    with signing.writing(request) as db:
        waiting = accounts.challenge(db, state, request.app.state.clock())
    if waiting is None:
        raise Refused(NOT_BEGUN)
    kept = json.loads(waiting.value)
    begun = Begun(state, kept["nonce"], kept["verifier"])
    return begun, Waited(kept["next"], waiting.person_id, kept["anew"])


def _who(request: Request, begun: Begun) -> Identity:
    code = request.query_params.get("code", "")
    if not code:
        raise Refused("The provider did not let you in.")
    back, settings = signing.public_address(request, BACK), request.app.state.settings
    return openid.identity(settings, begun, code, back, request.app.state.clock())


def _link(request: Request, who: Identity, waited: Waited) -> Response:
    admitted = request.state.admitted.viewer
    if admitted is None or admitted.person_id != waited.linking:
        raise Refused(NOT_BEGUN)
    with signing.writing(request) as db:
        person, now = accounts.person_or_raise(db, admitted.person_id), request.app.state.clock()
        identities.link(db, person, who.issuer, who.subject, now)
    return web.see_other(waited.address)


def _let_in(request: Request, who: Identity, waited: Waited) -> Response:
    now, here = request.app.state.clock(), presence.place(request)
    settings = request.app.state.settings
    lasting, required = presence.lasting(settings), settings.second_required
    told = who.issuer, who.subject, who.email, who.email_verified, who.name, now
    with signing.writing(request) as db:
        person = identities.person_of(db, *told)
    with signing.writing(request, person) as db:
        signing.end_earlier(request, db, now)
        key, second = sign_in.with_provider(db, person, who.two, required, here, lasting, now)
        sign_in.proved(db, fingerprint(key), _proved_at(who, waited, now))
    signing.tell(request, "openid", "second wanted" if second else "in", person.id)
    address = second_address(waited.address) if second else waited.address
    return signing.let_in(request, key, address)


def _proved_at(who: Identity, waited: Waited, now: datetime) -> datetime:
    """When a secret was given there; of a provider that does not say, just now only if it had to ask."""
    unsaid = now if waited.anew else now - sign_in.FRESH_FOR - timedelta(seconds=1)
    return min(who.proved_at or unsaid, now)
