"""Trying a change on the cars of a filter: how many dates move and which, by the address alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import rulebooks
from app.core.facts import ITEMS, LoadingVerdict, Settings
from app.core.trial import Direction
from app.errors import Refused
from app.files import lists_out
from app.pages import fleet, trial_form
from app.pages.changing import Looking, Seen
from app.pages.exports import Table, as_asked
from app.pages.fleet import Wanted
from app.pages.trial import Trial, TrialLine, compared, with_ladings
from app.pages.trial_form import SEEN_ON, Tried
from app.store import car_counts, cars, facts
from app.store.cars import CarListRow
from app.web.rendering import see_other

router = APIRouter()

# What is worked out while a person waits: some seconds.
MOST = 5_000
CHUNK = 250
# Rows of a page; a car's rows stay together.
PAGE = 60


@dataclass(frozen=True, slots=True)
class CarTrial:
    """A car of the selection and what the trial does to it."""

    car: CarListRow
    trial: Trial

    @property
    def moved(self) -> list[TrialLine]:
        return [each for each in self.trial.lines if each.move.direction != "unchanged"]

    @property
    def loading_changes(self) -> bool:
        return self.trial.before.loading.verdict != self.trial.after.loading.verdict


@dataclass
class Tally:
    """How many items move which way, and how many cars change their loading answer."""

    cars: int = 0
    touched: int = 0
    by_item: dict[str, Counter[Direction]] = field(default_factory=dict)
    loading: Counter[tuple[LoadingVerdict, LoadingVerdict]] = field(default_factory=Counter)

    def count(self, one: CarTrial) -> None:
        self.cars += 1
        self.touched += bool(one.moved or one.loading_changes)
        for each in one.trial.lines:
            counted = self.by_item.setdefault(each.move.item, Counter())
            counted[each.move.direction] += 1
        if one.loading_changes:
            self.loading[one.trial.before.loading.verdict, one.trial.after.loading.verdict] += 1

    @property
    def items(self) -> list[tuple[str, Counter[Direction]]]:
        return [(item, self.by_item[item]) for item in ITEMS if item in self.by_item]


@dataclass(frozen=True)
class Shown:
    """A page of the selection: its cars that change, how to go on, and on the first page the tally."""

    rows: Sequence[CarTrial]
    next_after: str | None
    tally: Tally | None


@router.get("/fleet/trial")
@web.may("try_out")
def trial_page(request: Request, db: web.Db, looking: Looking) -> Response:
    shorter = trial_form.tidy(request)
    if shorter is not None:
        return see_other(shorter)
    seen = fleet.wanted(request, db, trial_form.NAMES)
    seen.asked.refuse()
    tried = trial_form.read(request, db, looking.stamp.today)
    count = car_counts.count(db, seen.filter)
    after = request.query_params.get("after") or None
    shown = _shown(db, seen, tried, looking, after) if tried.ready and count <= MOST else None
    return web.page(
        request,
        "trial/fleet.html",
        422 if tried.entries.problems else 200,
        selection=seen.in_words(),
        kept=seen.asked.values,
        count=count,
        most=MOST,
        tried=tried,
        shown=shown,
        after=after,
        groups=with_ladings(db),
        seen_on=SEEN_ON,
        asked={**seen.asked.values, **tried.asked},
    )


@router.get("/fleet/trial.csv")
@router.get("/fleet/trial.xlsx")
@router.get("/fleet/trial.json")
@web.may("try_out")
def trial_file(request: Request, db: web.Db, looking: Looking) -> Response:
    seen = fleet.wanted(request, db, trial_form.NAMES)
    seen.asked.refuse()
    tried = trial_form.read(request, db, looking.stamp.today)
    if not tried.ready or car_counts.count(db, seen.filter) > MOST:
        raise Refused(f"A file needs something to try, on at most {MOST} cars.")
    rows = (row for one in _each(db, seen, tried, looking, None) for row in _cells(one))
    return as_asked(request, Table(f"trial-{tried.on}", "Trial", lists_out.TRIAL.columns, rows))


def _shown(db: Session, seen: Wanted, tried: Tried, looking: Seen, after: str | None) -> Shown:
    """On the first page everything is worked out, for the tally; on later ones only what they show."""
    tally = None if after else Tally()
    rows: list[CarTrial] = []
    filled, next_after = 0, None
    for one in _each(db, seen, tried, looking, after):
        if tally:
            tally.count(one)
        if not (one.moved or one.loading_changes) or next_after:
            continue
        if filled >= PAGE:
            next_after = cars.register_place(rows[-1].car)
            if tally is None:
                break
            continue
        rows.append(one)
        filled += max(1, len(one.moved))
    return Shown(rows, next_after, tally)


def _each(
    db: Session, seen: Wanted, tried: Tried, looking: Seen, after: str | None
) -> Iterator[CarTrial]:
    """Every car of the selection behind `after`, in the order of the register."""
    settings, programme = Settings(soon_days=looking.soon_days), rulebooks.in_force(db)
    while True:
        page = cars.register(db, seen.filter, after, CHUNK)
        records = facts.load(db, [car.id for car in page.rows], tried.on, settings=settings)
        for car in page.rows:
            if car.id in records:
                yield CarTrial(car, compared(records[car.id], tried, programme))
        if page.next_after is None:
            return
        after = page.next_after


def _cells(one: CarTrial) -> Iterator[Sequence[Any]]:
    """A row an item, moved or not, so that the file can be summed up."""
    before, after = one.trial.before.loading, one.trial.after.loading
    for each in one.trial.lines:
        reasons = each.move.after.reasons if each.move.after else ()
        yield (
            one.car.mark, one.car.number, one.car.owner, each.move.item, each.move.direction,
            each.move.days, each.move.in_words(),
            each.before and each.before.status, each.before and each.before.due.due_on,
            each.after and each.after.status, each.after and each.after.due.due_on,
            before.verdict, after.verdict,
            " ".join(f"{reason.text}." for reason in reasons),
        )  # fmt: skip
