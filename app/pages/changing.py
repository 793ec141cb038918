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
from app.pages.change_words import InWords, in_words
from app.pages.moves import Move, moves
from app.store import cars, change_list, due
from app.store.gathering import gathered

T = TypeVar("T")
Link = tuple[str, str]
# Where the fault stands, and the field that says it was read.
MEANWHILE = "meanwhile"
MOST_TOLD = 20
MOST_DETAILS = 10
DIGITS = 16


@dataclass(frozen=True, slots=True)
class Seen:
    """Who looks and when: the stamp of what they record, and how near is soon.

    `known` are the versions of the car that a form says its sender has seen: when it was opened, and
    when it was shown again with what had been recorded meanwhile.
    """

    stamp: Stamp
    soon_days: int
    known: frozenset[int] = frozenset()


def seen(
    by: web.Recorder,
    at: web.Now,
    today: web.Today,
    settings: web.Configured,
    posted: web.Posted,
) -> Seen:
    versions = (posted.one(name) for name in ("version", "meanwhile"))
    known = frozenset(int(text) for text in versions if text.isdecimal() and len(text) <= DIGITS)
    return Seen(Stamp(by, at, today), settings.soon_days, known)


Looking = Annotated[Seen, Depends(seen)]


@dataclass(frozen=True, slots=True)
class Made(Generic[T]):
    """A change that was made: what the action gave, and what it moved."""

    given: T
    moved: Sequence[Move]


def attempt(db: Session, car_id: int, seen: Seen, change: Callable[[], T]) -> Made[T] | list[Fault]:
    """Make a change to a car; of one that is refused nothing stays, so its form can be shown again.

    Refused is also what would follow on something recorded since the form was opened, until its
    sender has read that and says so.
    """
    before = due.for_car(db, car_id, seen.stamp.today, seen.soon_days)
    given = kept_of_car(db, car_id, seen, change)
    if isinstance(given, Problem):
        return faults_of(given)
    if not cars.just_changed(db, car_id)[1]:
        return Made(given, ())
    _, items = cars.part_or_raise(db, car_id)
    before = [row for row in before if items is None or row.item in items]
    after = told(db, due.for_car(db, car_id, seen.stamp.today, seen.soon_days), seen.stamp.today)
    return Made(given, moves(before, after))


def kept_of_car(db: Session, car_id: int, seen: Seen, change: Callable[[], T]) -> T | Problem:
    """What the change to a car gave; or why it was refused, which may be what others did meanwhile."""
    return kept(db, lambda: _unless_meanwhile(db, car_id, seen, change))


def _unless_meanwhile(db: Session, car_id: int, seen: Seen, change: Callable[[], T]) -> T:
    """Make the change, which locks the car. Raises Conflict when others changed the car meanwhile.

    A form sent twice changes nothing the second time, and is answered as the first.
    """
    given = change()
    if seen.known and gathered(db).rows:
        latest = change_list.latest_about(db, car_id)
        if latest > max(seen.known):
            sentence = _meanwhile(db, car_id, max(seen.known))
            raise Conflict(sentence, [Fault(MEANWHILE, sentence)])
    return given


def _meanwhile(db: Session, car_id: int, version: int) -> str:
    found = change_list.since(db, car_id, version, MOST_TOLD + 1)
    whole = cars.part_or_raise(db, car_id)[1] is None
    told = [_told(each) for each in in_words(db, found[:MOST_TOLD])] if whole else []
    if told and len(found) > MOST_TOLD:
        told.append("More was recorded before that; the changes of the car tell all of it.")
    what = " ".join(told) or "somebody recorded something about this car that you do not reach."
    return (
        f"since you opened this form: {what} What you typed is kept. Read it again beside this, "
        f"change it if need be, and tick below to record it all the same"
    )


def _told(each: InWords) -> str:
    more = ["and more"] if len(each.details) > MOST_DETAILS else []
    details = "; ".join([*each.details[:MOST_DETAILS], *more])
    about = f" ({details})" if details else ""
    return f"{each.entry.by} {each.did}, {each.entry.at:%Y-%m-%d %H:%M} UTC{about}."


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
