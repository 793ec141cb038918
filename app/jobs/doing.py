"""One job from waiting to done or failed, and the finding again of jobs that a crash left behind."""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from datetime import UTC, datetime
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

import psycopg
from sqlalchemy import Engine

from app.access import EVERYTHING, NOTHING, Reach
from app.actions import jobs as changes
from app.actions.copies import attachments_of
from app.actions.imports import Tell
from app.actions.stamp import Stamp
from app.errors import Busy, Problem
from app.jobs import progress
from app.jobs.queue import opened
from app.jobs.work import KEEPS, LOOKS_ONLY, MOST_FAULTS_KEPT, NEEDS, PUTS, WORK
from app.pictures import Attachments
from app.store import jobs, locks, reach, signed_in
from app.store.db import read_session, sessions, write_session
from app.store.derived import Job
from app.store.doer import Doer as Changer
from app.store.moments import not_before

T = TypeVar("T")
log = logging.getLogger(__name__)
# For so long work is tried anew while the database is locked or away.
SECONDS_OF_PATIENCE, SECONDS_BETWEEN_TRIES = 60.0, 1.0


class Overtaken(Exception):
    """The job ended, or somebody else began it, while we were at it; nothing of ours may be stored.

    So it is when the database went away just as our commit reached it, and the work was tried again.
    """


class Doer:
    """Does the jobs of one store, within a `with`. On SQLite there may be only one at a time."""

    def __init__(self, engine: Engine, zone: str, attachments: Attachments | None = None) -> None:
        """`attachments` are where files of jobs are kept; where none is said, what lies beside the store."""
        self.engine, self.zone = engine, zone
        self.attachments = attachments or attachments_of(str(engine.url))
        self.factory = sessions(engine)
        self._sqlite = engine.dialect.name == "sqlite"
        self._opened = ExitStack()

    def __enter__(self) -> Doer:
        self.queue = self._opened.enter_context(opened(self.engine.url, self.do))
        return self

    def __exit__(self, *_: object) -> None:
        self._opened.close()

    def do(self, job_id: str) -> None:
        """Do this job, unless it is done, being done or unknown."""
        with self._mine(job_id) as mine:
            job = patiently(lambda: self._start(job_id)) if mine else None
            if job is not None:
                self._work(job)

    def look_round(self) -> None:
        """Call for every waiting job anew; let those whose worker has died wait again."""
        with read_session(self.factory) as db:
            found = [(job.id, job.state) for job in jobs.unfinished(db)]
        called = self.queue.called()
        for job_id, state in found:
            with self._mine(job_id) as mine:
                if not mine:
                    continue
                if state == "running":
                    patiently(lambda job_id=job_id: self._let_wait_again(job_id))  # type: ignore[misc]
                if job_id not in called:
                    self.queue.call(job_id)

    def _start(self, job_id: str) -> Job | None:
        with write_session(self.factory) as db:
            return changes.start(db, job_id, datetime.now(UTC))

    def _let_wait_again(self, job_id: str) -> None:
        with write_session(self.factory) as db:
            changes.wait_again(db, job_id, datetime.now(UTC))

    def _work(self, job: Job) -> None:
        try:
            self._do_all(job)
        except Overtaken:
            log.warning("Job %s (%s) was done already", job.id, job.kind)
        except Problem as problem:
            faults = [[fault.path, fault.problem] for fault in problem.faults]
            told = {"faults": faults[:MOST_FAULTS_KEPT], "fault_count": len(faults)}
            self._fail(job, str(problem), told)
        except Exception as bug:
            log.exception("Job %s (%s) failed", job.id, job.kind)
            self._fail(
                job,
                f"Something went wrong in the program ({type(bug).__name__}), and nothing of this "
                f"was stored. What it printed says more.",
                None,
            )

    def _do_all(self, job: Job) -> None:
        # Looking may take long, and is not done again because storing had to wait.
        found = patiently(lambda: self._look(job)) if job.kind in LOOKS_ONLY else None
        patiently(lambda: self._store(job, found))
        with suppress(sqlite3.Error, psycopg.Error):  # a word left over does no harm
            self.queue.forget(job.id)

    def _stamp(self, job: Job) -> Stamp:
        clock = datetime.now(UTC)
        with read_session(self.factory) as db:
            at = not_before(db, clock)
        return Stamp(job.asked_by, at, clock.astimezone(ZoneInfo(self.zone)).date())

    def _look(self, job: Job) -> dict[str, Any]:
        stamp, tell = self._stamp(job), self._progress(job.id)
        payload = {**job.payload, "job_id": job.id} if job.kind in KEEPS else job.payload
        with read_session(self.factory, self._reach(job)) as db:
            if job.kind in PUTS:
                return PUTS[job.kind](db, job.payload, job.id, self.attachments, tell)
            return WORK[job.kind](db, payload, stamp, tell)

    def _store(self, job: Job, found: dict[str, Any] | None) -> None:
        stamp, tell = self._stamp(job), self._progress(job.id)
        # The work and its being done are stored together: neither without the other.
        doer = Changer(job.asked_by, job.person_id, "job", request=job.id, at=stamp.at)
        with write_session(self.factory, self._reach(job), doer) as db:
            if found is None:
                result = WORK[job.kind](db, job.payload, stamp, tell)
            elif job.kind in KEEPS:
                result = KEEPS[job.kind](db, job.payload, stamp, found)
            else:
                result = found
            if not changes.end(db, job, datetime.now(UTC), "done", result):
                raise Overtaken

    def _reach(self, job: Job) -> Reach:
        """What whoever asked for the job reaches now; the machine's own jobs reach everything."""
        needed = NEEDS.get(job.kind)
        if needed is None or job.person_id is None:
            return EVERYTHING
        with read_session(self.factory) as db:
            viewer = signed_in.viewer_of(db, job.person_id)
            return reach.of_viewer(db, viewer, needed) if viewer else NOTHING

    def _fail(self, job: Job, sentence: str, result: dict[str, Any] | None) -> None:
        def fail() -> None:
            with write_session(self.factory) as db:
                changes.end(db, job, datetime.now(UTC), "failed", result, sentence)

        patiently(fail)

    def _progress(self, job_id: str) -> Tell:
        if self._sqlite:
            return progress.in_queue(self.queue, job_id)
        return progress.in_table(self.factory, job_id)

    @contextmanager
    def _mine(self, job_id: str) -> Iterator[bool]:
        """Whether no other worker has this job; none will get it while the block lasts.

        PostgreSQL frees the lock by itself when a worker dies.
        """
        if self._sqlite:
            yield True
            return
        with locks.held(self.engine, f"job {job_id}") as mine:
            yield mine


def patiently(attempt: Callable[[], T]) -> T:
    """Try again for a while when somebody else is writing, or the database is away."""
    until = time.monotonic() + SECONDS_OF_PATIENCE
    while time.monotonic() < until:
        try:
            return attempt()
        except Busy:
            time.sleep(SECONDS_BETWEEN_TRIES)
    return attempt()
