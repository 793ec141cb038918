"""One's own second secrets: codes of an app, codes on paper, passkeys."""

from __future__ import annotations

import io

import segno
from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from markupsafe import Markup

from app import web
from app.actions import codes, passkeys, sign_in
from app.errors import Problem
from app.pages import forms
from app.pages.account import SAVED, Mine
from app.pages.changing import faults_of, kept
from app.pages.forms import Entries
from app.store import accounts
from app.store.people import Person
from app.web import signing

router = APIRouter()
CODES, PASSKEYS = "/account/codes", "/account/passkeys"


@router.get(CODES)
@web.may("own_account")
def codes_form(request: Request, db: web.Db, me: signing.Me, mine: Mine) -> Response:
    if ask := signing.must_prove(request, me, CODES):
        return ask
    return _codes(request, db, mine, codes.new_secret(), Entries())


@router.post(CODES)
@web.may("own_account")
def turn_codes_on(
    request: Request, db: web.Db, me: signing.Me, mine: Mine, posted: web.Posted, now: signing.Clock
) -> Response:
    seal = signing.seal(request)
    secret = seal.open(posted.one("sealed"))
    ask = signing.must_prove(request, me, CODES)
    if ask or secret is None:
        return ask or web.see_other(CODES)
    code = posted.one("code")
    made = kept(db, lambda: codes.turn_on(db, mine, secret, code, seal, now))
    if isinstance(made, Problem):
        problem = forms.beside(faults_of(made), ("code",))
        return _codes(request, db, mine, secret, Entries({}, problem), 422)
    sign_in.second_set_up(db, me.fingerprint, "code")
    return _recovery(request, "Codes are asked for from now on", made)


@router.post(f"{CODES}/off")
@web.may("own_account")
def turn_codes_off(request: Request, db: web.Db, me: signing.Me, mine: Mine) -> Response:
    if ask := signing.must_prove(request, me, CODES):
        return ask
    codes.turn_off(db, mine)
    return web.see_other("/account?saved=codes-off")


@router.post("/account/recovery")
@web.may("own_account")
def new_recovery_codes(
    request: Request, db: web.Db, me: signing.Me, mine: Mine, now: signing.Clock
) -> Response:
    if ask := signing.must_prove(request, me, CODES):
        return ask
    made = codes.new_recovery_codes(db, mine, now)
    return _recovery(request, "New codes on paper", made)


@router.get(PASSKEYS)
@web.may("own_account")
def passkeys_list(request: Request, db: web.Db, me: signing.Me, mine: Mine) -> Response:
    if ask := signing.must_prove(request, me, PASSKEYS):
        return ask
    return _passkeys(request, db, mine, "")


@router.post(f"{PASSKEYS}/ask")
@web.may("own_account")
def ask_for_new_passkey(
    request: Request, db: web.Db, me: signing.Me, mine: Mine, now: signing.Clock
) -> Response:
    if signing.must_prove(request, me, PASSKEYS):
        return JSONResponse({"error": {"message": "Prove anew who you are.", "faults": []}}, 403)
    asked = passkeys.ask_for_new(db, mine, signing.site(request), now)
    return JSONResponse({"challenge": asked.challenge_id, "options": asked.options})


@router.post(PASSKEYS)
@web.may("own_account")
def add_passkey(
    request: Request, db: web.Db, me: signing.Me, mine: Mine, posted: web.Posted, now: signing.Clock
) -> Response:
    if ask := signing.must_prove(request, me, PASSKEYS):
        return ask
    name, challenge, answer = (posted.one(field) for field in ("name", "challenge", "answer"))
    site = signing.site(request)
    made = kept(db, lambda: passkeys.add(db, mine, name, challenge, answer, site, now))
    if isinstance(made, Problem):
        return _passkeys(request, db, mine, str(made), 422)
    sign_in.second_set_up(db, me.fingerprint, "passkey")
    return _recovery(request, "The passkey is kept", made)


@router.post(f"{PASSKEYS}/remove")
@web.may("own_account")
def remove_passkey(
    request: Request, db: web.Db, me: signing.Me, mine: Mine, posted: web.Posted, now: signing.Clock
) -> Response:
    if ask := signing.must_prove(request, me, PASSKEYS):
        return ask
    named = posted.one("passkey")
    passkeys.remove(db, mine, forms.whole(named) or 0, now)
    return web.see_other(f"{PASSKEYS}?saved=passkey-off")


def _codes(
    request: Request, db: web.Db, mine: Person, secret: str, entries: Entries, status: int = 200
) -> Response:
    return web.page(
        request,
        "account/codes.html",
        status,
        entries=entries,
        mine=mine,
        sealed=signing.seal(request).close(secret),
        secret=" ".join(secret[at : at + 4] for at in range(0, len(secret), 4)),
        drawn=drawn(codes.address_of(secret, mine.email)),
        recovery=accounts.codes_left(db, mine.id),
    )


def drawn(text: str) -> Markup:
    """A text as a square drawing for cameras: SVG without styles or scripts."""
    out = io.BytesIO()
    segno.make(text, error="m").save(
        out, kind="svg", scale=4, xmldecl=False, svgns=False, omitsize=True, svgclass=None,
        lineclass=None, title="The secret, for the camera of the app",
    )  # fmt: skip
    return Markup(out.getvalue().decode())


def _recovery(request: Request, title: str, made: list[str]) -> Response:
    return web.page(request, "account/recovery.html", title=title, codes=made)


def _passkeys(
    request: Request, db: web.Db, mine: Person, problem: str, status: int = 200
) -> Response:
    return web.page(
        request,
        "account/passkeys.html",
        status,
        found=accounts.passkeys(db, mine.id),
        entries=Entries({}, {"": problem} if problem else {}),
        passkeys_at=signing.passkeys_at(request),
        recovery=accounts.codes_left(db, mine.id),
        saved=SAVED.get(request.query_params.get("saved", "")),
    )
