"""The queue that wakes a worker: a file beside an SQLite store, a schema of a PostgreSQL one."""

from __future__ import annotations

import logging
import secrets
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import psycopg
from huey import Huey
from huey.storage import PostgresStorage, SqliteStorage
from sqlalchemy import URL, event
from sqlalchemy.orm import Session

from app.errors import Refused
from app.store import reach
from app.store.derived import Job

Kind = Literal[
    "look-through", "import", "take-back", "refresh-due", "rulebook-effect", "put-in-force",
    "solve-plan", "evidence",
]  # fmt: skip
log = logging.getLogger(__name__)
# Apart from the record's own tables, which migrations account for one by one.
SCHEMA = "stencilbook_queue"


def ask(db: Session, kind: Kind, payload: dict[str, Any], by: str) -> str:
    """Have a worker do this as soon as the caller's transaction is committed; gives the job's key.

    `look-through` and `import` want the key of a waiting upload as `upload_id`, `take-back` the
    number of an import as `import_id`; `refresh-due` wants nothing; `rulebook-effect` and
    `put-in-force` want `edition_id` and `owner_id`, each of which may be None; `solve-plan` what `jobs.planning` says;
    `evidence` what `actions.packets.payload` gives.
    """
    job_id = secrets.token_urlsafe(16)
    db.add(
        Job(
            id=job_id,
            kind=kind,
            payload=payload,
            asked_by=by,
            person_id=reach.of(db).person_id,
            asked_at=datetime.now(UTC),
        )
    )
    db.flush()
    url = db.get_bind().engine.url

    # A job whose call is lost here is found waiting by the next look round. Failing would tell whoever
    # asked that nothing is stored, and it is.
    def call_worker(committed: Session) -> None:
        try:
            with opened(url) as queue:
                queue.call(job_id)
        except (sqlite3.Error, psycopg.Error) as wrong:
            log.warning("Job %s waits for the next look round: %s", job_id, wrong)

    event.listen(db, "after_commit", call_worker, once=True)
    return job_id


class Queue:
    """Calls for jobs, and words kept about them. Only a worker, which does the jobs, says how."""

    def __init__(self, huey: Huey, do: Callable[[str], None] | None = None) -> None:
        self.huey = huey

        # Defined here for callers and workers alike: the queue knows a task by where it is defined.
        @huey.task(name="run")  # type: ignore[untyped-decorator]
        def run(job_id: str) -> None:
            assert do is not None
            do(job_id)

        self._run = run

    def call(self, job_id: str) -> None:
        """Wake a worker for this job; called twice for one, the second finds nothing to do."""
        self._run(job_id)

    def called(self) -> set[str]:
        """The jobs that a worker will still be woken for."""
        return {task.args[0] for task in self.huey.pending() if task.args}

    def keep(self, job_id: str, words: str) -> None:
        self.huey.storage.put_data(job_id, words.encode())

    def kept(self, job_id: str) -> str | None:
        found = self.huey.storage.peek_data(job_id)
        return bytes(found).decode() if isinstance(found, bytes | memoryview) else None

    def forget(self, job_id: str) -> None:
        self.huey.storage.delete_data(job_id)


@contextmanager
def opened(url: URL, do: Callable[[str], None] | None = None) -> Iterator[Queue]:
    """The queue of a store, for as long as the block lasts."""
    postgresql = url.get_backend_name() == "postgresql"
    huey = _beside_postgresql(url) if postgresql else _beside_sqlite(url)
    try:
        yield Queue(huey, do)
    finally:
        huey.storage.close()


def _beside_sqlite(url: URL) -> Huey:
    return Huey(
        "stencilbook", results=False, storage_class=SqliteStorage,
        filename=str(beside(url, ".queue")), fsync=True,
    )  # fmt: skip


def beside(url: URL, ending: str) -> Path:
    """A file that belongs to an SQLite store."""
    if not url.database or url.database == ":memory:":
        raise Refused("Long work needs a store in a file, not one in memory.")
    return Path(url.database + ending)


def _beside_postgresql(url: URL) -> Huey:
    address = url.set(drivername="postgresql").render_as_string(hide_password=False)

    def connect() -> psycopg.Connection[Any]:
        return psycopg.connect(address, autocommit=True, options=f"-c search_path={SCHEMA}")

    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA IF NOT EXISTS {SCHEMA}".encode())
    return Huey("stencilbook", results=False, storage_class=PostgresStorage, connection=connect)
