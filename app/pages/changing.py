"""The course of every change on a page: who makes it, what stops it, and what it moved."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Generic, TypeVar

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app import web
from app.actions.reasons import told
from app.actions.stamp import Stamp
from app.errors import Conflict, Fault, Problem, Refused
from app.pages.moves import Move, moves
from app.store import cars, due

T = TypeVar("T")
Link = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Seen:
    """Who looks and when: the stamp of what they record, and how near is soon."""

    stamp: Stamp
    soon_days: int


def seen(by: web.Recorder, at: web.Now, today: web.Today, settings: web.Configured) -> Seen:
    return Seen(Stamp(by, at, today), settings.soon_days)


Looking = Annotated[Seen, Depends(seen)]


@dataclass(frozen=True, slots=True)
class Made(Generic[T]):
    """A change that was made: what the action gave, and what it moved."""

    given: T
    moved: Sequence[Move]


def attempt(db: Session, car_id: int, seen: Seen, change: Callable[[], T]) -> Made[T] | list[Fault]:
    """Make a change to a car; of one that is refused nothing stays, so its form can be shown again."""
    before = due.for_car(db, car_id, seen.stamp.today, seen.soon_days)
    given = kept(db, change)
    if isinstance(given, Problem):
        return faults_of(given)
    if not cars.just_changed(db, car_id)[1]:
        return Made(given, ())
    _, items = cars.part_or_raise(db, car_id)
    before = [row for row in before if items is None or row.item in items]
    after = told(db, due.for_car(db, car_id, seen.stamp.today, seen.soon_days), seen.stamp.today)
    return Made(given, moves(before, after))


def kept(db: Session, change: Callable[[], T]) -> T | Problem:
    """What the change gave; or why it was refused, with nothing of it left behind."""
    try:
        with db.begin_nested():
            return change()
    except (Refused, Conflict) as problem:
        return problem


def faults_of(problem: Problem) -> list[Fault]:
    """The faults behind a problem; one that names none is itself the only one."""
    return problem.faults or [Fault("", str(problem))]


@dataclass(frozen=True, slots=True)
class Done:
    """What the answer to a change says: what was recorded, what moved, where to go from there."""

    title: str
    sentence: str
    moves: Sequence[Move]
    links: Sequence[Link] = ()


def changed(request: Request, db: Session, car_id: int, done: Done) -> HTMLResponse:
    """The page that says what was recorded and what it moved; or that the car is another company's now."""
    car, reached = cars.just_changed(db, car_id)
    template = "cars/changed.html" if reached else "cars/given_away.html"
    return web.page(request, template, car=car, done=done)
