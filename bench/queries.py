"""The questions behind lists, each beside the same one written by hand and asked by the bare driver.

Both give the same first fifty rows of the same store, or it is no comparison and stops there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.store import cars, due
from app.store.cars import RegisterFilter
from app.store.db import make_engine, read_session, sessions
from app.store.due import DueFilter
from app.store.names import NamePrefix
from app.store.tables import Car, Party
from bench import stores
from bench.responses import bare
from bench.rows import Row, Size
from bench.timing import in_turn, milliseconds, of_processor

TIMES, PAGE = 60, 50
MOST_MS = 10
AGAINST = "the same by hand on the bare driver"
DUE = """
SELECT due.car_id, due.item_no, due.mark, due.number, party.name, due.region, due.item, due.state, due.due_on,
  due.basis_on, due.interval_months, due.calculated_due_on, due.confidence, due.citation, due.hazardous
FROM due JOIN party ON party.id = due.owner_id
WHERE due.listed AND due.due_on >= '0001-01-01' {more}
ORDER BY due.due_on, due.mark, due.number, due.item_no LIMIT 51
"""
FLEET = """
SELECT car.id, car.mark, car.number, car.owner_id, party.name, car.region, car.standing, car.specification,
  car.commodity, car.built_on, car.next_item, car.next_state, car.next_due_on
FROM car JOIN party ON party.id = car.owner_id
WHERE car.standing NOT IN ('sold', 'scrapped', 'withdrawn') {more}
ORDER BY car.mark, car.number, car.id LIMIT 51
"""


class Question(NamedTuple):
    """Ours gives the keys of the rows found; `by_hand` begins with the same keys."""

    name: str
    ours: Callable[[Session], list[tuple[Any, ...]]]
    by_hand: str


def rows(size: Size, folder: Path) -> Iterator[Row]:
    for engine in stores.ENGINES:
        with stores.filled(engine, size, folder) as url:
            made = make_engine(url)
            with read_session(sessions(made)) as db, bare(url) as ask:
                for question in _questions(db):
                    where = f"{engine}, {stores.CARS[size]:,} cars"
                    yield _row(f"{question.name}, {where}", question, db, ask, engine)
            made.dispose()


def _questions(db: Session) -> list[Question]:
    owner = db.scalars(select(Party.id).where(Party.name == "Example Owner 3")).one()
    mark, number = db.execute(select(Car.mark, Car.number).order_by(Car.id).limit(1)).one()
    day, digits = stores.TODAY, str(number)[:3]
    first, last = int(digits) * 1000, int(digits) * 1000 + 999
    named = f"AND car.mark = '{mark}' AND car.number BETWEEN {first} AND {last}"
    past = f"AND (due.state = 'owed' OR due.due_on < '{day}') AND due.due_on <= '{day}'"
    return [
        _due("due list", DueFilter(day), ""),
        _due("overdue list", DueFilter(day, overdue=True), past),
        _due("due list of an owner", DueFilter(day, owner_id=owner), f"AND due.owner_id = {owner}"),
        _due(
            "due list of air brakes", DueFilter(day, item="air_brake"), "AND due.item = 'air_brake'"
        ),
        _fleet("fleet register", RegisterFilter(), ""),
        _fleet("fleet by its beginning", RegisterFilter(NamePrefix(mark, digits)), named),
    ]


def _due(name: str, wanted: DueFilter, more: str) -> Question:
    def ours(db: Session) -> list[tuple[Any, ...]]:
        return [(row.car_id, row.item_no) for row in due.page(db, wanted, None, PAGE).rows]

    return Question(name, ours, DUE.format(more=more))


def _fleet(name: str, wanted: RegisterFilter, more: str) -> Question:
    def ours(db: Session) -> list[tuple[Any, ...]]:
        return [(row.id,) for row in cars.register(db, wanted, None, PAGE).rows]

    return Question(name, ours, FLEET.format(more=more))


def _row(
    name: str, question: Question, db: Session, ask: Callable[[str, Any], Any], engine: str
) -> Row:
    keys = question.ours(db)
    by_hand = [row[: len(keys[0])] for row in ask(question.by_hand, ())[:PAGE]]
    if keys != by_hand:
        raise RuntimeError(f"{name}: by hand other rows come out")
    # On SQLite all is done in this process, whatever else the machine does.
    cost, unit = (of_processor, "ms of processor") if engine == "SQLite" else (milliseconds, "ms")
    ours, theirs = in_turn(
        cost(lambda: question.ours(db)), cost(lambda: ask(question.by_hand, ())), times=TIMES
    )
    return Row(name, ours, theirs, unit, AGAINST, most=MOST_MS)
