"""Questions about work that lasts."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.store import reach
from app.store.derived import Job


def get(db: Session, job_id: str) -> Job:
    """The job with this key; NotFound when there is none."""
    job = db.get(Job, job_id)
    if job is None or not reach.asked_by(db, job.person_id):
        raise NotFound("There is no such job.")
    return job


def latest(db: Session, limit: int = 20) -> Sequence[Job]:
    query = select(Job).where(reach.asked(db, Job.person_id))
    return db.scalars(query.order_by(Job.asked_at.desc(), Job.id).limit(limit)).all()


def unfinished(db: Session) -> Sequence[Job]:
    """Those waiting or running, longest first."""
    return db.scalars(
        select(Job)
        .where(Job.state.in_(("waiting", "running")), reach.asked(db, Job.person_id))
        .order_by(Job.asked_at, Job.id)
    ).all()


def asked_to_stop(db: Session, job_id: str) -> bool:
    """Whether somebody asked for the best so far."""
    return db.scalar(select(Job.stop_at).where(Job.id == job_id)) is not None
