"""Numbers kept with what they count are those of counting it, whatever is written, undone and asked for."""

from collections import Counter
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select, update

from app.access import EVERYTHING, Reach
from app.actions.people import new_person
from app.actions.verifying import Asked, verify
from app.core.plan.demand import NO_WORK, after_service
from app.core.plan.forecast import MONTHS, Falling, by_month, ended
from app.store import car_counts, cars, due, due_counts, forecasting, rolled, rulebooks
from app.store.db import sessions
from app.store.derived import DueRolled, DueRow
from app.store.due import DueFilter
from app.store.forecasting import ForecastFilter
from app.store.names import read_prefix
from app.store.tables import OUT_OF_RECORD, Car, Party
from app.store.watch import DueSeen
from tests.length import tries
from tests.store.cast import TODAY, add_car
from tests.store.due_rows import row

OWNERS = ("First Invented Owner", "Second Invented Owner", "Third Invented Owner")
REGIONS = ("north", "south", "")
AGAIN = {"air_brake": 48}
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
FIRST, START, UNTIL = 2026 * 12 + 10, date(2026, 11, 1), date(2036, 11, 1)


@dataclass(frozen=True)
class Stock:
    """Keys of the cars, of their owners, and of somebody who looks at the lists."""

    cars: tuple[int, ...]
    owners: tuple[int, ...]
    person: int


def stock(engine):
    with sessions(engine)(info={"reach": EVERYTHING}) as db:
        made = [add_car(db, at, owner=OWNERS[at % 3], region=REGIONS[at % 2]) for at in range(1, 7)]
        somebody = new_person(db, "Invented Planner", "planner@example.invalid", NOON)
        db.commit()
        owners = tuple({car.owner_id: None for car in made})
        return Stock(tuple(car.id for car in made), owners, somebody.id)


# Days around the borders of months and of what is soon, and far ones.
days = st.one_of(
    st.dates(date(2026, 9, 28), date(2027, 1, 3)),
    st.dates(date(2027, 5, 1), date(2027, 6, 2)),
    st.sampled_from((date(1999, 2, 28), date(2040, 12, 31), date(2024, 2, 29))),
    # Where those begin that are overdue for so long that a forecast reads them one by one.
    st.sampled_from((date(2021, 10, 31), date(2021, 11, 1), date(2031, 5, 14), date(2036, 10, 31))),
)
dated = st.tuples(st.sampled_from(("owed", "dated")), days)
undated = st.tuples(st.sampled_from(due.UNDATED), st.none())
item = st.tuples(
    st.sampled_from(("visual", "lining", "air_brake", "age_limit", "service_end", "directive")),
    dated | undated,
    st.sampled_from((None, 60, 120)),
    st.sampled_from(("", "visual_rule", "lining_rule")),
)
items = st.lists(item, max_size=4, unique_by=lambda each: each[0])
step = st.tuples(
    st.sampled_from(
        ("write", "write and undo", "set aside", "sell", "commit", "roll back", "add and undo")
    ),
    st.integers(0, 5),
    items,
)
filters = st.builds(
    DueFilter,
    as_of=st.sampled_from((TODAY, date(2026, 12, 1), date(2026, 12, 31))),
    soon_days=st.sampled_from((0, 5, 30, 180)),
    item=st.none() | st.sampled_from(("visual", "lining")),
    rule=st.none() | st.sampled_from(("visual_rule",)),
    status=st.none() | st.sampled_from(due.STATUSES),
    overdue=st.booleans(),
    region=st.none() | st.sampled_from(REGIONS[:2]),
    search=st.sampled_from((read_prefix(""), read_prefix("ZQKX 2"))),
    due_from=st.none() | days,
    due_to=st.none() | days,
    listed_only=st.booleans(),
    aside=st.sampled_from((None, False)),
)


@contextmanager
def asking(engine, reach):
    with sessions(engine)(info={"reach": reach}) as db:
        yield db


def act(db, told, what):
    """One step of a transaction; `cars` are taken by their place."""
    deed, at, wanted = what
    car = db.get(Car, told.cars[at])
    if deed == "commit":
        db.commit()
    elif deed == "roll back":
        db.rollback()
    elif deed == "write":
        write(db, car, wanted)
    elif deed == "set aside":
        set_aside(db, car, told)
    elif deed == "sell":
        rolled.cars_change(db, [car.id])
        db.execute(
            update(Car).where(Car.id == car.id).values(owner_id=told.owners[at % 2], region="sold")
        )
        db.expire(car)
    else:
        with db.begin_nested() as savepoint:
            if deed == "add and undo":
                add_car(db, 900 + at)
            write(db, car, wanted)
            savepoint.rollback()


def set_aside(db, car, told):
    """All that is due of the car, as the first owner sees it, until a month later."""
    for each in db.scalars(select(DueRow).where(DueRow.car_id == car.id)):
        past = each.due_on is not None and each.due_on < TODAY
        db.add(
            DueSeen(
                party_id=told.owners[0], car_id=car.id, item=each.item, state=each.state,
                due_on=each.due_on, past=past, until_on=TODAY + timedelta(days=30),
                reason="waits", person_id=told.person, recorded_at=NOON, recorded_by="somebody",
            )
        )  # fmt: skip
    db.flush()


def write(db, car, wanted):
    in_service = not wanted or wanted[0][2] != 60
    rows = [
        row(car, item, state, day, interval_months=interval, rule=rule, listed=in_service)
        for item, (state, day), interval, rule in wanted
    ]
    due.replace(db, [car.id], rows)


@settings(
    max_examples=tries(short=4, long=400),
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    steps=st.lists(step, min_size=4, max_size=14),
    asked=st.lists(filters, min_size=2, max_size=3),
    whose=st.sampled_from((None, (0,), (0, 2), ())),
    owner=st.none() | st.integers(0, 2),
)
def test_numbers_are_those_of_counting_whatever_was_written_and_undone(
    stocked_engine, stocked, steps, asked, whose, owner
):
    told = stocked.told
    mine = frozenset(told.owners[at] for at in whose or ())
    reach = EVERYTHING if whose is None else Reach(mine, members=mine)
    with asking(stocked_engine, EVERYTHING) as db:
        for each in steps:
            act(db, told, each)
        db.commit()
        assert rolled.first_wrong(db) is None
    owner_id = None if owner is None else told.owners[owner]
    with asking(stocked_engine, reach) as db:
        assert rolled.is_current(db, rolled.ITEMS)
        for wanted in asked:
            lists_agree(db, replace(wanted, owner_id=owner_id))
        forecasts_agree(db, owner_id)
        standings_agree(db)
        assert rulebooks.governed(db) == governed_one_by_one(db, reach)


@pytest.mark.parametrize(
    ("whose", "aside"), [((0,), (2, 2, 2, 2)), ((1,), (0, 0, 0, 0)), ((0, 1, 2), (4, 4, 4, 4))]
)
def test_what_is_set_aside_is_counted_apart(stocked_engine, stocked, whose, aside):
    told = stocked.told
    mine = frozenset(told.owners[at] for at in whose)
    standing = [
        ("visual", ("dated", TODAY - timedelta(days=9)), None, ""),
        ("lining", ("dated", TODAY + timedelta(days=9)), None, ""),
        ("directive", ("owed", TODAY), None, ""),
        ("age_limit", ("unknown", None), None, ""),
    ]
    with asking(stocked_engine, EVERYTHING) as db:
        for at, key in enumerate(told.cars):
            write(db, db.get(Car, key), standing)
            if at < 4:
                set_aside(db, db.get(Car, key), told)
        db.commit()
    with asking(stocked_engine, Reach(mine, members=mine)) as db:
        lists = [
            DueFilter(TODAY, status=status, aside=False)
            for status in ("overdue", "soon", "due_now", "unknown")
        ]
        for wanted in lists:
            lists_agree(db, wanted)
        assert [taken for _, taken in due_counts.counts_and_aside(db, lists)] == list(aside)


def lists_agree(db, wanted):
    one_by_one = due_counts.counted_one_by_one(db, wanted)
    assert due_counts.count(db, wanted) == one_by_one
    assert due_counts.totals(db, wanted) == {
        status: due_counts.counted_one_by_one(db, replace(wanted, status=status, overdue=False))
        for status in due.STATUSES
    }
    owners = Counter((each.owner) for each in due.each(db, wanted))
    (by_owner,) = due_counts.by_owner(db, [wanted])
    assert {name: number for (_, name), number in by_owner.items()} == owners
    assert sum(by_owner.values()) == one_by_one


def forecasts_agree(db, owner_id):
    for by in ("item", "owner", "region"):
        for region in (None, "north"):
            wanted = ForecastFilter(by, owner_id=owner_id, region=region, again=AGAIN)
            for each in (wanted, replace(wanted, item="visual")):
                assert forecasting.cars_by_last_year(
                    db, each, START
                ) == forecasting.cars_by_last_year_one_by_one(db, each, START)
                assert by_month(forecasting.falling(db, each, START), FIRST, MONTHS) == by_month(
                    forecasting.falling_one_by_one(db, each, START), FIRST, MONTHS
                )
                ending = ending_one_by_one(db, each)
                never = [replace(one, ends=None, number=-one.number) for one in ending]
                # By group and month, how many fall due less: of what is not asked for none does.
                assert by_month(
                    ended((), forecasting.gone(db, each, START)), FIRST, MONTHS
                ) == by_month([*never, *ending], FIRST, MONTHS)


def ending_one_by_one(db, wanted):
    """Items of cars that come to their last day, alike ones together, each by the rule of planning."""
    among = forecasting._among(db, replace(wanted, by="item", item=None))
    query = select(DueRow, Party.name).join(Party, Party.id == DueRow.owner_id).where(*among)
    rows = db.execute(query).all()
    last = {}
    for row_, _ in rows:
        if row_.item in NO_WORK and row_.due_on < UNTIL:
            last[row_.car_id] = min(row_.due_on, last.get(row_.car_id, date.max))
    found = Counter()
    for row_, owner in rows:
        if row_.car_id in last and row_.item not in NO_WORK and wanted.item in (None, row_.item):
            on, month = last[row_.car_id], row_.due_on.year * 12 + row_.due_on.month - 1
            ends = on.year * 12 + on.month - 1 + (row_.due_on.day < on.day)
            assert after_service(row_.due_on, on) == (month >= ends)
            group = {"item": row_.item, "owner": owner, "region": row_.region}[wanted.by]
            interval = row_.interval_months
            if interval and row_.item in AGAIN:
                interval = min(interval, AGAIN[row_.item])
            found[row_.item, group, month, interval, ends] += 1
    return [Falling(*alike, number, ends) for (*alike, ends), number in found.items()]


def standings_agree(db):
    found = list(cars.register(db, cars.RegisterFilter(standing="all")).rows)
    assert car_counts.standings(db) == Counter(each.standing for each in found)
    for wanted in (
        {},
        {"standing": "in_service"},
        {"region": "north"},
        {"standing": "all", "commodity": "Invented mild lading"},
    ):
        asked = cars.RegisterFilter(**wanted)
        assert car_counts.count(db, asked) == car_counts.count_one_by_one(db, asked)
    in_record = [each for each in found if each.standing not in OUT_OF_RECORD]
    assert {each.name: each.cars for each in car_counts.owners(db)} == Counter(
        each.owner for each in in_record
    )
    assert car_counts.regions(db) == sorted({each.region for each in in_record} - {""})


def governed_one_by_one(db, reach):
    query = select(DueRow.rule, DueRow.state, func.count(DueRow.car_id.distinct())).where(
        DueRow.listed
    )
    if reach.parties is not None:
        query = query.where(DueRow.owner_id.in_(reach.parties))
    found = {}
    for rule, state, number in db.execute(query.group_by(DueRow.rule, DueRow.state)):
        found.setdefault(rule, {})[state] = number
    return found


def test_a_car_with_two_last_service_days_counts_once_in_the_year_of_the_first(
    stocked_engine, stocked
):
    with asking(stocked_engine, EVERYTHING) as db:
        first, second = (db.get(Car, key) for key in stocked.told.cars[:2])
        ends = [("service_end", date(2029, 5, 1)), ("age_limit", date(2030, 1, 1))]
        due.replace(db, [first.id], [row(first, item, "dated", day) for item, day in ends])
        due.replace(db, [second.id], [row(second, "age_limit", "dated", date(2020, 1, 1))])
        before = forecasting.cars_by_last_year(db, ForecastFilter(), START)
        db.commit()
        assert forecasting.cars_by_last_year(db, ForecastFilter(), START) == before
        assert before[2029] == before[2020] == 1
        assert 2030 not in before
        due.replace(db, [first.id, second.id], [])
        db.commit()
        assert forecasting.cars_by_last_year(db, ForecastFilter(), START).keys().isdisjoint(before)


# By car: when an item is due, each how many months, and when its service ends.
ENDING = (
    (date(1999, 2, 28), 24, date(2030, 5, 14)),
    (date(2021, 10, 31), 60, date(2011, 12, 31)),
    (date(2021, 10, 31), 60, date(2033, 10, 31)),
    (date(2021, 11, 1), 60, date(2033, 10, 31)),
    (date(2026, 10, 15), 60, date(2026, 11, 10)),
    (date(2012, 1, 1), 120, date(2030, 5, 14)),
)


@pytest.mark.parametrize("region", [None, "north"])
def test_what_is_due_often_ends_with_its_car_however_late_it_is(stocked_engine, stocked, region):
    with asking(stocked_engine, EVERYTHING) as db:
        for key, (day, interval, end) in zip(stocked.told.cars, ENDING, strict=True):
            car = db.get(Car, key)
            often = row(car, "visual", "dated", day, interval_months=interval)
            due.replace(db, [key], [often, row(car, "service_end", "dated", end)])
        db.commit()
        forecasts_agree(db, None)
        gone = forecasting.gone(db, ForecastFilter(region=region), START)
        assert sum(by_month(gone, FIRST, MONTHS).values()) > 0


def test_a_session_that_wrote_counts_what_it_wrote_before_it_commits(stocked_engine, stocked):
    with asking(stocked_engine, EVERYTHING) as db:
        before = due_counts.count(db, DueFilter(TODAY))
        write(db, db.get(Car, stocked.told.cars[0]), [])
        write(db, db.get(Car, stocked.told.cars[1]), [])
        assert due_counts.count(db, DueFilter(TODAY)) < before
        assert not rolled.is_current(db, rolled.ITEMS)


def test_counting_all_anew_gives_the_same_and_mends_what_is_wrong(stocked_engine):
    with asking(stocked_engine, EVERYTHING) as db:
        assert rolled.first_wrong(db) is None
        db.execute(update(DueRolled).values(number=DueRolled.number + 1))
        db.commit()
        (told,) = [wrong for name, wrong in verify(db, Asked(TODAY), lambda *_: None) if wrong]
        assert "due_rolled" in told
        rolled.recount(db)
        db.commit()
        assert rolled.first_wrong(db) is None


def test_more_cars_than_are_counted_one_by_one_are_counted_all_anew(
    stocked_engine, stocked, monkeypatch
):
    monkeypatch.setattr(rolled, "MOST", 2)
    with asking(stocked_engine, EVERYTHING) as db:
        for key in stocked.told.cars[:4]:
            write(db, db.get(Car, key), [("visual", ("dated", TODAY), 60, "visual_rule")])
        db.commit()
        assert rolled.first_wrong(db) is None


@pytest.mark.postgres
@pytest.mark.parametrize("engine_kind", ["postgresql"], indirect=True)
def test_transactions_that_count_the_same_wait_for_each_other_only_to_commit(
    stocked_engine, stocked
):
    keys = stocked.told.cars
    alike = [("visual", ("dated", TODAY + timedelta(days=3)), 120, "visual_rule")]
    with (
        asking(stocked_engine, EVERYTHING) as first,
        asking(stocked_engine, EVERYTHING) as second,
    ):
        # One after the other in one thread: a lock held before its commit would stop it for ever.
        for place in range(3):
            write(first, first.get(Car, keys[place]), alike)
            write(second, second.get(Car, keys[5 - place]), alike)
        second.commit()
        first.commit()
        assert rolled.first_wrong(first) is None
        wanted = DueFilter(TODAY, item="visual")
        assert due_counts.count(first, wanted) == due_counts.counted_one_by_one(first, wanted) == 6
