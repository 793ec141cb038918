"""Due lists: their order, filters, statuses, pages and plans, with rows put there by hand."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest

from app.core.facts import ITEMS
from app.errors import Refused
from app.store import due, due_counts
from app.store.due import DueFilter
from app.store.names import begins, read_prefix
from tests.store.cast import TODAY, add_car
from tests.store.counting import plan, statements
from tests.store.due_rows import row

SEEN = DueFilter(TODAY)


@pytest.fixture
def fleet(any_db):
    """Two owners, two regions, and a day on each side of every border between statuses."""
    first = add_car(any_db, 9)
    second = add_car(any_db, 10, owner="Second Invented Owner", region="south")
    stored = add_car(any_db, 11)
    soon_ends = TODAY + timedelta(days=180)
    due.replace(
        any_db,
        [first.id, second.id, stored.id],
        [
            row(first, "visual", "dated", TODAY - timedelta(days=1)),  # overdue
            row(first, "thickness", "dated", TODAY),  # the due day itself is still in date
            row(first, "lining", "dated", soon_ends),  # the last day that is soon
            row(first, "relief_device", "dated", soon_ends + timedelta(days=1)),
            row(first, "leakage", "by_event"),
            row(second, "visual", "owed", TODAY - timedelta(days=40)),
            row(second, "thickness", "dated", TODAY),
            row(second, "lining", "unknown"),
            row(second, "service_end", "not_required"),
            row(stored, "visual", "dated", TODAY - timedelta(days=9), listed=False),
        ],
    )
    return any_db


def shown(db, wanted):
    return [(row.number, row.item, row.status) for row in due.page(db, wanted).rows]


NAMES = (
    ("ZQKX", 104),
    ("ZQKX", 1049),
    ("ZQKX", 104_999),
    ("ZQKX", 105),
    ("ZQK", 104),
    ("ZQKY", 1040),
)
ASKED = ({}, {"status": "overdue"}, {"status": "unknown"}, {"overdue": True}, {"owner_id": 1}, {"item": "visual"},
         {"region": "north"}, {"aside": False}, {"listed_only": False})  # fmt: skip


@pytest.fixture
def named(any_db):
    """Cars whose names begin alike, the items of each on other days."""
    for days, (mark, number) in enumerate(NAMES):
        car = add_car(any_db, number, mark=mark)
        rows = [
            row(car, "visual", "dated", TODAY - timedelta(days=days)),
            row(car, "thickness", "dated", TODAY + timedelta(days=days)),
            row(car, "leakage", "unknown"),
        ]
        due.replace(any_db, [car.id], rows)
    return any_db


@pytest.mark.parametrize("asked", ASKED, ids=str)
@pytest.mark.parametrize(
    "text", ["ZQKX 104", "ZQKX 1049", "ZQK 104", "ZQKX 10", "ZQKX", "ZQ", "104", "ZQKY 999"]
)
def test_a_search_finds_what_of_the_whole_list_begins_so(named, asked, text):
    prefix = read_prefix(text)
    whole = [
        each
        for each in due.each(named, replace(SEEN, **asked))
        if begins(prefix, each.mark, each.number)
    ]
    wanted = replace(SEEN, **asked, search=prefix)
    assert list(due.each(named, wanted)) == whole
    assert list(due.page(named, wanted).rows) == whole
    assert due_counts.count(named, wanted) == len(whole)


@pytest.mark.parametrize("limit", [1, 2, 50])
def test_the_first_pages_of_several_lists_are_those_of_each(fleet, limit):
    kinds = [{"status": status} for status in due.STATUSES]
    lists = [
        replace(SEEN, **asked) for asked in (*kinds, {}, {"overdue": True}, {"region": "nowhere"})
    ]
    with statements(fleet) as sent:
        pages = due.first_pages(fleet, lists, limit)
    assert len(sent) == 1
    assert pages == [due.page(fleet, wanted, None, limit) for wanted in lists]


def test_the_list_is_soonest_first_then_number_as_a_number(fleet):
    assert shown(fleet, SEEN) == [
        (10, "visual", "due_now"),
        (9, "visual", "overdue"),
        (9, "thickness", "soon"),
        (10, "thickness", "soon"),
        (9, "lining", "soon"),
        (9, "relief_device", "in_date"),
    ]


@pytest.mark.parametrize(
    ("wanted", "expected"),
    [
        ({"status": "due_now"}, [(10, "visual")]),
        ({"status": "overdue"}, [(9, "visual")]),
        ({"status": "soon"}, [(9, "thickness"), (10, "thickness"), (9, "lining")]),
        ({"status": "in_date"}, [(9, "relief_device")]),
        ({"status": "by_event"}, [(9, "leakage")]),
        ({"status": "unknown"}, [(10, "lining")]),
        ({"status": "not_required"}, [(10, "service_end")]),
        # Overdue in the everyday sense: what is due now with it.
        ({"overdue": True}, [(10, "visual"), (9, "visual")]),
        ({"overdue": True, "listed_only": False}, [(10, "visual"), (11, "visual"), (9, "visual")]),
        ({"region": "south"}, [(10, "visual"), (10, "thickness")]),
        ({"item": "thickness"}, [(9, "thickness"), (10, "thickness")]),
        ({"search": read_prefix("zqkx-10")}, [(10, "visual"), (10, "thickness")]),
        ({"due_from": TODAY, "due_to": TODAY}, [(9, "thickness"), (10, "thickness")]),
        # A narrower idea of soon.
        ({"soon_days": 0, "status": "soon"}, [(9, "thickness"), (10, "thickness")]),
        # Seen from tomorrow, today's due day has passed.
        ({"as_of": TODAY + timedelta(days=1), "status": "overdue"},
         [(9, "visual"), (9, "thickness"), (10, "thickness")]),
    ],
)  # fmt: skip
def test_a_filter_keeps_what_it_says(fleet, wanted, expected):
    filtered = replace(SEEN, **wanted)
    assert [each[:2] for each in shown(fleet, filtered)] == expected
    assert [(each.number, each.item) for each in due.each(fleet, filtered)] == expected
    assert due_counts.count(fleet, filtered) == len(expected)


def test_an_owners_list_holds_that_owners_cars_alone(fleet):
    second = next(row for row in due.page(fleet, SEEN).rows if row.number == 10)
    assert second.owner == "Second Invented Owner"
    car = add_car(fleet, 12, owner="Second Invented Owner")
    numbers = {each[0] for each in shown(fleet, replace(SEEN, owner_id=car.owner_id))}
    assert numbers == {10, 12}


def test_totals_count_each_status_once_and_agree_with_the_lists(fleet):
    counted = due_counts.totals(fleet, SEEN)
    assert counted == {
        "due_now": 1, "overdue": 1, "soon": 3, "in_date": 1,
        "by_event": 1, "unknown": 1, "not_required": 1,
    }  # fmt: skip
    for status, number in counted.items():
        assert len(due.page(fleet, replace(SEEN, status=status)).rows) == number


def test_a_row_carries_its_days_left(fleet):
    first = due.page(fleet, replace(SEEN, status="overdue")).rows[0]
    assert first.days_left == -1


@pytest.mark.parametrize("status", [None, "soon", "by_event"])
def test_pages_put_together_are_the_list_forwards_and_backwards(any_db, status):
    cars = [add_car(any_db, number) for number in range(1, 8)]
    for car in cars:
        # The same day for many, so that pages break within a day.
        dated = [row(car, item, "dated", TODAY) for item in ITEMS[:3]]
        due.replace(any_db, [car.id], [*dated, row(car, "leakage", "by_event")])
    wanted = replace(SEEN, status=status)
    whole = due.page(any_db, wanted, limit=100).rows
    assert whole == tuple(due.each(any_db, wanted))
    pages = [due.page(any_db, wanted, limit=4)]
    while pages[-1].next_after:
        pages.append(due.page(any_db, wanted, pages[-1].next_after, limit=4))
    assert sum((page.rows for page in pages), ()) == whole
    assert pages[0].previous is None
    for before, page in pairwise(pages):
        assert due.page(any_db, wanted, page.previous, limit=4).rows == before.rows


@pytest.mark.parametrize("damaged", ["x", "!!!", "W10", "eyJhIjoxfQ", "WzAsMV0"])
def test_a_damaged_page_address_is_refused_in_words(db, damaged):
    with pytest.raises(Refused, match="damaged"):
        due.page(db, SEEN, damaged)


def test_a_cursor_of_another_list_is_refused(db):
    for number in range(3):
        add_car(db, 20 + number)
    cursor = due.page(db, SEEN, limit=1).next_after
    with pytest.raises(Refused, match="damaged"):
        due.page(db, replace(SEEN, status="by_event"), cursor)


def test_the_filter_is_told_in_words():
    wanted = DueFilter(
        TODAY, owner_id=1, owner="Quillmoor Invented Leasing", item="lining", overdue=True,
        region="north", search=read_prefix("ZQKX 10"), due_from=date(2026, 1, 1),
    )  # fmt: skip
    assert wanted.in_words() == (
        "Due now or overdue on 2026-11-25, lining, due from 2026-01-01, owner Quillmoor Invented "
        "Leasing, region north, mark and number beginning ZQKX 10, cars in service"
    )


FILTERS = [
    {},
    {"overdue": True},
    *({"status": status} for status in due.STATUSES),
    {"owner_id": 1},
    {"owner_id": 1, "overdue": True},
    {"owner_id": 1, "status": "unknown"},
    {"item": "visual"},
    {"region": "north"},
    {"due_from": date(2026, 1, 1), "due_to": date(2027, 1, 1)},
    {"listed_only": False},
]


@pytest.mark.parametrize("wanted", FILTERS, ids=str)
def test_every_due_list_reads_an_index_in_its_order(db, wanted):
    for number in range(1, 4):
        add_car(db, number)
    filtered = replace(SEEN, **wanted)
    cursor = due.page(db, filtered, limit=1).next_after
    with statements(db) as sent:
        due.page(db, filtered)
        due.page(db, filtered, cursor)
    lines = plan(db, sent)
    assert not [line for line in lines if "TEMP B-TREE" in line]
    assert [line for line in lines if "SEARCH due USING" in line]


@pytest.mark.parametrize("wanted", FILTERS, ids=str)
def test_a_due_list_asks_one_query_however_long_it_is(db, wanted):
    for number in range(1, 30):
        add_car(db, number)
    with statements(db) as sent:
        due.page(db, replace(SEEN, **wanted))
    assert len(sent) == 1


def test_totals_ask_one_query(fleet):
    with statements(fleet) as sent:
        due_counts.totals(fleet, SEEN)
    assert len(sent) == 1
