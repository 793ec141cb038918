"""Trying a change on one car: before and after side by side, by the address alone, with nothing stored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import rulebooks
from app.actions.car_seen import DueLine, line
from app.actions.rulebooks import Programme
from app.core.facts import Answer, Reason, Settings
from app.core.rule import Rulebook
from app.core.test_pressure import PressureNeeded, needed_for
from app.core.trial import Move, moves
from app.pages import trial_form
from app.pages.changing import Looking, Seen
from app.pages.filters import Asked
from app.pages.trial_form import GROUPS, SEEN_ON, TrialGroup, Tried
from app.store import cars, facts, ladings
from app.store.facts import CarRecord
from app.web.rendering import query, see_other

router = APIRouter()


@dataclass(frozen=True, slots=True)
class TrialLine:
    """An item as it is and as tried, each on the day the trial is seen on."""

    move: Move
    before: DueLine | None
    after: DueLine | None


@dataclass(frozen=True, slots=True)
class Trial:
    """What a trial does to one car; `pressure` is what a lading from the list asks of its tank."""

    before: Answer
    after: Answer
    lines: Sequence[TrialLine]
    new_warnings: Sequence[Reason]
    gone_warnings: Sequence[Reason]
    pressure: PressureNeeded | None

    @property
    def moved(self) -> int:
        return sum(each.move.direction != "unchanged" for each in self.lines)


@router.get("/cars/{car_id}/trial")
@web.may("try_out")
def trial_page(request: Request, car_id: web.Key, db: web.Db, looking: Looking) -> Response:
    car = cars.car_or_raise(db, car_id)
    shorter = trial_form.tidy(request)
    if shorter is not None:
        return see_other(shorter)
    # What the form does not know would be left out of the trial unseen.
    Asked.of(request.query_params, tuple(trial_form.NAMES)).refuse()
    tried = trial_form.read(request, db, looking.stamp.today)
    trial = _tried(db, car_id, tried, looking) if tried.ready else None
    return web.page(
        request,
        "trial/car.html",
        422 if tried.entries.problems else 200,
        car=car,
        tried=tried,
        trial=trial,
        groups=with_ladings(db),
        seen_on=SEEN_ON,
        asked=query(tried.asked),
    )


def with_ladings(db: Session) -> tuple[TrialGroup, ...]:
    """The groups of the form, with the list of ladings to choose from."""
    names = tuple((each.name, "") for each in ladings.all(db))
    return tuple(
        replace(group, fields=tuple(
            replace(each, choices=names) if each.name == "choose" else each for each in group.fields
        ))
        for group in GROUPS
    )  # fmt: skip


def _tried(db: Session, car_id: int, tried: Tried, looking: Seen) -> Trial:
    settings = Settings(soon_days=looking.soon_days)
    record = facts.load(db, [car_id], tried.on, settings=settings)[car_id]
    return compared(record, tried, rulebooks.in_force(db))


def compared(record: CarRecord, tried: Tried, programme: Programme) -> Trial:
    """The car's answer as it is and as tried, on the day the trial is seen on."""
    before = programme.whole_answer(record, tried.on).answer
    after = programme.whole_answer(record, tried.on, tried.change).answer
    soon = record.settings.soon_days
    return Trial(
        before,
        after,
        [_line(move, tried.on, soon) for move in moves(before, after)],
        [each for each in after.warnings if each not in before.warnings],
        [each for each in before.warnings if each not in after.warnings],
        _pressure(record, tried, programme.of(record.owner_id).rulebook),
    )


def _pressure(record: CarRecord, tried: Tried, rulebook: Rulebook) -> PressureNeeded | None:
    """The test pressure that the tried lading asks for, where its vapor pressure is on the list."""
    if tried.change.service is None:
        return None
    return needed_for(replace(record.car, service=tried.change.service), rulebook)


def _line(move: Move, day: date, soon: int) -> TrialLine:
    before, after = (
        None if due is None else line(due, day, soon) for due in (move.before, move.after)
    )
    return TrialLine(move, before, after)
