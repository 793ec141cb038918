"""What each list of the product asks of the store, by a name; and rows by which PostgreSQL has a choice of plans."""

from dataclasses import replace
from datetime import date, timedelta

from sqlalchemy import text

from app.core.facts import ITEMS
from app.store import (
    auditing,
    car_counts,
    cars,
    change_list,
    directive_list,
    due,
    due_before,
    due_counts,
    facilities,
    forecasting,
    holding,
    imports,
    instructions,
    jobs,
    loading,
    mornings,
    packing,
    planning,
    retention,
    rolled,
    rulebooks,
    told_orders,
    visit_lists,
    visiting,
    watching,
)
from app.store.directive_list import MatchFilter
from app.store.due import STATUSES, DueFilter
from app.store.forecasting import ForecastFilter
from app.store.names import read_prefix
from app.store.paging import Cursor
from app.store.visit_lists import VisitFilter
from tests.store.cast import TODAY

FIRST = date(2026, 11, 1)
SEEN = DueFilter(TODAY)
SOME, WHOSE = 7, change_list.Whose(1, None, frozenset(), settings=True)
NAME, LONGER = read_prefix("ZQKX 12"), read_prefix("ZQKX 123")
# Tables that grow with the fleet or with what is recorded of it. Of visits and their steps, a few a car in its
# life, the lists still ask all: nothing on a visit says that it ended.
LARGE = frozenset(
    (
        "car", "car_name", "ownership", "standing", "construction", "service", "component", "installation",
        "event", "reading", "due", "due_before", "change", "change_about", "loading_question",
    )
)  # fmt: skip


def _due(**wanted):
    return lambda db: due.page(db, replace(SEEN, **wanted))


def _later(**wanted):
    day = Cursor((TODAY + timedelta(days=30), "ZQKX", 1100, 2))
    back = replace(day, backwards=True)

    def ask(db):
        due.page(db, replace(SEEN, **wanted), day.as_text())
        due.page(db, replace(SEEN, **wanted), back.as_text())

    return ask


def _counts(**wanted):
    return lambda db: due_counts.totals(db, replace(SEEN, **wanted))


def _fleet(**wanted):
    def ask(db):
        cars.register(db, cars.RegisterFilter(**wanted))
        cars.register(db, cars.RegisterFilter(**wanted), Cursor(("ZQKX", 1100, 100)).as_text())

    return ask


def _forecast(**wanted):
    asked = ForecastFilter(**wanted)

    def ask(db):
        forecasting.falling(db, asked, FIRST)
        forecasting.gone(db, asked, FIRST)
        forecasting.cars_by_last_year(db, asked, FIRST)
        forecasting.last_days(db, asked, FIRST, 500)

    return ask


def _loading(**wanted):
    return lambda db: loading.page(db, loading.Wanted(**wanted), None)


def _changes(whose=WHOSE, **wanted):
    def ask(db):
        change_list.page(db, whose, change_list.Wanted(**wanted), None, 50)
        change_list.page(db, whose, change_list.Wanted(**wanted), Cursor((500,)).as_text(), 50)

    return ask


# By a name that begins with the function that pages, where one does.
QUESTIONS = {
    "due.page": _due(),
    "due.page, further on": _later(),
    "due.page, in service or not": _due(listed_only=False),
    "due.page, overdue": _due(overdue=True),
    "due.page, overdue of an owner": _due(overdue=True, owner_id=SOME),
    **{f"due.page, {item}": _due(item=item) for item in ITEMS},
    **{f"due.page, {status}": _due(status=status) for status in STATUSES},
    "due.page, in date, further on": _later(status="in_date"),
    "due.page, of an item, further on": _later(item="lining"),
    "due.page, by a rule": _due(rule="visual"),
    "due.page, of an owner": _due(owner_id=SOME),
    "due.page, of an owner, an item": _due(owner_id=SOME, item="lining"),
    "due.page, in a region": _due(region="region 1"),
    "due.page, of an owner in a region": _due(owner_id=SOME, region="region 1"),
    "due.first_pages": lambda db: due.first_pages(
        db, [replace(SEEN, status=status) for status in STATUSES], 5
    ),
    "due.page, by name": _due(search=NAME),
    "due.page, by a longer name": _due(search=LONGER),
    "due.page, by a longer name, further on": _later(search=LONGER),
    "due.page, by a longer name, overdue": _due(search=LONGER, overdue=True),
    "due.page, by a longer name, unknown": _due(search=LONGER, status="unknown"),
    "due.page, by a longer name, of an item of an owner": _due(
        search=LONGER, item="lining", owner_id=SOME
    ),
    "due totals by a longer name": _counts(search=LONGER),
    "due.page, between days": _due(due_from=TODAY, due_to=TODAY + timedelta(days=90)),
    "due.page, without what is set aside": _due(status="overdue", aside=False),
    "due.page, of saved lists": _due(lists=(replace(SEEN, owner_id=SOME),)),
    "due totals": _counts(),
    "due totals, overdue": _counts(overdue=True),
    "due totals of an owner": _counts(owner_id=SOME),
    "due totals in a region": _counts(region="region 1"),
    "due totals of an item": _counts(item="visual"),
    "due totals without what is set aside": _counts(aside=False),
    "due by owner": lambda db: due_counts.by_owner(db, [replace(SEEN, status="overdue")]),
    "due by owner, without what is set aside": lambda db: due_counts.by_owner(
        db, [replace(SEEN, status=status, aside=False) for status in STATUSES]
    ),
    "morning, beside its lines": lambda db: mornings.beside(db, TODAY),
    "due_before.moved": lambda db: due_before.moved(db, SEEN, TODAY, 1),
    "due_before.moved, many": lambda db: due_before.moved(db, SEEN, TODAY, due_before.MANY),
    "due_before, how many moved": lambda db: due_before.count_moved(db, SEEN, TODAY, 10_000),
    "cars.register": _fleet(),
    "cars.register, all": _fleet(standing="all"),
    "cars.register, stored": _fleet(standing="stored"),
    "cars.register, of an owner": _fleet(owner_id=SOME),
    "cars.register, in a region": _fleet(region="region 1"),
    "cars.register, of a class": _fleet(specification_class="111"),
    "cars.register, by name": _fleet(search=NAME),
    "fleet, how many": lambda db: car_counts.count(db, cars.RegisterFilter()),
    "fleet, standings": car_counts.standings,
    "fleet, owners": car_counts.owners,
    "fleet, regions": car_counts.regions,
    "fleet, classes": car_counts.specification_classes,
    "fleet, ladings": car_counts.commodities,
    "packing.chosen": lambda db: packing.chosen(db, (), None, 50),
    "forecast by item": _forecast(),
    "forecast by owner": _forecast(by="owner"),
    "forecast by region": _forecast(by="region"),
    "forecast of an owner": _forecast(owner_id=SOME),
    "forecast, planned visits": lambda db: forecasting.moved_by_plan(db, ForecastFilter(), FIRST),
    "rulebook, cars by rule": rulebooks.governed,
    "change_list.page": _changes(),
    "change_list.page, of a car": _changes(car_id=SOME),
    "change_list.page, of some parties": _changes(
        change_list.Whose(1, frozenset((SOME,)), frozenset((SOME,)), settings=False)
    ),
    "change_list.page, of nobody": _changes(
        change_list.Whose(1, frozenset(), frozenset(), settings=False)
    ),
    "loading.page": _loading(),
    "loading.page, of a day": _loading(day=TODAY),
    "loading, held": lambda db: holding.on_hold(db, TODAY),
    "visits planned": lambda db: visit_lists.in_state(db, VisitFilter(TODAY), "planned", 50),
    "visits released": lambda db: visit_lists.in_state(db, VisitFilter(TODAY), "released", 50),
    "visits, days out": lambda db: visit_lists.days_out(db, VisitFilter(TODAY)),
    "visits going on": visiting.going_on,
    "plans": planning.plans,
    "directives": lambda db: directive_list.all_shown(db, TODAY),
    "directive, matches": lambda db: directive_list.matches_of(db, SOME, MatchFilter(TODAY)),
    "directives told": told_orders.waiting,
    "audits": auditing.audits,
    "audits, findings": auditing.findings,
    "jobs": jobs.latest,
    "imports": imports.runs,
    "retention": lambda db: retention.left(db, 0, 50),
    "facilities": facilities.mine,
    "instructions": instructions.mine,
    "saved lists": watching.lists,
}

# What sorts or reads much by its nature, and why that may be.
KNOWN = {
    **{
        name: "sorts the items of the few cars of a name"
        for name in QUESTIONS
        if name.startswith("due.page, by a longer name")
    },
    "cars.register, by name": "sorts the cars that a name begins with, where SQLite was told how few they are",
    "morning, beside its lines": "whether there is any car, which the first row tells",
    "due_before.moved": "sorts by name what was written since a day",
    "due_before, how many moved": "reads what was written since a day, here a thirtieth of all",
}
STOCK = (
    "INSERT INTO party (name, time_zone) SELECT 'Invented ' || n, '' FROM generate_series(1, 20) n",
    """
    INSERT INTO car (owner_id, keeper_id, mark, number, region, standing, specification, specification_class, commodity)
    SELECT 1 + n % 20, 1 + n % 20, 'ZQKX', 1000 + n, 'region ' || n % 9,
        CASE WHEN n % 50 > 0 THEN 'in_service' ELSE 'stored' END,
        'DOT 111A100W1', '11' || n % 7, 'lading ' || n % 30
    FROM generate_series(1, 6000) n
    """,
    """
    INSERT INTO due (car_id, item_no, item, state, due_on, confidence, rule, citation, owner_id, region, mark, number,
        listed, hazardous)
    SELECT car.id, item, 'item ' || item,
        CASE WHEN item = 4 THEN 'unknown' WHEN item = 9 THEN 'by_event' WHEN (car.id + item) % 40 = 0 THEN 'owed'
            ELSE 'dated' END,
        CASE WHEN item NOT IN (4, 9) THEN date '2026-08-01' + (car.id * 7 + item * 331)::int % 3600 END,
        'verified', 'rule ' || item, '', owner_id, region, mark, number, standing = 'in_service', true
    FROM car, unnest(ARRAY[0, 1, 2, 3, 4, 9, 12]) item
    """,
    """
    INSERT INTO due_before (car_id, day, item_no, state, due_on, listed)
    SELECT car_id, date '2026-11-25' - (car_id % 30)::int, item_no, state, due_on, listed FROM due WHERE item_no < 3
    """,
    """
    INSERT INTO change (id, at, by, origin, address, request, deed, body, previous, hash)
    SELECT n + 9, now(), 'Somebody', 'page', '', '', 'event.recorded', '{"rows": []}', 'p' || n, 'h' || n
    FROM generate_series(1, 6000) n
    """,
    """
    INSERT INTO change_about (kind, key, change_id)
    SELECT 'car', (1 + (car.id + n) % 6000)::text, car.id + 9 FROM car, generate_series(1, 9) n
    """,
    """
    INSERT INTO loading_question (list_key, asked, lading, on_day, within_days, told, recorded_at, recorded_by)
    SELECT '', 'ZQKX 1', '', date '2026-11-25' - n % 300, 0, '{}', now(), 'Somebody' FROM generate_series(1, 6000) n
    """,
    """
    INSERT INTO standing (car_id, standing, reason, from_on, recorded_at, recorded_by)
    SELECT id, standing, '', date '2015-01-01', now(), 'Somebody' FROM car
    """,
    """
    INSERT INTO hold (car_id, held, reason, from_on, recorded_at, recorded_by)
    SELECT id, id % 2 = 0, 'because', date '2026-11-01', now(), 'Somebody' FROM car WHERE id % 300 < 2
    """,
)

# What SQLite keeps of a register of 450,000 cars, all of them in service, once it was told to look (`ANALYZE`),
# as `move-to` tells it: of each index how many rows it has, and how many are alike in its first columns.
TOLD = (
    ("car", "ix_car_owner_register", "450000 9184 1237 1 1 1"),
    ("car", "ix_car_region_register", "450000 26471 3309 1 1 1"),
    ("car", "ix_car_register", "450000 56250 1 1 1"),
    ("car", "ix_car_standing_register", "450000 450000 56250 1 1"),
    ("car", "uq_car_name_in_record", "450000 56250 1 1 1"),
    ("car_name", "ix_car_name_by_car", "450000 1 1 1"),
    ("car_name", "ix_car_name_mark_number", "450000 56250 1"),
    ("car_name", "sqlite_autoindex_car_name_1", "450000 450000"),
    ("car_rolled", "sqlite_autoindex_car_rolled_1", "1288 322 7 7 1"),
    ("change", "ix_change_person_id", "5 5"),
    ("change", "sqlite_autoindex_change_1", "5 1"),
    ("change_about", "ix_change_about_change", "30052 7513"),
    ("change_about", "sqlite_autoindex_change_about_1", "30052 10018 3 1"),
    ("due", "ix_due_item", "5005035 417087 73 10 1 1 1 1 1"),
    ("due", "ix_due_owner", "5005035 102144 8 4 2 1 1 1 1"),
    ("due", "ix_due_rule", "5005035 357503 73 10 1 1 1 1 1"),
    ("due", "ix_due_soonest", "5005035 205 27 2 1 1 1 1 1"),
    ("due", "ix_due_state", "5005035 1251259 205 27 2 1 1 1 1"),
    ("due", "sqlite_autoindex_due_1", "5005035 12 1"),
    ("due_before", "ix_due_before_day", "450000 450000 1"),
    ("due_before", "sqlite_autoindex_due_before_1", "450000 1 1 1"),
    ("due_rolled", "sqlite_autoindex_due_rolled_1", "409727 68288 2732 474 474 119 2 1 1 1"),
    ("event", "ix_event_by_car", "4950000 11 1"),
    ("event", "sqlite_autoindex_event_1", "4950000 4950000"),
    ("event", "uq_event_form_key", "4950000 4950000 11"),
    ("event", "uq_event_known_by", "4950000 11 1 1 1"),
    ("reading", "ix_reading_car_id", "21600000 48"),
    ("reading", "sqlite_autoindex_reading_1", "21600000 7 1"),
    ("standing", "ix_standing_by_car", "450000 1 1 1"),
    ("standing", "sqlite_autoindex_standing_1", "450000 450000"),
)


def tell(db):
    """Have an SQLite store plan as a large one does that knows how large it is."""
    db.execute(text("ANALYZE"))
    told = [dict(zip(("tbl", "idx", "stat"), each, strict=True)) for each in TOLD]
    db.execute(text("INSERT INTO sqlite_stat1 VALUES (:tbl, :idx, :stat)"), told)
    db.execute(text("ANALYZE sqlite_schema"))


def untell(db):
    db.execute(text("DELETE FROM sqlite_stat1"))
    db.execute(text("ANALYZE sqlite_schema"))


def stock(db):
    """Rows enough that an index is worth its while, and what the planner knows of them; PostgreSQL alone."""
    for statement in STOCK:
        db.execute(text(statement))
    rolled.recount(db)
    db.commit()
    db.execute(text("ANALYZE"))
    db.commit()
