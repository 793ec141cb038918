"""Looking back: what was answered when it was current is answered again, whatever was corrected since."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.actions import cars, components, events, facts, imports, looking_back, rulebooks
from app.actions import due as rebuild
from app.actions.changes import (
    NewApproval,
    NewComponent,
    NewEvent,
    NewFitting,
    NewInstallation,
    NewLining,
    NewName,
    NewOwnership,
    NewReading,
    NewService,
    NewStanding,
    NewStencil,
)
from app.actions.stamp import Stamp
from app.errors import Conflict, NotFound, Refused
from app.files import sheets
from app.store import dated
from app.store.asked import Standpoint
from app.store.cars import RegisterFilter
from app.store.columns import CarFact
from app.store.derived import ImportRun
from app.store.due import DueFilter
from app.store.names import read_prefix
from app.store.tables import (
    Car,
    CarName,
    Construction,
    EventRow,
    Installation,
    Ownership,
    ServiceFact,
)
from tests.actions.diary import Diary, all_pages
from tests.actions.test_rulebooks import edition
from tests.store.cast import OWNER, new_car

OTHER = "Marrowfen Invented Cars"
QUALIFIED = ("visual", "structural_integrity", "safety_systems", "thickness", "service_equipment")


def acid(corrosive: bool | None = None, **more: Any) -> NewService:
    return replace(
        NewService("Invented acid", un="UN9999", hazard_class="8", corrosive_or_reactive=corrosive),
        **more,
    )


def qualified(on: date, inches: str = "0.441", **more: Any) -> NewEvent:
    zones = ("shell_top", "shell_bottom", "head_a", "head_b")
    readings = tuple(NewReading(zone, Decimal(inches)) for zone in zones)
    return replace(NewEvent(on, QUALIFIED, facility="Made-up Shop One", readings=readings), **more)


def valve(serial: str, tested_on: date | None = None, **more: Any) -> NewInstallation:
    put_on = NewInstallation(
        NewComponent("relief_valve", serial=serial), "top", tested_on=tested_on
    )
    return replace(put_on, **more)


def put_in_force(db: Session, edition_id: int | None, owner_id: int | None, stamp: Stamp) -> None:
    """As the job does it."""
    rulebooks.put_in_force(db, edition_id, owner_id, stamp)
    rebuild.refresh_all(db, stamp.today, owner_id=owner_id)


def bring_in(db: Session, content: str, stamp: Stamp) -> ImportRun:
    return imports.apply(db, "events", sheets.read("events.csv", content.encode()), stamp)


def fact(db: Session, table: type[CarFact], car: Car) -> CarFact:
    row = dated.in_force(db, table, car.id)
    assert row is not None
    return row


def test_a_car_with_three_corrections_is_answered_as_when_each_was_current(any_db: Session) -> None:
    """Each step is kept on its day and on every day until the next; then all are asked for again."""
    db, diary = any_db, Diary(any_db)
    made = new_car(service=acid(True))
    car = cars.add_car(db, made, diary.stamp)
    stranger = cars.add_car(db, new_car(7, owner=OTHER), diary.stamp)
    old = components.install(db, car.id, valve("RV-1", date(2018, 5, 2)), diary.stamp)
    diary.keep()
    # The inspection, and its three corrections: another day, thinner plate, failed after all.
    event = events.record_event(db, car.id, qualified(date(2025, 3, 1)), diary.after(3))
    diary.keep()
    event = events.correct_event(db, event.id, qualified(date(2024, 3, 1)), diary.after(2))
    diary.keep()
    event = events.correct_event(db, event.id, qualified(date(2024, 3, 1), "0.40"), diary.after(4))
    diary.keep()
    failed = qualified(date(2024, 3, 1), "0.40", outcome="fail")
    event = events.correct_event(db, event.id, failed, diary.after(0, 30))
    diary.keep()
    # An edition between them, then a programme of the owner's over it.
    everyone = rulebooks.load(db, edition(visual=84), diary.after(1))
    put_in_force(db, everyone.id, None, diary.after(1))
    diary.keep()
    own = rulebooks.load(db, edition("zq-own", OWNER, relief_device=60), diary.after(0, 5))
    put_in_force(db, own.id, own.owner_id, diary.after(2))
    diary.keep()
    # Re-marked; its lading corrected; sold to another owner.
    facts.change(db, car, NewName("ZQAX", 9, from_on=diary.now.date()), diary.after(1))
    diary.keep()
    facts.correct(db, car, fact(db, ServiceFact, car), acid(False), diary.after(2))
    diary.keep()
    sold = NewOwnership(OTHER, "south", from_on=diary.now.date())
    facts.change(db, car, sold, diary.after(1))
    diary.keep()
    # An import, taken back.
    run = bring_in(db, "mark,number,on,items\nZQAX,9,2025-11-02,visual\n", diary.after(2))
    diary.keep()
    imports.take_back(db, run.id, diary.after(3))
    diary.keep()
    # A relief device swapped for one tested lately; an event withdrawn; the edition taken back.
    swapped = valve("RV-2", date(2025, 12, 1), installed_on=diary.now.date())
    components.swap(db, old.id, swapped, diary.after(1))
    diary.keep()
    events.withdraw_event(db, event.id, "another car's report", diary.after(2))
    diary.keep()
    put_in_force(db, None, None, diary.after(3))
    diary.keep()
    cars.change_standing(
        db, stranger.id, NewStanding("scrapped", from_on=diary.now.date()), diary.after(1)
    )
    diary.keep()
    db.expire_all()
    diary.check()
    # Each step moved something, or the diary would prove nothing.
    told = [entry.items for entry in diary.entries]
    assert len({repr(each) for each in told}) > 20
    assert len(diary.entries) >= 30


def test_a_car_taken_back_with_its_file_is_found_as_known_before(any_db: Session) -> None:
    db, diary = any_db, Diary(any_db)
    file = (
        "mark,number,specification,built_on,owner\nZQKX,1,DOT 111A100W1,2010-01-01,Example Lines\n"
    )
    run = imports.apply(db, "cars", sheets.read("cars.csv", file.encode()), diary.after(1))
    diary.keep()
    imports.take_back(db, run.id, diary.after(1))
    diary.keep()
    diary.check()
    assert [len(entry.answers) for entry in diary.entries] == [1, 0]


# What is there to look at -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def fleet(kept_db: Session) -> tuple[Session, Diary]:
    """Three cars of two owners known from 2026-01-05; one of them is renamed and sold a month later."""
    db, diary = kept_db, Diary(kept_db)
    for number, owner in ((1045, OWNER), (1046, OWNER), (3, OTHER)):
        cars.add_car(db, new_car(number, owner=owner, service=acid(None)), diary.stamp)
    car = db.scalars(select(Car).where(Car.number == 1046)).one()
    then = diary.after(31)
    facts.change(db, car, NewName("ZQAX", 20, from_on=then.today), then)
    facts.change(db, car, NewOwnership(OTHER, "gulf", from_on=then.today), diary.after())
    return db, diary


def names(rows: Any) -> list[str]:
    return [row.name for row in rows]


@pytest.mark.parametrize(
    ("at", "wanted", "found"),
    [
        # As known when only the first names were: with them, whatever day is asked for.
        (("2026-01-05", "2026-01-05"), {}, ["ZQKX 3", "ZQKX 1045", "ZQKX 1046"]),
        (("2026-03-01", "2026-01-05"), {}, ["ZQKX 3", "ZQKX 1045", "ZQKX 1046"]),
        # As known later, but of a day before the re-marking.
        (("2026-01-05", "2026-03-01"), {}, ["ZQKX 3", "ZQKX 1045", "ZQKX 1046"]),
        (("2026-03-01", "2026-03-01"), {}, ["ZQAX 20", "ZQKX 3", "ZQKX 1045"]),
        # By the name it had, once it has another, and by the beginning of one.
        (("2026-03-01", "2026-03-01"), {"search": "ZQKX 1046"}, ["ZQAX 20"]),
        (("2026-01-05", "2026-03-01"), {"search": "ZQAX 20"}, []),
        (("2026-03-01", "2026-03-01"), {"search": "104"}, ["ZQKX 1045"]),
        (("2026-01-05", "2026-01-05"), {"search": "104"}, ["ZQKX 1045", "ZQKX 1046"]),
        # By owner and region, as they were.
        (("2026-01-05", "2026-03-01"), {"owner": OWNER}, ["ZQKX 1045", "ZQKX 1046"]),
        (("2026-03-01", "2026-03-01"), {"owner": OWNER}, ["ZQKX 1045"]),
        (("2026-03-01", "2026-03-01"), {"region": "gulf"}, ["ZQAX 20"]),
        (("2026-01-05", "2026-03-01"), {"region": "gulf"}, []),
        (("2026-01-05", "2026-03-01"), {"specification_class": "111", "commodity": "Invented acid"},
         ["ZQKX 3", "ZQKX 1045", "ZQKX 1046"]),
        (("2026-01-05", "2026-03-01"), {"specification_class": "105"}, []),
        # Before anything was recorded, and before any of them was built.
        (("2026-01-05", "2026-01-04"), {}, []),
        (("2015-05-31", "2026-03-01"), {}, []),
        (("2015-06-01", "2026-03-01"), {}, ["ZQKX 3", "ZQKX 1045", "ZQKX 1046"]),
    ],
)  # fmt: skip
@pytest.mark.parametrize("limit", [1, 500])
def test_a_list_holds_the_cars_as_they_were(
    fleet: tuple[Session, Diary], at: tuple[str, str], wanted: dict[str, str], found: list[str],
    limit: int,
) -> None:  # fmt: skip
    db, diary = fleet
    day, known = map(date.fromisoformat, at)
    then = Standpoint(day, diary.now.replace(year=known.year, month=known.month, day=known.day))
    search = read_prefix(wanted.get("search", ""))
    owner = db.scalar(select(Car.owner_id).where(Car.number == (1045 if "owner" in wanted else 3)))
    shared = {"search": search, "region": wanted.get("region")}
    shared |= {"owner_id": owner} if "owner" in wanted else {}
    more = {key: wanted[key] for key in wanted if key in ("specification_class", "commodity")}
    register = looking_back.register(db, then, RegisterFilter(**shared, **more))
    assert names(all_pages(register.page, limit)) == found
    assert names(register.each()) == found
    if not more and not register.wanted.once_so_named:
        items = looking_back.due_items(db, then, DueFilter(day, item="visual", **shared))
        assert sorted(names(items.each())) == sorted(found)
        assert all_pages(items.page, limit) == list(items.each())
        assert items.totals()["in_date"] + items.totals()["overdue"] + items.totals()[
            "soon"
        ] == len(found)


def test_pages_lead_back_as_they_lead_on(fleet: tuple[Session, Diary]) -> None:
    db, diary = fleet
    items = looking_back.due_items(
        db, Standpoint(diary.now.date(), diary.now), DueFilter(diary.now.date())
    )
    first = items.page(limit=4)
    second = items.page(first.next_after, 4)
    assert items.page(second.previous, 4).rows == first.rows
    assert first.previous is None
    assert set(first.rows) & set(second.rows) == set()


def test_a_car_that_was_not_there_is_not_found(fleet: tuple[Session, Diary]) -> None:
    db, diary = fleet
    key = db.scalars(select(Car.id).where(Car.number == 3)).one()
    before = diary.now - timedelta(days=60)
    with pytest.raises(NotFound, match="ZQKX 3 was not in the register: it was first recorded"):
        looking_back.record_of(db, key, Standpoint(date(2026, 1, 5), before))
    with pytest.raises(NotFound, match="was not built yet on 2015-05-31"):
        looking_back.record_of(db, key, Standpoint(date(2015, 5, 31), diary.now))


def test_whether_anything_was_known_is_told(fleet: tuple[Session, Diary]) -> None:
    db, diary = fleet
    day = date(2026, 1, 5)
    nobody = DueFilter(day, search=read_prefix("ZQZZ"))
    assert looking_back.due_items(db, Standpoint(day, diary.now), nobody).some_cars
    before = Standpoint(day, diary.now - timedelta(days=60))
    assert not looking_back.due_items(db, before, nobody).some_cars
    assert not looking_back.register(db, before, RegisterFilter()).some_cars


def test_more_cars_than_can_be_worked_out_at_once_are_refused_with_what_narrows_it(
    fleet: tuple[Session, Diary], monkeypatch: pytest.MonkeyPatch
) -> None:
    db, diary = fleet
    monkeypatch.setattr(looking_back, "MOST_CARS", 2)
    at = Standpoint(diary.now.date(), diary.now)
    with pytest.raises(Refused, match=r"at most 2\. Choose an owner, or how the mark begins"):
        looking_back.due_items(db, at, DueFilter(at.as_of))
    with pytest.raises(Refused, match="of 3 cars"):
        looking_back.register(db, at, RegisterFilter())
    assert names(looking_back.register(db, at, RegisterFilter(search=read_prefix("ZQAX"))).each())


# Whatever happens ---------------------------------------------------------------------------------------------------

Draw = Callable[[int], int]


class Doing:
    """Random changes to a few cars; what the program refuses is no change."""

    def __init__(self, diary: Diary, draw: Draw) -> None:
        self.diary, self.db, self.draw = diary, diary.db, draw

    def one_of(self, many: Any) -> Any:
        found = list(many)
        if not found:
            raise Refused("nothing there to change")
        return found[self.draw(len(found))]

    def car(self) -> Car:
        return self.one_of(self.db.scalars(select(Car).order_by(Car.id)))

    def counting(self, table: Any) -> Any:
        return self.one_of(
            self.db.scalars(select(table).where(table.superseded_at.is_(None)).order_by(table.id))
        )

    def a_day(self) -> date:
        return self.diary.now.date() - timedelta(days=self.draw(8) * 200)

    def event(self) -> NewEvent:
        kinds: tuple[tuple[str, ...], ...] = (
            QUALIFIED, ("visual",), ("relief_device", "leakage"), ("damage",), ("lining_applied",),
            ("relief_device_changed",), ("air_brake",), ("lining_removed",),
        )  # fmt: skip
        items = self.one_of(kinds)
        failed = items[0] in ("visual", "relief_device") and not self.draw(3)
        thin = (NewReading("shell_bottom", Decimal("0.40")),) if "thickness" in items else ()
        return NewEvent(
            self.a_day(), items, outcome="fail" if failed else "pass", readings=thin,
            facility=f"Made-up Shop {self.draw(3)}",
        )  # fmt: skip

    def record_event(self, stamp: Stamp) -> None:
        events.record_event(self.db, self.car().id, self.event(), stamp)

    def correct_event(self, stamp: Stamp) -> None:
        events.correct_event(self.db, self.counting(EventRow).id, self.event(), stamp)

    def withdraw_event(self, stamp: Stamp) -> None:
        events.withdraw_event(self.db, self.counting(EventRow).id, "not so", stamp)

    def stated(self) -> Any:
        day = self.a_day() if self.draw(3) else None
        return self.one_of(
            (
                acid(self.one_of((True, False, None)), from_on=day),
                NewName(self.one_of(("ZQKX", "ZQAX")), 1 + self.draw(4), from_on=day),
                NewOwnership(self.one_of((OWNER, OTHER)), self.one_of(("", "gulf")), from_on=day),
                NewStanding(self.one_of(("in_service", "stored", "sold")), from_on=day),
                NewLining(kind="rubber", applied_on=self.a_day(), owner_interval_months=60),
                NewLining(lined=False, from_on=day),
                NewStencil(marked_on=self.a_day(), visual="2026", thickness="2027-03"),
                NewApproval(
                    "visual", self.one_of((None, 84, 144)), "A-1", stenciled=True, from_on=day
                ),
                NewFitting(service_equipment_interval_months=60 + self.draw(40), from_on=day),
                replace(new_car().details, jacketed=True, from_on=day),
            )
        )

    def change_fact(self, stamp: Stamp) -> None:
        facts.change(self.db, self.car(), self.stated(), stamp)

    def correct_fact(self, stamp: Stamp) -> None:
        stated = self.stated()
        old = self.counting(facts.TABLES[type(stated)])
        facts.correct(self.db, self.db.get_one(Car, old.car_id), old, stated, stamp)

    def withdraw_fact(self, stamp: Stamp) -> None:
        tables = (ServiceFact, CarName, Ownership, Construction)
        old = self.counting(self.one_of(tables))
        facts.withdraw(self.db, self.db.get_one(Car, old.car_id), old, "not so", stamp)

    def valve(self) -> NewInstallation:
        installed_on = self.a_day()
        return valve(
            f"RV-{self.draw(3)}", installed_on, installed_on=installed_on,
            position=self.one_of(("top", "A end")),
        )  # fmt: skip

    def install(self, stamp: Stamp) -> None:
        components.install(self.db, self.car().id, self.valve(), stamp)

    def swap(self, stamp: Stamp) -> None:
        components.swap(self.db, self.counting(Installation).id, self.valve(), stamp)

    def mend(self, stamp: Stamp) -> None:
        components.correct(self.db, self.counting(Installation).id, self.valve(), stamp)

    def remove(self, stamp: Stamp) -> None:
        components.remove(self.db, self.counting(Installation).id, self.a_day(), stamp)

    def put_back(self, stamp: Stamp) -> None:
        components.withdraw_removal(self.db, self.counting(Installation).id, "", stamp)

    def never_there(self, stamp: Stamp) -> None:
        components.withdraw(self.db, self.counting(Installation).id, "", stamp)

    def rules(self, stamp: Stamp) -> None:
        for_all, own = self.known_editions(stamp)
        chosen = self.one_of(
            ((for_all.id, None), (None, None), (own.id, own.owner_id), (None, own.owner_id))
        )
        put_in_force(self.db, *chosen, stamp)

    def known_editions(self, stamp: Stamp) -> Any:
        from app.store import rulebooks as stored

        found = stored.editions(self.db)
        return found or (
            rulebooks.load(self.db, edition("zq-all", visual=84), stamp),
            rulebooks.load(
                self.db, edition("zq-own", OWNER, relief_device=60, air_brake=48), stamp
            ),
        )

    def bring_in(self, stamp: Stamp) -> None:
        car = self.car()
        row = f"{car.mark},{car.number},{self.a_day()},visual"
        bring_in(self.db, f"mark,number,on,items\n{row}\n", stamp)

    def take_back(self, stamp: Stamp) -> None:
        run = self.one_of(self.db.scalars(select(ImportRun).order_by(ImportRun.id)))
        imports.take_back(self.db, run.id, stamp)

    def another(self, stamp: Stamp) -> None:
        cars.add_car(self.db, new_car(1 + self.draw(4), "ZQBX", owner=OTHER, region="gulf"), stamp)


DOINGS = [
    name
    for name, what in vars(Doing).items()
    if "Stamp" in str(getattr(what, "__annotations__", ""))
]
DOINGS.remove("known_editions")


@pytest.mark.slow
@settings(
    max_examples=12,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=st.data())
def test_whatever_was_changed_since_the_answers_of_then_stay(
    db: Session, data: st.DataObject
) -> None:
    within = db.begin_nested()
    try:
        diary = Diary(db)
        doing = Doing(diary, lambda many: data.draw(st.integers(0, many - 1)))
        for number in (1, 2):
            cars.add_car(db, new_car(number, service=acid()), diary.stamp)
        diary.keep()
        for _ in range(data.draw(st.integers(3, 9))):
            name = data.draw(st.sampled_from(DOINGS))
            stamp = diary.after(data.draw(st.integers(0, 3)), data.draw(st.integers(1, 600)))
            try:
                with db.begin_nested():
                    getattr(doing, name)(stamp)
            except (Refused, Conflict, NotFound):
                # A file that is refused takes the whole transaction back, the diary's beginning too.
                if not within.is_active:
                    return
                continue
            diary.keep()
        diary.check()
    finally:
        (within if within.is_active else db).rollback()
        db.expunge_all()
