"""One car of an audit's sample: its checklist, what the register says of each point, and what was found."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import audits as actions
from app.actions import looking_back
from app.actions.audits import Given
from app.actions.car_seen import heading
from app.core.audit.points import ANSWERS
from app.errors import NotFound, Problem
from app.pages import forms
from app.pages.audits import ANSWER_WORDS, SEVERITY_WORDS, back_to
from app.pages.changing import Looking, Seen, faults_of, kept
from app.pages.forms import Entries
from app.store import auditing, cars
from app.store.audits import Audit, AuditCar

router = APIRouter()


@router.get("/audits/cars/{audit_car_id}")
@web.may("record_work")
def checklist(request: Request, audit_car_id: web.Key, db: web.Db, looking: Looking) -> Response:
    audit, car = auditing.drawn_car_or_raise(db, audit_car_id)
    return _page(request, db, audit, car, _held(db, audit, car), looking)


@router.post("/audits/cars/{audit_car_id}")
@web.may("record_work")
def answered(
    request: Request, audit_car_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    audit, car = auditing.drawn_car_or_raise(db, audit_car_id)
    given = {
        each.id: Given(posted.one(f"answer.{each.id}"), posted.one(f"note.{each.id}"))
        for each in actions.points_of(audit)
        if posted.one(f"answer.{each.id}")
    }
    made = kept(db, lambda: actions.answer(db, audit_car_id, given, looking.stamp))
    if isinstance(made, Problem):
        names = [
            f"{kind}.{each.id}" for each in actions.points_of(audit) for kind in ("answer", "note")
        ]
        entries = Entries(forms.typed(posted)).wrong(forms.beside(faults_of(made), names))
        return _page(request, db, audit, car, entries, looking, 422)
    following = _neighbour(db, car, 1) if posted.one("then") == "next" else None
    return web.see_other(f"/audits/cars/{following.id if following else car.id}?saved={car.place}")


def _held(db: Session, audit: Audit, car: AuditCar) -> Entries:
    """The answers that count, as the form shows them."""
    held = auditing.answers(db, audit.id, car.id).get(car.id, {})
    typed = {f"answer.{point}": each.answer for point, each in held.items()}
    return forms.filled(typed | {f"note.{point}": each.note for point, each in held.items()})


def _neighbour(db: Session, car: AuditCar, step: int) -> AuditCar | None:
    """The car that was drawn before this one, or after it."""
    sample = auditing.drawn(db, car.audit_id)
    place = car.place - 1 + step
    return sample[place] if 0 <= place < len(sample) else None


def _page(
    request: Request, db: Session, audit: Audit, car: AuditCar, form: Entries, looking: Seen,
    status: int = 200,
) -> Response:  # fmt: skip
    reached = cars.reached(db, car.car_id)
    saved = forms.whole(request.query_params.get("saved", ""))
    return web.page(
        request, "audits/car.html", status, audit=audit, car=car, form=form,
        points=actions.points_of(audit), says=actions.says(db, audit, car), words=ANSWER_WORDS,
        answers=ANSWERS, held=auditing.answers(db, audit.id, car.id).get(car.id, {}),
        then=_then(db, audit, car) if reached else None,
        back=back_to(request, audit, looking.stamp.today), reached=reached,
        findings=auditing.findings(db, audit.id, car.id), severities=SEVERITY_WORDS,
        today=looking.stamp.today, saved=saved,
        before=_neighbour(db, car, -1), following=_neighbour(db, car, 1),
    )  # fmt: skip


def _then(db: Session, audit: Audit, car: AuditCar) -> object:
    """The car as known when it was drawn; None where by then nothing of it held on the day."""
    try:
        return heading(looking_back.record_of(db, car.car_id, actions.seen_from(audit)))
    except NotFound:
        return None
