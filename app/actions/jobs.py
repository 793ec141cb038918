"""Changes to what is told of work that lasts; the work itself is in `jobs`."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from sqlalchemy import update
from sqlalchemy.orm import Session

from app.store import jobs
from app.store.derived import Job

# One that takes its worker down with it each time must not do so for ever.
MOST_STARTS = 3
INTERRUPTED = (
    "The program ended while this was being done, three times. Nothing of it was stored. "
    "Look at what it printed, then ask for it again."
)


def start(db: Session, job_id: str, at: datetime) -> Job | None:
    """The job, free of the session, if it was waiting and is now running; else None."""
    started = db.scalars(
        update(Job)
        .where(Job.id == job_id, Job.state == "waiting")
        .values(state="running", started_at=at, heard_at=at, step="Starting", done=0)
        .returning(Job)
    ).first()
    if started is not None:
        db.expunge(started)
    return started


def tell(db: Session, job_id: str, at: datetime, step: str, done: int, total: int) -> None:
    """How far the job is."""
    values = {"step": step, "done": done, "total": total, "heard_at": at}
    db.execute(update(Job).where(Job.id == job_id).values(values))


def end(
    db: Session, job: Job, at: datetime, state: Literal["done", "failed"],
    result: dict[str, Any] | None, error: str = "",
) -> bool:  # fmt: skip
    """What became of the job; False when it is not running, or no longer as it was started here."""
    values = {"state": state, "error": error, "result": result, "ended_at": at, "step": ""}
    mine = (Job.id == job.id, Job.state == "running", Job.started_at == job.started_at)
    done = db.execute(update(Job).where(*mine).values(values))
    return bool(done.rowcount == 1)  # type: ignore[attr-defined]


def ask_to_stop(db: Session, job_id: str, at: datetime) -> None:
    """Have a search end with the best that it has found; of a job that is over, nothing."""
    job = jobs.get(db, job_id)
    if job.state in ("waiting", "running") and job.stop_at is None:
        job.stop_at = at


def wait_again(db: Session, job_id: str, at: datetime) -> None:
    """Let a running job whose worker has died wait for another; the third time, fail it."""
    job = jobs.get(db, job_id)
    if job.state != "running":
        return
    starts = (job.result or {}).get("interrupted", 0) + 1
    if starts >= MOST_STARTS:
        end(db, job, at, "failed", None, INTERRUPTED)
    else:
        job.state, job.step, job.result = "waiting", "", {"interrupted": starts}
