"""What signing in takes from a request and the settings, and gives back to the browser."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from ipaddress import ip_address
from typing import Annotated, Literal
from urllib.parse import quote, urlsplit

from fastapi import Depends, Request
from sqlalchemy.orm import Session
from starlette.responses import Response

from app.access import NOTHING
from app.actions import sign_in
from app.actions.passkeys import Site
from app.settings import Settings
from app.store import db as store_db
from app.store.people import Person
from app.store.signed_in import SignedIn, fingerprint
from app.web import presence, sealing
from app.web.admission import Admitted, NotAllowed, NotSignedIn, admitted, doer
from app.web.cookies import drop_cookie, read_cookie, set_cookie
from app.web.hosts import THIS_MACHINE
from app.web.rendering import see_other

log = logging.getLogger(__name__)
PROVE = "/account/prove"
# A form that was opened with a fresh proof may be filled in at leisure.
TIME_TO_TYPE = timedelta(minutes=20)


def me(asked: Annotated[Admitted, Depends(admitted)]) -> SignedIn:
    """Who is signed in with a browser; a token opens no account."""
    if asked.signed_in is None:
        raise NotSignedIn
    if asked.signed_in.viewer.token_id is not None:
        raise NotAllowed("own_account")
    return asked.signed_in


def clock(request: Request) -> datetime:
    """The moment by the clock: of what runs out, also where a change is dated later (see web.Now)."""
    moment: datetime = request.app.state.clock()
    return moment


Me = Annotated[SignedIn, Depends(me)]
Clock = Annotated[datetime, Depends(clock)]


def site(request: Request) -> Site:
    """As whom passkeys know the register: by the address people open, else the one asked for now.

    Only addresses that the register answers to come this far.
    """
    settings: Settings = request.app.state.settings
    origin = settings.public_url or f"{request.url.scheme}://{request.url.netloc}"
    return Site(urlsplit(origin).hostname or "localhost", origin)


def public_address(request: Request, path: str) -> str:
    """A whole address for a link that is handed over."""
    return site(request).origin + path


def openid_name(request: Request) -> str:
    """What the provider of OpenID Connect is called; empty when there is none."""
    settings: Settings = request.app.state.settings
    return settings.openid_name if settings.openid_issuer else ""


def seal(request: Request) -> sealing.Sealing:
    """What the secrets of codes are sealed with; made once."""
    state = request.app.state
    if not hasattr(state, "sealing"):
        state.sealing = sealing.sealing(state.settings)
    made: sealing.Sealing = state.sealing
    return made


def passkeys_at(request: Request) -> str | None:
    """The address at which passkeys work: empty when it is this one, None when there is none.

    A passkey belongs to a name, never to a number (WebAuthn Level 2, 5.1.2); and to HTTPS, but for
    localhost.
    """
    here = site(request)
    if here.host == "localhost" or (here.origin.startswith("https:") and not _is_number(here.host)):
        return ""
    if here.host in THIS_MACHINE:
        port = urlsplit(here.origin).port
        return f"http://localhost:{port}" if port else "http://localhost"
    return None


def _is_number(host: str) -> bool:
    try:
        ip_address(host)
    except ValueError:
        return False
    return True


@contextmanager
def writing(request: Request, person: Person | None = None) -> Iterator[Session]:
    """A session for a short change while signing in, so that comparing a password locks nothing.

    It reaches no car. `person` is who will be signed in, for the record of change.
    """
    made = doer(request, getattr(request.state, "admitted", Admitted(None, NOTHING)))
    if person is not None:
        made = replace(made, name=person.name, person_id=person.id)
    with store_db.write_session(request.app.state.sessions, NOTHING, made) as db:
        yield db


@contextmanager
def reading(request: Request) -> Iterator[Session]:
    with store_db.read_session(request.app.state.sessions, NOTHING) as db:
        yield db


def tell(
    request: Request,
    how: str,
    outcome: Literal["in", "second wanted", "wrong", "held up", "out"],
    person_id: int | None = None,
) -> None:
    """A line of the log on an attempt to sign in: whose account it is, but nothing that was typed."""
    told = {"how": how, "outcome": outcome, "account": person_id}
    level = logging.WARNING if outcome in ("wrong", "held up") else logging.INFO
    log.log(level, "sign-in", extra={"told": told | {"address": presence.place(request).address}})


def let_in(request: Request, key: str, address: str) -> Response:
    """Hand the browser its new key and send it on; the address is one of ours."""
    settings: Settings = request.app.state.settings
    answer = see_other(address)
    set_cookie(answer, settings, key, seconds=settings.sign_in_days * 24 * 3600)
    return answer


def leave(request: Request, address: str) -> Response:
    """Have the browser forget its key."""
    answer = see_other(address)
    drop_cookie(answer, request.app.state.settings)
    return answer


def end_earlier(request: Request, db: Session, now: datetime) -> None:
    """A browser that signs in anew has one sign-in, not two."""
    key = read_cookie(request, request.app.state.settings)
    if key:
        sign_in.end(db, fingerprint(key), now)


def must_prove(request: Request, me: SignedIn, back_to: str) -> Response | None:
    """Where to prove anew who is there, unless that was done lately; None when it was."""
    now = request.app.state.clock()
    since = me.proved_at if request.method == "GET" else me.proved_at + TIME_TO_TYPE
    if sign_in.fresh(since, now):
        return None
    return see_other(f"{PROVE}?next={quote(back_to, safe='')}")
