"""Work that lasts: how far it is, whoever comes back to look, and what came of it."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import jobs, web
from app.actions import jobs as changes

router = APIRouter(prefix="/jobs")

FAULTS_SHOWN = 100
TITLES = {
    "look-through": "Looking through a file",
    "import": "Bringing a file in",
    "take-back": "Taking an import back",
    "refresh-due": "Working out all due dates anew",
    "rulebook-effect": "Working out what a rulebook edition would move",
    "put-in-force": "Putting a rulebook edition in force",
    "solve-plan": "Search for the cheapest plan",
    "evidence": "Making an evidence packet",
}


@router.get("/{job_id}")
@web.may("read")
def job(request: Request, job_id: str, db: web.Db) -> Response:
    return web.page(request, "jobs/show.html", **_shown(db, job_id))


@router.get("/{job_id}/progress")
@web.may("read")
def progress(request: Request, job_id: str, db: web.Db) -> Response:
    """The part that changes; without its timer once the work has ended."""
    return web.partial(request, "jobs/_progress.html", **_shown(db, job_id))


@router.post("/{job_id}/stop")
@web.may("plan")
def stop(job_id: str, db: web.Db, at: web.Now) -> Response:
    """End a search with the best plan that it has found."""
    changes.ask_to_stop(db, job_id, at)
    return web.see_other(f"/jobs/{job_id}")


def _shown(db: Session, job_id: str) -> dict[str, Any]:
    job = jobs.look(db, job_id)
    faults = (job.result or {}).get("faults", []) if job.state == "failed" else []
    title = TITLES.get(job.kind, job.kind)
    return {"job": job, "title": title, "faults": faults[:FAULTS_SHOWN], "fault_count": len(faults)}
