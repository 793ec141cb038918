"""What a condition finds by the columns of the store is what it finds car by car, from every row that was put in."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select, text
from sqlalchemy.orm import Session

from app.access.reach import EVERYTHING
from app.core.directive import CarLooks, ComponentLooks, Condition, matches
from app.store import directive_matching, tables
from app.store.asked import Standpoint
from app.store.columns import BEGINNING
from app.store.db import make_engine, sessions
from app.store.directive_keeping import _open
from tests.bulk.random_fleet import COMMODITIES, MAKERS, SPECIFICATIONS, UN, fill
from tests.length import tries

DAYS = [date(1995, 6, 1), date(2012, 3, 4), date(2020, 1, 1), date(2026, 11, 25)]


def some(values: Any) -> st.SearchStrategy[Any]:
    return st.none() | st.sampled_from([each for each in values if each])


of_cars = {
    "specification": some(["DOT 111", "111A100W1", "DOT 105", *SPECIFICATIONS]),
    "material": some(["TC128B", "AL5083"]),
    "built_from": some([date(1980, 1, 1), date(2005, 1, 1)]),
    "built_to": some([date(1999, 12, 31), date(2020, 1, 1)]),
    "un": some(UN),
    "lading": some(COMMODITIES),
    "lining": some(["rubber", "glass"]),
    "owner": some(["quillmoor invented leasing", "Nobody, invented"]),
}
# Few fields at once, so that something is found.
few = st.lists(st.sampled_from(sorted(of_cars)), max_size=2, unique=True)
serials = ["AB1", "AB7", "AB300"]
components = st.fixed_dictionaries(
    {"kind": st.sampled_from(["relief_valve", "relief_device", "gauge", "relief_disc"])},
    optional={
        "maker": some(MAKERS), "model": st.just("ex-1"), "lot": st.sampled_from(["L1", "L2"]),
        "serial_from": some(["AB1", "AB5"]), "serial_to": some(serials),
    },
)  # fmt: skip


@st.composite
def conditions(draw: st.DrawFn) -> Condition:
    asked = {name: draw(of_cars[name]) for name in draw(few)}
    if draw(st.booleans()):
        asked |= draw(components)
    return Condition(**asked)


class Rows:
    """Every row of the store by car, in Python."""

    def __init__(self, db: Session) -> None:
        self.by_car: dict[type, dict[int, list[Any]]] = {}
        for table in (
            tables.Construction, tables.ServiceFact, tables.LiningFact, tables.Installation, tables.EventRow,
        ):  # fmt: skip
            found = defaultdict(list)
            for row in db.scalars(select(table)):
                if row.superseded_at is None:
                    found[row.car_id].append(row)
            self.by_car[table] = found
        self.removed = {
            row.installation_id: row.removed_on
            for row in db.scalars(select(tables.Removal)) if row.superseded_at is None
        }  # fmt: skip
        # Days on which something was put on, taken off or built are where a day too many would show.
        moved = {row.from_on for rows in self.by_car[tables.Installation].values() for row in rows}
        self.days = [*DAYS, *sorted({*self.removed.values(), *moved} - {BEGINNING})]
        self.components = {row.id: row for row in db.scalars(select(tables.Component))}

    def latest(self, table: type, car: int, day: date) -> Any:
        rows = [row for row in self.by_car[table][car] if row.from_on <= day]
        return max(rows, key=lambda row: (row.from_on, row.id), default=None)

    def looks(self, car: int, day: date) -> CarLooks | None:
        built = self.latest(tables.Construction, car, day)
        lading = self.latest(tables.ServiceFact, car, day)
        if built is None or (built.built_on and built.built_on > day):
            return None
        return CarLooks(
            built.specification, built.design, built.builder, built.built_on, built.material,
            lading and lading.un, lading and lading.commodity, "Quillmoor Invented Leasing",
            self.lining(car, day),
        )  # fmt: skip

    def lining(self, car: int, day: date) -> str | None:
        """As `core.directive.CarLooks` says: an event after the application leaves open which lining it is."""
        row = self.latest(tables.LiningFact, car, day)
        events = [
            each for each in self.by_car[tables.EventRow][car]
            if each.happened_on <= day and {"lining_applied", "lining_removed"} & set(each.items.split(";"))
        ]  # fmt: skip
        last = max(events, key=lambda each: (each.happened_on, each.id), default=None)
        applied = row.applied_on if row else None
        if last is not None and not (applied and last.happened_on <= applied):
            return None if "lining_applied" in last.items.split(";") else ""
        return row.kind if row and row.lined else ""

    def on_it(self, car: int, day: date) -> Iterator[tuple[int, ComponentLooks]]:
        for row in self.by_car[tables.Installation][car]:
            gone = self.removed.get(row.id)
            if row.from_on <= day and not (gone and gone <= day):
                each = self.components[row.component_id]
                yield (
                    each.id,
                    ComponentLooks(each.kind, each.maker, each.model, each.lot, each.serial),
                )


def one_by_one(rows: Rows, keys: list[int], condition: Condition, day: date):
    for key in keys:
        looks = rows.looks(key, day)
        on_it = list(rows.on_it(key, day)) if condition.kind is not None else [(None, None)]
        for component_id, component in on_it:
            match = looks and matches(condition, looks, component)
            if match:
                yield key, component_id, match


@pytest.fixture(scope="module")
def fleet(sqlite_template, tmp_path_factory) -> Iterator[tuple[Session, list[int], Rows]]:
    import shutil

    path = tmp_path_factory.mktemp("matching") / "store.db"
    shutil.copyfile(sqlite_template, path)
    engine = make_engine(f"sqlite:///{path}")
    with sessions(engine)(info={"reach": EVERYTHING}) as db:
        keys = fill(db, 250, 11)
        yield db, keys, Rows(db)
    engine.dispose()


@settings(
    max_examples=tries(short=50, long=500),
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(condition=conditions(), data=st.data())
def test_columns_find_what_is_found_car_by_car(fleet, condition, data):
    db, keys, rows = fleet
    day = data.draw(st.sampled_from(rows.days))
    found = directive_matching.found(db, condition, keys, Standpoint(day))
    told = sorted(
        (each.car_id, each.component_id or 0, each.match.by_hand, each.match.why) for each in found
    )
    naive = sorted(
        (key, component or 0, match.by_hand, match.why)
        for key, component, match in one_by_one(rows, keys, condition, day)
    )
    assert told == naive


def test_the_fleet_of_this_test_has_something_to_find(fleet):
    db, keys, _ = fleet
    lot = Condition(kind="relief_valve", lot="L1")
    found = directive_matching.found(db, lot, keys, Standpoint(DAYS[-1]))
    assert {each.match.by_hand for each in found} == {True, False}


def test_what_was_seen_to_is_asked_once_and_not_of_each_match(db):
    """Asked of each match, freezing so many of one directive takes their number times itself."""
    query = _open(1, ["a thing"]).compile(db.get_bind(), compile_kwargs={"literal_binds": True})
    plan = db.execute(text(f"EXPLAIN QUERY PLAN {query}"))
    assert not [row.detail for row in plan if "CORRELATED" in row.detail]
