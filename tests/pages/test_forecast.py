"""The forecast: pictures with a table each, with and without planned visits, and as a workbook."""

import io
from base64 import b64encode
from collections import Counter
from datetime import date, datetime
from hashlib import sha256
from itertools import takewhile
from xml.etree import ElementTree

import pytest
from dateutil.relativedelta import relativedelta
from openpyxl import load_workbook

from app.actions import events, visits
from app.actions.changes import NewEvent
from app.actions.visits import Planning
from app.core.plan.demand import NO_WORK
from app.pages.forecast import Forecast
from app.store.derived import DueRow
from tests.pages.fleet_cast import MARROW, STAMP, add
from tests.pages.plans_cast import NORTH, SOUTH, fleet, standards
from tests.pages.reading import Page

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def cars(record):
    keys = record(fleet)
    record(standards)
    return keys


def workbook(client, query: str = ""):
    """Each sheet's rows, without the totals below them."""
    content = client.get(f"/forecast.xlsx{query}").content
    book = load_workbook(io.BytesIO(content))
    return {sheet.title: list(takewhile(any, sheet.iter_rows(values_only=True))) for sheet in book}


def test_an_empty_register_says_that_nothing_is_dated(client):
    assert "Nothing that is dated answers to this filter." in client.get("/forecast").text


def test_every_dated_item_is_counted_in_its_month_and_again_after_its_interval(
    client, record, cars
):
    (header, *rows) = workbook(client)["Due by month"]
    due = record(
        lambda db: [
            (row.item, row.due_on, row.interval_months) for row in db.query(DueRow) if row.due_on
        ]
    )
    place = header.index("Visual inspection")
    expected = [row for row in due if row[0] == "visual" and f"{row[1]:%Y-%m}" == "2027-04"]
    assert {row[0]: row[place] for row in rows}["2027-04"] == len(expected) == 1
    # Ten years after April 2027 lies past the forecast; the air brake's interval does not (it is overdue here).
    brakes = {row[0]: row[header.index("Air brake")] for row in rows}
    # The first time within 8 years, 49 CFR 232.305(d); due already, so in the first month. Then every 5: 232.305(c).
    assert {row[2] for row in due if row[0] == "air_brake"} == {96}
    assert {month: number for month, number in brakes.items() if number} == {
        rows[0][0]: len(cars), rows[60][0]: len(cars)
    }  # fmt: skip


def test_the_page_says_in_words_what_it_counts_and_filters_by_owner(client, record, cars):
    record(lambda db: add(db, "ZQAX", 1, date(2017, 5, 1), MARROW, "Prairie"))
    page = client.get("/forecast?by=region")
    assert "Cars in service, 10 years from" in Page(page.text).words
    assert "by region" in Page(page.text).words
    both = workbook(client, "?by=region")["Due by month"]
    assert both[0][1:-2] == ("Gulf", "Prairie")
    only = workbook(client, "?by=region&region=Prairie")["Due by month"]
    assert only[0][1:-2] == ("Prairie",)


def test_a_wrong_filter_counts_nothing_and_says_so(client, cars):
    page = client.get("/forecast?by=moon").text
    assert "Nothing is counted until what is asked for can be read." in page
    assert client.get("/forecast.xlsx?by=moon").status_code == 422


def test_what_falls_due_from_the_last_service_day_on_is_left_out_and_told(client, record, cars):
    """A car at its age limit within the ten years; what it asks for is counted one item after the other."""
    before = {row[0]: row for row in workbook(client)["Forecast by year"][1:]}
    car = record(lambda db: add(db, "ZQKX", 9001, date(1980, 6, 1)))
    due = record(lambda db: [(row.item, row.due_on, row.interval_months)
                             for row in db.query(DueRow) if row.car_id == car and row.due_on])  # fmt: skip
    last = min(on for item, on, _ in due if item in NO_WORK)
    begin, end = STAMP.today.replace(day=1), STAMP.today.replace(day=1) + relativedelta(years=10)
    assert begin < last < end
    counted, out = Counter(), Counter()
    for item, on, months in (each for each in due if each[0] not in NO_WORK):
        day, over = max(on, begin), on >= last
        months = min(months or 0, 60) if item == "air_brake" else months  # 49 CFR 232.305(c)
        while day < end:
            (out if over else counted)[day.year] += 1
            day = day + relativedelta(months=months) if months else end
            over = over or day >= last
    assert counted
    after = {row[0]: row for row in workbook(client)["Forecast by year"][1:]}
    for year, row in after.items():
        assert row[1] - before[year][1] == counted[year], year
        assert row[6] == out[year], year
    page = client.get("/forecast").text
    assert f"Left out: {out.total()} item falling due on the last service day" in Page(page).words
    assert '<option value="directive">Directive</option>' in page
    # The last day is told whichever item is asked for.
    assert "9001" in client.get("/forecast?item=visual").text


def test_a_planned_visit_moves_its_items_into_its_month(client, record, cars):
    before = {row[0]: row for row in workbook(client)["Forecast by month"][1:]}
    items = ("visual", "structural_integrity")
    planning = Planning(NORTH, date(2027, 2, 1), items, 20)
    record(lambda db: visits.plan(db, cars[0], planning, STAMP))
    after = {row[0]: row for row in workbook(client)["Forecast by month"][1:]}
    # 2 and 4 days, due in April 2027 (the standards to begin with).
    assert (after["2027-04"][1], after["2027-04"][2]) == (
        before["2027-04"][1],
        before["2027-04"][1] - 6,
    )
    assert after["2027-02"][2] == before["2027-02"][2] + 6
    assert "With the planned visits" in client.get("/forecast").text


def days(client, column: int) -> dict:
    """Of the sheet of shop days by month: 1 needed, 2 with the planned visits."""
    return {row[0]: row[column] for row in workbook(client)["Forecast by month"][1:]}


def test_an_item_that_two_visits_are_to_do_is_done_in_the_first(client, record, cars):
    before = days(client, 1)
    for shop, month in ((SOUTH, 3), (NORTH, 2)):
        planning = Planning(shop, date(2027, month, 1), ("visual",), 20)
        record(lambda db, planning=planning: visits.plan(db, cars[0], planning, STAMP))
    with_visits = days(client, 2)
    assert with_visits["2027-02"] == before["2027-02"] + 2
    assert with_visits["2027-03"] == before["2027-03"]
    assert with_visits["2027-04"] == before["2027-04"] - 2


def test_work_recorded_in_the_shop_is_not_asked_for_again_before_the_car_is_released(
    client, record, cars
):
    planning = Planning(NORTH, date(2026, 11, 1), ("visual",), 20)
    visit = record(lambda db: visits.plan(db, cars[0], planning, STAMP).id)
    record(lambda db: visits.step(db, visit, "sent", date(2026, 11, 10), STAMP))
    assert days(client, 2)["2026-11"] == days(client, 1)["2026-11"] + 2
    inspected = NewEvent(date(2026, 11, 20), ("visual",))
    record(lambda db: events.record_event(db, cars[0], inspected, STAMP))
    assert days(client, 2) == days(client, 1)


def test_groups_are_counted_with_the_planned_visits_where_that_is_asked(client, record, cars):
    planning = Planning(NORTH, date(2027, 2, 1), ("visual",), 20)
    record(lambda db: visits.plan(db, cars[0], planning, STAMP))
    for query, february, april in (("", 0, 1), ("?visits=with", 1, 0)):
        header, *rows = workbook(client, query)["Due by month"]
        visual = {row[0]: row[header.index("Visual inspection")] for row in rows}
        assert (visual["2027-02"], visual["2027-04"]) == (february, april)
    assert (
        "by item, with the planned visits." in Page(client.get("/forecast?visits=with").text).words
    )
    assert client.get("/forecast.xlsx?visits=without").status_code == 422


def test_both_totals_stand_beside_the_groups_and_by_year(client, record, cars):
    planning = Planning(NORTH, date(2027, 2, 1), ("visual",), 20)
    record(lambda db: visits.plan(db, cars[0], planning, STAMP))
    book = workbook(client)
    totals = {row[0]: row[-2:] for row in book["Due by month"][1:]}
    assert totals["2027-02"] == (0, 1)
    assert totals["2027-04"][1] == totals["2027-04"][0] - 1
    years = book["Forecast by year"][1:]
    assert sum(row[1] for row in years) == sum(plain for plain, _ in totals.values())
    assert sum(row[2] for row in years) == sum(planned for _, planned in totals.values())


def test_a_picture_opened_by_itself_may_use_its_own_styles_and_no_other(client, cars):
    answer = client.get("/forecast/due.svg")
    (styles,) = ElementTree.fromstring(answer.content).iter(f"{SVG}style")
    total = b64encode(sha256((styles.text or "").encode()).digest()).decode()
    policy = answer.headers["content-security-policy"]
    assert f"style-src 'sha256-{total}';" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_a_last_service_day_that_is_past_counts_in_the_first_year():
    found = Forecast(2026 * 12 + 10, [], {}, {}, {}, {}, [], 2, {2029: 1, 2020: 1}, False)
    assert found.last_by_year() == {2029: 1, 2026: 1}


@pytest.mark.parametrize("picture", ["due", "days", "cost", "last-days"])
def test_a_picture_is_svg_without_scripts(client, cars, picture):
    answer = client.get(f"/forecast/{picture}.svg")
    assert answer.headers["content-type"].startswith("image/svg+xml")
    tree = ElementTree.fromstring(answer.content)
    assert tree.tag == f"{SVG}svg"
    assert not list(tree.iter(f"{SVG}script"))


def test_last_service_days_are_listed_with_their_cars(client, record):
    record(lambda db: add(db, "ZQKX", 9001, date(1980, 1, 1)))
    book = workbook(client)["Last service days"]
    stored = record(
        lambda db: [row.due_on for row in db.query(DueRow) if row.item in ("age_limit", "service_end") and row.due_on]
    )  # fmt: skip
    assert [row[4].date() for row in book[1:]] == stored
    assert stored


@pytest.mark.parametrize(
    ("table", "sheet"),
    [
        ("days", "Forecast by month"),
        ("cost", "Forecast by year"),
        ("last-days", "Last service days"),
    ],
)
def test_each_table_is_taken_away_by_itself_and_says_what_the_workbook_says(
    client, record, cars, table, sheet
):
    record(lambda db: add(db, "ZQKX", 9001, date(1980, 1, 1)))
    header, *rows = workbook(client)[sheet]
    told = client.get(f"/forecast/{table}.json").json()
    assert told
    assert [tuple(each) for each in told] == [header] * len(rows)
    assert [[_read(value) for value in each.values()] for each in told] == [
        [_read(value) for value in row] for row in rows
    ]
    lines = client.get(f"/forecast/{table}.csv").text.splitlines()
    assert lines[0].lstrip("\ufeff").split(",") == list(header)
    assert len(lines) == len(rows) + 1


def _read(value):
    """A day as its text, any number as one."""
    if isinstance(value, datetime):
        return value.date().isoformat()
    return float(value) if isinstance(value, int) else value


def test_groups_are_rows_of_their_own_in_files_and_add_up_to_the_workbook_s_columns(client, cars):
    (header, *rows) = workbook(client, "?by=owner")["Due by month"]
    wide = {
        (row[0], group): number
        for row in rows
        for group, number in zip(header[1:-2], row[1:-2], strict=True)
    }
    told = client.get("/forecast/due.json?by=owner").json()
    assert {(each["month"], each["group"]): each["items"] for each in told} == wide
    assert sum(wide.values()) == sum(row[-2] for row in rows) > 0


def test_a_table_that_there_is_not_and_a_wrong_filter_give_no_file(client, cars):
    assert client.get("/forecast/moon.csv").status_code == 404
    assert client.get("/forecast/days.csv?by=moon").status_code == 422


def test_the_page_offers_each_table_as_it_is_filtered(client, record, cars):
    record(lambda db: add(db, "ZQKX", 9001, date(1980, 1, 1)))
    page = client.get("/forecast?by=region").text
    for table in ("due", "days", "cost", "last-days"):
        for form in ("csv", "xlsx", "json"):
            assert f'href="/forecast/{table}.{form}?by=region"' in page
