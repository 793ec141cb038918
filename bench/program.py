"""The whole program without a network, asked by somebody of the store who is signed in as in a browser."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

from anyio.from_thread import BlockingPortal, start_blocking_portal
from fastapi import Depends, FastAPI
from fastapi.responses import HTMLResponse
from sqlalchemy import select
from sqlalchemy.orm import Session

from app import garbage
from app.actions import people
from app.main import all_routes, create_app
from app.settings import Settings
from app.store import accounts
from app.store.db import make_engine, sessions, write_session
from app.store.people import Person, SignIn
from app.store.signed_in import fingerprint
from app.store.tables import Party
from app.web import may
from app.web.admission import admitted
from bench.pages import get

# A page of the same server that asks for nothing but who may see it, and says nothing.
EMPTY = "/empty"
EMAIL = "bench@people.invalid"


class Program:
    """Asked one request after the other; `processor` and `clock` give the milliseconds of a good answer.

    All in one loop that goes on, as a server's does, so that no request waits for threads of its own to be made.
    """

    def __init__(self, app: FastAPI, key: str, loop: BlockingPortal) -> None:
        self.app, self._key, self._loop = app, key, loop

    def clock(self, address: str) -> float:
        return self._loop.call(get, self.app, address, self._key)[0]

    def processor(self, address: str) -> float:
        """What it costs however busy the machine is; what a server of a database does is not in it."""
        return self._loop.call(get, self.app, address, self._key)[1]


@contextmanager
def running(database_url: str) -> Iterator[Program]:
    """The program on a filled store, and somebody signed in who may look at all of it."""
    key = sign_in(database_url)
    with garbage.loaded_for_good():  # as `serve` has it
        app = create_app(Settings(database_url=database_url), routes=all_routes())
        app.add_api_route(EMPTY, _empty, dependencies=[Depends(admitted)])
    with start_blocking_portal() as loop:
        lifespan = app.router.lifespan_context(app)
        with loop.wrap_async_context_manager(lifespan):
            yield Program(app, key, loop)


@may("read")
def _empty() -> HTMLResponse:
    return HTMLResponse("")


def sign_in(database_url: str) -> str:
    """The key of a browser in which somebody is signed in who may look at all of the store."""
    key = secrets.token_urlsafe(32)
    engine = make_engine(database_url)
    with write_session(sessions(engine)) as db:
        _keep(db, key)
    engine.dispose()
    return key


def _keep(db: Session, key: str) -> None:
    now = datetime.now(UTC)
    person = accounts.by_email(db, EMAIL) or _person(db, now)
    db.add(
        SignIn(
            key_sha256=fingerprint(key), person_id=person.id, how="password", began_at=now,
            proved_at=now, seen_at=now, expires_at=now + timedelta(days=1),
        )
    )  # fmt: skip


def _person(db: Session, now: datetime) -> Person:
    """A planner of every party."""
    person = people.new_person(db, "Pat Example", EMAIL, now)
    for party_id in db.scalars(select(Party.id)):
        people.add_memberships(db, person, party_id, ("planner", "compliance"), "the bench", now)
    return person
