"""How far a job is, kept where it can be written while the job's one great transaction is open.

On PostgreSQL that is its row in `job`. SQLite has one writer, and the work itself is it, so there the
queue's file holds it until the job ends.
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime

from sqlalchemy.orm import Session, make_transient

from app.actions import jobs as changes
from app.errors import Busy
from app.jobs.queue import Queue, opened
from app.store import jobs
from app.store.db import Sessions, write_session
from app.store.derived import Job

SECONDS_BETWEEN = 0.5


def look(db: Session, job_id: str) -> Job:
    """The job with its latest progress, free of the session; NotFound when there is none."""
    job = jobs.get(db, job_id)
    db.refresh(job)
    db.expunge(job)
    make_transient(job)
    url = db.get_bind().engine.url
    if job.state == "running" and url.get_backend_name() == "sqlite":
        with opened(url) as queue:
            _lay_over(job, queue)
    return job


def _lay_over(job: Job, queue: Queue) -> None:
    kept = queue.kept(job.id)
    if kept is not None:
        job.step, job.done, job.total = json.loads(kept)


class Progress:
    """Called with the step, how much of it is done, of how much; keeps it twice a second at most."""

    def __init__(self, keep: Callable[[str, int, int], None]) -> None:
        self._keep = keep
        self._step, self._kept_at = "", 0.0

    def __call__(self, step: str, done: int = 0, total: int = 0) -> None:
        now = time.monotonic()
        if step == self._step and now - self._kept_at < SECONDS_BETWEEN:
            return
        self._step, self._kept_at = step, now
        with suppress(sqlite3.Error, Busy):  # work must not fail because nobody can be told of it
            self._keep(step, done, total)


def in_queue(queue: Queue, job_id: str) -> Progress:
    """Progress kept in the queue's file."""

    def keep(step: str, done: int, total: int) -> None:
        queue.keep(job_id, json.dumps([step, done, total]))

    return Progress(keep)


def in_table(factory: Sessions, job_id: str) -> Progress:
    """Progress kept in the job's own row, each time in a short transaction of its own."""

    def keep(step: str, done: int, total: int) -> None:
        with write_session(factory) as db:
            changes.tell(db, job_id, datetime.now(UTC), step, done, total)

    return Progress(keep)
