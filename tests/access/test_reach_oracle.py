"""Random companies, owners, linings, visits and days: every question finds what a plain reading of the rules finds.

The rules, said again in plain Python: one's own cars and those of parties that one keeps, whole; cars in one's shop
from sent to released, whole; of cars whose lining or service equipment one owns, the items of it.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, make_url, select
from sqlalchemy.orm import Session

from app.access import EVERYTHING
from app.actions import cars as car_actions
from app.actions import due as due_actions
from app.actions import events as event_actions
from app.actions import visits as visit_actions
from app.actions.changes import (
    CarDetails,
    NewCar,
    NewEvent,
    NewLining,
    NewName,
    NewOwnership,
    NewService,
)
from app.core.facts import ITEMS
from app.errors import NotFound
from app.store import as_known, car_counts, cars, dated, due, due_counts, events, reach, visiting
from app.store.asked import Standpoint
from app.store.cars import RegisterFilter
from app.store.db import make_engine, sessions
from app.store.due import DueFilter
from app.store.tables import Ownership, Party
from app.store.visits import CarReach
from tests.access.parties import MARK, STAMP, viewer
from tests.fixtures.postgres import fresh_database
from tests.fixtures.web import TODAY
from tests.length import tries

NAMES = ("Ash Invented", "Birch Invented", "Cedar Invented", "Kept by Ash", "Kept by Birch")
KEPT_BY = {3: 0, 4: 1}
DAYS = (date(2026, 3, 1), date(2026, 6, 1), date(2026, 9, 1))
# Days on which all of it is asked for: before, between and after those.
MOMENTS = (date(2026, 4, 1), date(2026, 7, 1), TODAY)
CARS = 3
LINING = frozenset(("lining",))
EQUIPMENT = frozenset(("service_equipment", "relief_device", "rupture_disc", "leakage"))
# What is asked, and which cars of others it is also asked of.
ASKED = {
    "read": {"lining", "equipment", "shop"},
    "record_work": {"lining", "equipment", "shop"},
    "load_check": {"shop"},
    "record_facts": set(),
    "bring_in": set(),
}
INSPECTED = (("visual",), ("lining",), ("relief_device", "leakage"), ("visual", "lining"))


@dataclass(frozen=True)
class Held:
    """An ownership as recorded, parties by their place in NAMES."""

    from_on: date
    owner: int
    lining: int | None
    equipment: int | None


@dataclass
class Known:
    """What the oracle knows of a car: ownerships in the order recorded, and the visit that it is on."""

    id: int
    ownerships: list[Held]
    shop: int | None = None
    visit: int | None = None
    events: dict[int, frozenset[str]] = field(default_factory=dict)

    def held(self, day: date) -> Held:
        """The latest day wins, of one day the latest recorded."""
        there = [each for each in self.ownerships if each.from_on <= day]
        return max(enumerate(there), key=lambda each: (each[1].from_on, each[0]))[1]


party = st.integers(0, len(NAMES) - 1)
maybe = st.none() | party
which = st.integers(0, CARS - 1)
deeds = st.lists(
    st.one_of(
        st.tuples(st.just("own"), which, st.sampled_from(DAYS), party, maybe, maybe),
        st.tuples(st.just("withdraw"), which),
        st.tuples(st.just("send"), which, party),
        st.tuples(st.sampled_from(("release", "undo_sending")), which),
    ),
    max_size=10,
)


@contextmanager
def opened(url: str) -> Iterator[Session]:
    engine = make_engine(url)
    with sessions(engine)(info={"reach": EVERYTHING}) as db:
        yield db
    engine.dispose()


class Model:
    """The store and the oracle side by side."""

    def __init__(self, db: Session, owners: list[int]) -> None:
        self.db = db
        self.parties = [Party(name=name, keeps_register=not at) for at, name in enumerate(NAMES)]
        db.add_all(self.parties)
        db.flush()
        for kept, keeper in KEPT_BY.items():
            self.parties[kept].kept_by = self.parties[keeper].id
        db.flush()
        self.cars = [self._added(number, owner) for number, owner in enumerate(owners, 1)]

    def _added(self, number: int, owner: int) -> Known:
        car = car_actions.add_car(
            self.db,
            NewCar(
                NewName(MARK, number),
                NewOwnership(NAMES[owner], f"region {owner}"),
                CarDetails("DOT 111A100W5", built_on=date(2012, 3, 1)),
                service=NewService(f"lading {owner}", corrosive_or_reactive=True),
                lining=NewLining(applied_on=date(2019, 5, 6)),
            ),
            STAMP,
        )
        known = Known(car.id, [Held(date.min, owner, None, None)])
        for place, items in enumerate(INSPECTED):
            event = NewEvent(date(2021 + place, 2, 3), items)
            row = event_actions.record_event(self.db, car.id, event, STAMP)
            known.events[row.id] = frozenset(items)
        return known

    def do(self, kind: str, at: int, *what) -> None:
        """One deed, when it is possible as things are."""
        getattr(self, f"_{kind}")(self.cars[at], *what)

    def _own(self, car: Known, day: date, owner: int, lining: int | None, equipment: int | None):
        new, held = Held(day, owner, lining, equipment), car.held(date.max)
        same = (held.owner, held.lining, held.equipment) == (owner, lining, equipment)
        if same and (day >= held.from_on):
            return  # it holds already
        parties = (None if each is None else NAMES[each] for each in (lining, equipment))
        stated = NewOwnership(NAMES[owner], f"region {owner}", *parties, from_on=day)
        car_actions.change_ownership(self.db, car.id, stated, STAMP)
        car.ownerships.append(new)

    def _withdraw(self, car: Known) -> None:
        if len(car.ownerships) > 1:
            row = dated.in_force(self.db, Ownership, car.id)
            car_actions.withdraw_fact(self.db, "ownership", row.id, "Invented.", STAMP)
            held = car.held(date.max)
            last = max(at for at, each in enumerate(car.ownerships) if each == held)
            del car.ownerships[last]

    def _send(self, car: Known, shop: int) -> None:
        if car.shop is None:
            sending = visit_actions.Sending(NAMES[shop], TODAY)
            car.visit = visit_actions.send(self.db, car.id, sending, STAMP).id
            car.shop = shop

    def _release(self, car: Known) -> None:
        if car.shop is not None:
            visit_actions.step(self.db, car.visit, "released", TODAY, STAMP)
            car.shop = None

    def _undo_sending(self, car: Known) -> None:
        if car.shop is not None:
            visit_actions.undo(self.db, car.visit, "sent", "Invented.", STAMP)
            car.shop = None

    # The oracle ------------------------------------------------------------------------------------------------

    def whole(self, mine: set[int], kinds: set[str], day: date) -> set[int]:
        return {
            car.id
            for car in self.cars
            if car.held(day).owner in mine or ("shop" in kinds and car.shop in mine)
        }

    def items(self, car: Known, mine: set[int], kinds: set[str], day: date) -> frozenset[str]:
        held = car.held(day)
        found = LINING if "lining" in kinds and held.lining in mine else frozenset()
        return found | (
            EQUIPMENT if "equipment" in kinds and held.equipment in mine else frozenset()
        )

    def shared(self, day: date) -> set[tuple[int, int, str]]:
        """What `car_reach` is to hold: whom each car is shared with besides its owner."""
        found = set()
        for car in self.cars:
            held = car.held(day)
            for kind, other in (("lining", held.lining), ("equipment", held.equipment)):
                if other not in (None, held.owner):
                    found.add((car.id, self.parties[other].id, kind))
            if car.shop is not None:
                found.add((car.id, self.parties[car.shop].id, "shop"))
        return found


def check(model: Model, day: date) -> None:
    """Everything, on a day, for everybody."""
    db, ids = model.db, [car.id for car in model.cars]
    db.info["reach"] = EVERYTHING
    due_actions.refresh(db, ids, day)
    assert stored(db) == model.shared(day)
    db.execute(delete(CarReach))
    reach.rebuild(db, ids, day)
    assert stored(db) == model.shared(day)
    every = {(row.car_id, row.item): row for car in ids for row in due.for_car(db, car, day)}
    for at in range(3):
        mine = {at} | {kept for kept, keeper in KEPT_BY.items() if keeper == at}
        for capability, kinds in ASKED.items():
            db.info["reach"] = reach.of_viewer(db, viewer(model.parties[at], "planner"), capability)
            _check_questions(model, mine, kinds, day, every)


def stored(db: Session) -> set[tuple[int, int, str]]:
    return set(map(tuple, db.execute(select(CarReach.car_id, CarReach.party_id, CarReach.kind))))


def _check_questions(model: Model, mine, kinds, day, every) -> None:
    db = model.db
    whole = model.whole(mine, kinds, day)
    parts = {
        car.id: items
        for car in model.cars
        if car.id not in whole and (items := model.items(car, mine, kinds, day))
    }
    everything = RegisterFilter(standing="all")
    rows = cars.register(db, everything).rows
    assert {row.id for row in rows} == whole | parts.keys()
    assert car_counts.count(db, everything) == len(rows)
    assert {row.id for row in rows if row.whole} == whole
    assert car_counts.count(db, RegisterFilter(whole_only=True)) == len(whole)
    for row in rows:
        assert bool(row.region) == bool(row.commodity) == (row.id in whole)
        among = parts.get(row.id, frozenset(ITEMS))
        found = [each for (car, item), each in every.items() if car == row.id and item in among]
        assert (row.next_item, row.next_due_on) == first(found)
    regions = {f"region {car.held(day).owner}" for car in model.cars if car.id in whole}
    assert set(car_counts.regions(db)) <= regions | {""}
    owners = {NAMES[car.held(day).owner] for car in model.cars if car.id in whole | parts.keys()}
    assert {each.name for each in car_counts.owners(db)} == owners
    assert set(as_known.car_ids(db, Standpoint(day))) == whole
    items = {key for key in every if key[0] in whole or key[1] in parts.get(key[0], frozenset())}
    dated_items = {key for key in items if every[key].due_on}
    assert {(row.car_id, row.item) for row in due.each(db, DueFilter(day))} == dated_items
    assert due_counts.count(db, DueFilter(day)) == len(dated_items)
    assert {row.car_id for row in due.each(db, DueFilter(day, region="region 0"))} <= whole
    for car in model.cars:
        _check_car(db, car, car.id in whole, parts.get(car.id))
        assert {(car.id, row.item) for row in due.for_car(db, car.id, day)} == {
            key for key in items if key[0] == car.id
        }
    away = {car.id for car in model.cars if car.shop is not None and car.id in whole}
    assert {visit.car_id for visit in visiting.going_on(db)} == away


def first(rows) -> tuple[str | None, date | None]:
    """What falls due first: of what is owed, else of what has a date, the earliest; the earlier item at a tie."""
    there = [row for row in rows if row.due_on]
    if not there:
        return None, None
    found = min(there, key=lambda row: (row.state != "owed", row.due_on, row.item_no))
    return found.item, found.due_on


def _check_car(db: Session, car: Known, whole: bool, part: frozenset[str] | None) -> None:
    assert cars.reached(db, car.id) == whole
    assert found(lambda: cars.car_or_raise(db, car.id)) == whole
    assert found(lambda: cars.part_or_raise(db, car.id)) == (whole or part is not None)
    if whole or part:
        assert cars.part_or_raise(db, car.id)[1] == part
    for key, items in car.events.items():
        told = whole or (part is not None and items <= part)
        assert found(lambda key=key: events.event_or_raise(db, key)) == told
        assert found(lambda items=items: cars.locked(db, [car.id], items)) == told
    seen = {each.row.id for each in events.history(db, car.id, part)} if whole or part else set()
    assert seen == {key for key, items in car.events.items() if whole or (part and items <= part)}


def found(ask) -> bool:
    try:
        ask()
    except NotFound:
        return False
    return True


def run(url: str, owners: list[int], done: list[tuple]) -> None:
    with opened(url) as db:
        model = Model(db, owners)
        for deed in done:
            model.do(*deed)
        for day in MOMENTS:
            check(model, day)


OWNERS = st.lists(party, min_size=CARS, max_size=CARS)


@settings(max_examples=tries(short=5, long=200), suppress_health_check=[HealthCheck.too_slow])
@given(owners=OWNERS, done=deeds)
def test_every_question_finds_what_the_rules_say(sqlite_template, tmp_path_factory, owners, done):
    path: Path = tmp_path_factory.mktemp("oracle") / "store.db"
    shutil.copyfile(sqlite_template, path)
    run(f"sqlite:///{path}", owners, done)
    path.unlink()


@settings(max_examples=tries(short=2, long=25), suppress_health_check=[HealthCheck.too_slow])
@given(owners=OWNERS, done=deeds)
def test_every_question_finds_the_same_on_postgresql(postgres_url, postgres_template, owners, done):
    template = make_url(postgres_template).database
    with fresh_database(postgres_url, template or "") as url:
        run(url, owners, done)


# Deeds that once mattered, or must: written out, so that they run each time.
EXAMPLES = [
    # A lining's owner that is another party of the same keeper reaches the whole car.
    ([0, 0, 0], [("own", 0, DAYS[0], 0, 3, None)]),
    # Sold while in a shop: the shop keeps it, the seller does not.
    ([0, 0, 0], [("send", 0, 2), ("own", 0, DAYS[2], 1, None, None)]),
    # In the lining owner's own shop: whole, and after the release its lining again.
    ([0, 0, 0], [("own", 0, DAYS[0], 0, 2, 1), ("send", 0, 2), ("send", 1, 2), ("release", 1)]),
    # Sold for a while, recorded backwards.
    ([0, 1, 2], [("own", 0, DAYS[2], 1, 0, 0), ("own", 0, DAYS[0], 2, None, 1), ("withdraw", 0)]),
    # Two on one day: the later recorded holds, and the first shares nothing any more.
    ([0, 0, 0], [("own", 0, DAYS[0], 0, 2, None), ("own", 0, DAYS[0], 0, 1, None)]),
    # A party that another keeps owns, lines and repairs.
    ([3, 4, 4], [("own", 2, DAYS[1], 1, 3, 4), ("send", 1, 3), ("undo_sending", 1)]),
]


@pytest.mark.parametrize(("owners", "done"), EXAMPLES)
def test_what_once_mattered(sqlite_url, owners, done):
    run(sqlite_url, owners, done)
