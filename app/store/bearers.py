"""Who bore a mark and number when: a name goes with its car until it is re-marked, sold or scrapped."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import select, true
from sqlalchemy.orm import Session

from app.store import prepared, reach
from app.store.columns import BEGINNING
from app.store.intake import KNOWN, KnownCar, in_parts
from app.store.names import Name, NamePrefix, matches
from app.store.tables import IN_RECORD, Car, CarName, Standing

# From a day on until another, which is no longer in it; date.max: nobody says that it ended.
Span = tuple[date, date]


@dataclass(frozen=True, slots=True)
class Borne:
    """Days on which a car bore a name, stood in the record and was built."""

    car: KnownCar
    from_on: date
    until: date

    def touches(self, first: date, last: date) -> bool:
        """Whether any day from `first` to `last` is among them."""
        return self.from_on <= last and first < self.until


def bearers(db: Session, names: Collection[Name]) -> dict[Name, list[Borne]]:
    """All that counts of who bore each of these names, in the order of the days."""
    bore = _ever_named(db, names)
    ids = {car_id for cars in bore.values() for car_id in cars}
    named, stood, known = _rows(db, CarName, ids), _rows(db, Standing, ids), _known(db, ids)
    found: dict[Name, list[Borne]] = {name: [] for name in names}
    for name, cars in bore.items():
        for car_id in cars:
            car = known[car_id]
            spans = _both(_spans_of_name(named[car_id], name), _in_record(stood[car_id]))
            spans = _both(spans, [(car.built_on or BEGINNING, date.max)])
            found[name] += [Borne(car, *span) for span in spans]
        found[name].sort(key=lambda each: (each.from_on, each.car.id))
    return found


def names_of(db: Session, car_id: int) -> set[Name]:
    """Every name that counts of a car."""
    query = select(CarName.mark, CarName.number).where(
        CarName.car_id == car_id, CarName.superseded_at.is_(None)
    )
    return {(mark, number) for mark, number in db.execute(query)}


def all_named(db: Session, names: Collection[Name]) -> dict[Name, list[int]]:
    """The keys of all cars in record under each name that the session reaches.

    One, unless two companies each have it; a name that no car bears is not in the answer.
    """
    numbers: dict[str, set[int]] = defaultdict(set)
    for mark, number in names:
        numbers[mark].add(number)
    found: dict[Name, list[int]] = defaultdict(list)
    for mark, wanted in numbers.items():
        query = select(Car.number, Car.id).where(
            Car.mark == mark,
            Car.number.in_(sorted(wanted)),
            Car.standing.in_(IN_RECORD),
            reach.whole(db, Car.owner_id, Car.id),
        )
        alone = prepared.of_cars(sorted(wanted))
        for number, car_id in db.execute(query.order_by(Car.id), execution_options=alone):
            found[mark, number].append(car_id)
    return found


def names_in_record(
    db: Session, search: NamePrefix, region: str | None, limit: int
) -> Sequence[Name]:
    """Marks and numbers of the cars in record that begin so and stand in the region, at most so many."""
    query = select(Car.mark, Car.number).where(
        Car.standing.in_(IN_RECORD),
        matches(search, Car.mark.expression, Car.number.expression),
        reach.whole(db, Car.owner_id, Car.id),
        Car.region == region if region else true(),
    )
    found = db.execute(query.order_by(Car.mark, Car.number, Car.id).limit(limit))
    return [(mark, number) for mark, number in found]


def meant(borne: Sequence[Borne], first: date, last: date, today: date) -> list[KnownCar]:
    """The cars that a name can mean of something that happened from `first` to `last`.

    Who bore it then; else who bears it today, and whoever bore it in between. More than one: nobody
    but a person can tell.
    """
    then = _cars(each for each in borne if each.touches(first, last))
    if then or not any(each.touches(today, today) for each in borne):
        return then
    return _cars(each for each in borne if each.touches(first, today))


def last_before(borne: Sequence[Borne], day: date) -> list[KnownCar]:
    """The car that bore a name last before a day: one that was sold or scrapped still has its papers here."""
    past = [each for each in borne if each.until <= day]
    return _cars(each for each in past if each.until == max(one.until for one in past))


def _cars(borne: Iterable[Borne]) -> list[KnownCar]:
    return list({each.car.id: each.car for each in borne}.values())


def _ever_named(db: Session, names: Collection[Name]) -> dict[Name, set[int]]:
    found: dict[Name, set[int]] = defaultdict(set)
    numbers: dict[str, set[int]] = defaultdict(set)
    for mark, number in names:
        numbers[mark].add(number)
    for mark, wanted in numbers.items():
        for part in in_parts(wanted):
            rows = db.execute(
                select(CarName.number, CarName.car_id)
                .join(Car, Car.id == CarName.car_id)
                .where(
                    CarName.mark == mark,
                    CarName.number.in_(part),
                    CarName.superseded_at.is_(None),
                    reach.whole(db, Car.owner_id, Car.id),
                )
            )
            for number, car_id in rows:
                found[mark, number].add(car_id)
    return found


def _rows(
    db: Session, table: type[CarName] | type[Standing], car_ids: Collection[int]
) -> dict[int, list[tuple[date, Any]]]:
    """What is stated of each car as (from when, what), a later one replacing an earlier."""
    stated = (CarName.mark, CarName.number) if table is CarName else (Standing.standing,)
    found: dict[int, list[tuple[date, Any]]] = defaultdict(list)
    for part in in_parts(car_ids):
        query = (
            select(table.car_id, table.from_on, *stated)
            .where(table.car_id.in_(part), table.superseded_at.is_(None))
            .order_by(table.car_id, table.from_on, table.id)
        )
        for car_id, from_on, *what in db.execute(query):
            found[car_id].append((from_on, tuple(what)))
    return found


def _known(db: Session, car_ids: Collection[int]) -> dict[int, KnownCar]:
    found = {}
    for part in in_parts(car_ids):
        rows = db.execute(select(*KNOWN).where(Car.id.in_(part)))
        found.update({row.id: KnownCar(*row) for row in rows})
    return found


def _spans_of_name(rows: Sequence[tuple[date, Any]], name: Name) -> list[Span]:
    return [span for span, what in _held(rows) if what == name]


def _in_record(rows: Sequence[tuple[date, Any]]) -> list[Span]:
    """Before anything is stated of its standing, a car is in service."""
    stated = [(BEGINNING, ("in_service",)), *rows]
    return [span for span, (standing,) in _held(stated) if standing in IN_RECORD]


def _held(rows: Sequence[tuple[date, Any]]) -> Iterator[tuple[Span, Any]]:
    """How long each thing stated held; one that was replaced on its own day never did."""
    ends = [from_on for from_on, _ in rows[1:]] + [date.max]
    for (from_on, what), until in zip(rows, ends, strict=False):
        if from_on < until:
            yield (from_on, until), what


def _both(some: Sequence[Span], others: Sequence[Span]) -> list[Span]:
    """The days that are in both."""
    crossed = ((max(a, c), min(b, d)) for a, b in some for c, d in others)
    return [(first, until) for first, until in crossed if first < until]
