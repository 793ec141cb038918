"""Reading from a streaming replica of PostgreSQL what may lag, and never anything older than its reader may see.

The record of change has an entry of every change, and their numbers rise in the order in which changes were
committed (`change_log` takes turns). So the replica has all of a person's changes as soon as it has the latest.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Select, column, or_, select, table
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session, sessionmaker

from app.access import Reach
from app.store import migrate, trouble
from app.store.changes import Change
from app.store.columns import table_of
from app.store.db import Room, make_engine

log = logging.getLogger(__name__)
# Whoever reads from a replica sees all that was recorded so long ago, by whomever.
MOST_BEHIND = timedelta(seconds=5)
# So many of the latest changes are looked at for one's own; those before them must be there anyway.
LATEST = 100
# A replica that cannot be reached is left alone for so long.
SECONDS_LEFT_ALONE = 10.0


# The number of a change and its hash, by which it is the same on the replica of this very register.
Seen = tuple[int, str]


def wanted(db: Session, person_id: int, now: datetime) -> Seen | None:
    """The change that a replica must have for this person to read from it; None where there is none at all."""
    entry = table_of(Change)
    last = select(entry.c.id, entry.c.hash, entry.c.at, entry.c.person_id)
    latest = last.order_by(entry.c.id.desc()).limit(LATEST).subquery()
    either = select(latest.c.id, latest.c.hash)
    must = or_(latest.c.person_id == person_id, latest.c.at <= now - MOST_BEHIND)
    found = db.execute(either.where(must).order_by(latest.c.id.desc()).limit(1)).first()
    found = found or db.execute(either.order_by(latest.c.id).limit(1)).first()
    return (found[0], found[1]) if found else None


class Replica:
    """Reading sessions on a replica, as long as it can be reached."""

    def __init__(self, url: str, room: Room) -> None:
        self._engine = make_engine(url, room)
        self._factory = sessionmaker(self._engine, expire_on_commit=False)
        self._not_before = 0.0

    def close(self) -> None:
        self._engine.dispose()

    @contextmanager
    def session(self, reach: Reach, change: Seen | None) -> Iterator[Session | None]:
        """A session that keeps nothing; None where the replica lacks that change or cannot be asked."""
        with ExitStack() as opened:
            db = opened.enter_context(self._factory(info={"reach": reach}))
            if not self._has(db, change):
                yield None
                return
            with trouble.as_problem():
                yield db

    def _has(self, db: Session, change: Seen | None) -> bool:
        if change is None or time.monotonic() < self._not_before:
            return False
        entry = table_of(Change)
        version: Select[Any] = select(column("version_num")).select_from(table("alembic_version"))
        found = select(entry.c.hash, version.scalar_subquery()).where(entry.c.id == change[0])
        try:
            there = db.execute(found).first()
        except SQLAlchemyError as wrong:
            self._not_before = time.monotonic() + SECONDS_LEFT_ALONE
            log.warning(
                "The replica cannot be read from, so the database itself is: %s",
                trouble.said(wrong),
            )
            return False
        return there is not None and there[0] == change[1] and there[1] in migrate.heads()
