"""Rebuilding what is due: the same for one car as for all, and nothing left from before."""

import gc
from datetime import date

import pytest
from sqlalchemy import delete, select, update

from app.actions import cars, events, facts, reasons, rows
from app.actions import due as rebuild
from app.actions.changes import NewOwnership, NewService
from app.bulk import answers
from app.core.devices import urgency
from app.core.facts import Due, Reason
from app.store import due
from app.store.derived import DueRow
from app.store.tables import Car, CarName
from tests.store.cast import TODAY, add_car, stamp, visual
from tests.store.counting import statements

COLUMNS = DueRow.__table__.c


def projected(db):
    return [tuple(row) for row in db.execute(select(*Car.__table__.c).order_by(Car.id))]


def verbs(sent):
    return [statement.split()[0] for statement, _ in sent]


def writes(sent):
    """All but what settles who keeps the cars, one statement that finds none here."""
    others = [each for each in sent if "SET keeper_id" not in each[0]]
    return [verb for verb in verbs(others) if verb != "SELECT"]


def everything(db):
    order = select(*COLUMNS).order_by(DueRow.car_id, DueRow.item_no)
    return [tuple(row) for row in db.execute(order)]


def test_rebuilding_all_gives_what_each_change_left(any_db):
    """The stored items are derived: throwing them away loses nothing."""
    for number in range(1, 6):
        car = add_car(any_db, number)
        events.record_event(any_db, car.id, visual(date(2020, number, 1)), stamp())
    before = everything(any_db)
    any_db.execute(delete(DueRow))
    told = []
    assert rebuild.refresh_all(any_db, TODAY, lambda done, of: told.append((done, of))) == 5
    assert everything(any_db) == before
    assert told == [(5, 5)]


def test_rebuilding_twice_changes_nothing(any_db):
    ids = [add_car(any_db, number).id for number in (1, 2)]
    before = everything(any_db)
    rebuild.refresh(any_db, ids, TODAY)
    assert everything(any_db) == before


def test_batches_join_to_the_whole(db, monkeypatch):
    monkeypatch.setattr(rebuild, "MANY", 2)
    ids = [add_car(db, number).id for number in range(1, 6)]
    before = everything(db)
    told = []
    rebuild.refresh_all(db, TODAY, lambda done, of: told.append((done, of)))
    assert everything(db) == before
    assert told == [(2, 5), (4, 5), (5, 5)]
    assert len(ids) == 5
    assert gc.isenabled()


def test_every_row_has_its_reasons_and_a_citation_where_the_rule_gives_one(any_db):
    car = add_car(any_db)
    stored = reasons.told(any_db, due.for_car(any_db, car.id, TODAY), TODAY)
    assert stored
    assert all(row.reasons for row in stored)
    by_item = {row.item: row for row in stored}
    assert by_item["visual"].citation == "49 CFR 180.509(d)"  # 2019 edition
    assert by_item["visual"].reasons[0] == Reason(
        by_item["visual"].reasons[0].text, "49 CFR 180.509(d)"
    )


def test_a_list_that_is_behind_says_so_with_its_reasons(any_db):
    car = add_car(any_db)
    day = date(2024, 1, 1)
    any_db.execute(update(DueRow).where(DueRow.item == "visual").values(due_on=day))
    rows = reasons.told(any_db, due.for_car(any_db, car.id, TODAY), TODAY)
    first = {row.item: row.reasons[0].text for row in rows}
    assert "as of 2026-11-25 it is dated, 2025-06-01" in first["visual"]
    assert "worked out" not in first["age_limit"]


def test_rebuilding_many_as_columns_gives_what_one_by_one_does(any_db, monkeypatch):
    """Also of cars of which nothing counts any more, or with a day that columns do not take."""
    for number in range(1, 8):
        car = add_car(any_db, number, specification=("DOT 111A100W1", "DOT 113A60W")[number % 2])
        events.record_event(any_db, car.id, visual(date(2020, number, 1)), stamp())
    withdrawn = add_car(any_db, 9)
    name = any_db.scalars(select(CarName).where(CarName.car_id == withdrawn.id)).one()
    rows.supersede(any_db, name, stamp(1))
    rebuild.refresh_all(any_db, TODAY)
    before, cars_before = everything(any_db), projected(any_db)
    monkeypatch.setattr(rebuild, "FEW", 1)
    for spoil in (update(DueRow).values(citation="Spoilt"), delete(DueRow)):
        any_db.execute(spoil)
        any_db.execute(update(Car).values(next_item=None, commodity="Spoilt"))
        rebuild.refresh_all(any_db, TODAY)
        assert everything(any_db) == before
        assert projected(any_db)[:7] == cars_before[:7]
    # With no day near enough all are left to the pure function.
    monkeypatch.setattr(answers, "FIRST", answers.LAST)
    any_db.execute(delete(DueRow))
    rebuild.refresh_all(any_db, TODAY)
    assert everything(any_db) == before


def test_rebuilding_as_columns_writes_only_what_moved(db, monkeypatch):
    monkeypatch.setattr(rebuild, "FEW", 1)
    ids = [add_car(db, number).id for number in (1, 2, 3)]
    rebuild.refresh(db, ids, TODAY)
    with statements(db) as sent:
        rebuild.refresh(db, ids, TODAY)
    assert not writes(sent)
    db.execute(update(DueRow).where(DueRow.car_id == ids[1]).values(region="Spoilt"))
    with statements(db) as sent:
        rebuild.refresh(db, ids, TODAY)
    # The first two keep how the car stood before the day, where that is not kept yet.
    assert writes(sent) == ["INSERT", "INSERT", "DELETE", "INSERT"]


def test_what_lists_filter_by_follows_the_car(any_db):
    car = add_car(any_db)
    other = NewOwnership("Second Invented Owner", "south", from_on=TODAY)
    cars.change_ownership(any_db, car.id, other, stamp())
    harmless = NewService("Invented syrup", hazardous=False, from_on=TODAY)
    cars.put_into_service(any_db, car.id, harmless, stamp())
    stored = any_db.scalars(select(DueRow)).all()
    assert {(row.owner_id, row.region, row.hazardous) for row in stored} == {
        (car.owner_id, "south", False)
    }
    assert (car.region, car.commodity) == ("south", "Invented syrup")


def test_a_car_of_which_nothing_counts_any_more_is_withdrawn(any_db):
    """As when the import that brought it is taken back."""
    car = add_car(any_db)
    for table in ("car_name", "ownership", "standing", "construction", "service"):
        known = facts.fact_or_raise(any_db, table, 1)
        rows.supersede(any_db, known, stamp(1))
    rebuild.refresh(any_db, [car.id], TODAY)
    assert any_db.scalar(select(Car.standing)) == "withdrawn"
    assert everything(any_db) == []


@pytest.mark.parametrize(
    ("items", "first"),
    [
        # What is owed comes first whatever the date.
        ([("dated", 2020), ("owed", 2026)], ("owed", 2026)),
        # Unknown counts as sooner than any date: the safe side.
        ([("dated", 2020), ("unknown", None)], ("unknown", None)),
        ([("owed", 2024), ("unknown", None)], ("owed", 2024)),
        ([("dated", 2030), ("dated", 2029), ("not_required", None)], ("dated", 2029)),
        ([("owed", 2026), ("owed", 2025)], ("owed", 2025)),
    ],
)
def test_of_several_devices_the_most_urgent_comes_first(items, first):
    found = [Due("relief_device", state, year and date(year, 1, 1)) for state, year in items]
    chosen = min(found, key=urgency)
    assert (chosen.state, chosen.due_on and chosen.due_on.year) == first


@pytest.mark.parametrize("number", [1, 50])
def test_rebuilding_takes_the_same_number_of_statements_for_one_car_as_for_many(db, number):
    ids = [add_car(db, each).id for each in range(1, number + 1)]
    with statements(db) as sent:
        rebuild.refresh(db, ids, TODAY)
    # Five of them are with whom the cars are shared.
    assert len(sent) <= 25
