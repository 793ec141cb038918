"""One's own tokens, which programs show instead of signing in."""

from __future__ import annotations

from datetime import timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.actions import tokens
from app.errors import Problem
from app.files import days
from app.pages import forms
from app.pages.account import SAVED, Mine
from app.pages.changing import faults_of, kept
from app.pages.forms import Choice, Entries, Field
from app.store import accounts
from app.store.people import Person
from app.web import signing

router = APIRouter()
TOKENS = "/account/tokens"
SCOPES: tuple[Choice, ...] = (
    ("read", "Read: the register, lists, files out, whether a car may be loaded"),
    ("record", "Record: inspections, changes, facts, files in"),
    ("load_check", "Load check alone: whether a car may be loaded"),
)
NAME = Field("name", "Which program", str, "As you will know it again", needed=True)
LAST_DAY = Field("last_day", "Last day", days.day, "At most a year ahead", "day", needed=True)


@router.get(TOKENS)
@web.may("own_account")
def tokens_list(
    request: Request, db: web.Db, me: signing.Me, mine: Mine, today: web.Today
) -> Response:
    if ask := signing.must_prove(request, me, TOKENS):
        return ask
    first = forms.filled({"last_day": today + timedelta(days=90)})
    return _list(request, db, mine, first)


@router.post(TOKENS)
@web.may("own_account")
def make_token(
    request: Request, db: web.Db, me: signing.Me, mine: Mine, posted: web.Posted, now: signing.Clock
) -> Response:
    if ask := signing.must_prove(request, me, TOKENS):
        return ask
    values, entries = forms.read((NAME, LAST_DAY), forms.typed(posted))
    if entries.problems:
        return _list(request, db, mine, entries, 422)
    name, last_day, scopes = values["name"], values["last_day"], posted.get("scopes", [])
    zone = request.app.state.settings.time_zone
    made = kept(db, lambda: tokens.add(db, mine, name, scopes, last_day, zone, now))
    if isinstance(made, Problem):
        beside = forms.beside(faults_of(made), ("name", "scopes", "last_day"))
        return _list(request, db, mine, entries.wrong(beside), 422)
    return web.page(request, "account/token.html", token=made[0], secret=made[1])


@router.post(f"{TOKENS}/revoke")
@web.may("own_account")
def revoke_token(
    request: Request, db: web.Db, mine: Mine, posted: web.Posted, now: signing.Clock
) -> Response:
    named = posted.one("token")
    tokens.revoke(db, mine, forms.whole(named) or 0, now)
    return web.see_other(f"{TOKENS}?saved=revoked")


def _list(
    request: Request, db: web.Db, mine: Person, entries: Entries, status: int = 200
) -> Response:
    return web.page(
        request,
        "account/tokens.html",
        status,
        found=accounts.tokens(db, mine.id),
        now=request.app.state.clock(),
        entries=entries,
        fields=(NAME, LAST_DAY),
        scopes=SCOPES,
        scope_words=dict(SCOPES),
        saved=SAVED.get(request.query_params.get("saved", "")),
    )
