"""Pages that look back: what they say, what they keep in their links, and that nothing can be recorded on them."""

import re
from datetime import UTC, date, datetime, timedelta
from html import unescape

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.orm import Session

from app import api, pages
from app.actions import components, events, facts
from app.actions.changes import NewComponent, NewEvent, NewInstallation, NewName
from app.actions.stamp import Stamp
from app.store.tables import Car
from tests.fixtures.web import Record
from tests.pages.car_cast import acid_car, with_valves
from tests.pages.reading import Page, csv_rows, xlsx_rows

# The cast is recorded on 2026-11-20 at 9:30 UTC; the application stands on 2026-11-25 at 14:00.
LATER = Stamp("Bo Quist", datetime(2026, 11, 23, 10, 15, 30, tzinfo=UTC), date(2026, 11, 23))
THEN = "as_of=2026-11-21&known=2026-11-21"
VISUAL = NewEvent(date(2026, 11, 22), ("visual",), facility="Shop B")


def changed_since(db: Session) -> int:
    """An acid car, and since: a valve swapped, an inspection, a correction, another name."""
    key = acid_car(db)
    valves = with_valves(db, key)
    new = NewInstallation(NewComponent("relief_valve", serial="RV-99"), installed_on=LATER.today)
    components.swap(db, valves[0], new, LATER)
    [old] = [row for row in db.scalars(_events(key)) if row.facility == "Shop A"]
    events.correct_event(
        db, old.id, NewEvent(date(2019, 3, 15), ("visual",), facility="Shop C"), LATER
    )
    events.record_event(db, key, VISUAL, LATER)
    facts.change(db, db.get_one(Car, key), NewName("ZQBX", 7, LATER.today), LATER)
    return key


def _events(key: int):
    from sqlalchemy import select

    from app.store.tables import EventRow

    return select(EventRow).where(EventRow.car_id == key, EventRow.superseded_at.is_(None))


@pytest.fixture
def key(record: Record[int]) -> int:
    return record(changed_since)


def links(text: str) -> list[str]:
    """The addresses within the page's own part."""
    main = text.split('<main id="main"')[1].split("</main>")[0]
    return [unescape(each) for each in re.findall(r'(?:href|hx-get)="([^"]+)"', main)]


def test_the_page_of_a_car_is_as_it_was_known(client: TestClient, key: int) -> None:
    then = Page(client.get(f"/cars/{key}?{THEN}").text).words
    now = Page(client.get(f"/cars/{key}").text).words
    for words, since in (
        ("ZQKX 104512 in service", False), ("Shop A", False), ("RV-77", False),
        ("ZQBX 7", True), ("Shop B", True), ("Shop C", True), ("RV-99", True), ("Corrected", True),
    ):  # fmt: skip
        assert (words in then) is not since, words
        assert words in now or not since, words
    assert "As of 2026-11-21, as known at the end of 2026-11-21 (UTC)." in then
    assert "What was recorded or corrected later does not count here" in then
    assert "as known" not in now


@pytest.mark.parametrize("path", ["/cars/{key}", "/cars/{key}/worked-out"])
def test_nothing_can_be_recorded_on_a_page_that_looks_back(
    client: TestClient, key: int, path: str
) -> None:
    found = links(client.get(f"{path.format(key=key)}?{THEN}").text)
    strange = re.compile(r"/(facts|events|installations|components|imports|record)\b|/trial|/new\b")
    assert not [each for each in found if strange.search(each)]
    assert [each for each in links(client.get(path.format(key=key)).text) if strange.search(each)]


@pytest.mark.parametrize(
    "path", ["/cars/{key}", "/cars/{key}/worked-out", "/due", "/overdue", "/fleet"]
)
def test_links_keep_the_day_and_the_moment(client: TestClient, key: int, path: str) -> None:
    path = path.format(key=key)
    found = links(client.get(f"{path}?{THEN}").text)
    clear = {path, "/fleet", "/due", "/overdue"}  # back to today
    led = [each for each in found if not each.startswith("#") and each not in clear]
    assert led
    assert [
        each for each in led if "as_of=2026-11-21" not in each or "known=2026-11-21" not in each
    ] == []


def test_a_link_of_each_list_shows_what_the_list_showed(client: TestClient, key: int) -> None:
    """From the row to the reasons and to the car, all of one moment."""
    text = client.get(f"/due?{THEN}&item=visual").text
    [row] = Page(text).rows
    assert row[0].replace("\xa0", " ") == "ZQKX 104512"
    [why] = [each for each in links(text) if "/reasons" in each]
    assert "2018-03-15" in Page(client.get(why).text).words
    [car] = {each.split("#")[0] for each in links(text) if each.startswith("/cars/")}
    assert "2028-03-15" in Page(client.get(car).text).words


def test_files_say_from_where_they_were_seen(client: TestClient, key: int) -> None:
    for path in ("/due", "/overdue", "/fleet"):
        answer = client.get(f"{path}.csv?{THEN}")
        rows = csv_rows(answer.content)
        assert {(row["as_of"], row["known_at"]) for row in rows} == {
            ("2026-11-21", "2026-11-21T23:59:59+00:00")
        }
        assert rows == xlsx_rows(client.get(f"{path}.xlsx?{THEN}").content)
        name = f"{path[1:]}-2026-11-21-as-known-2026-11-21.csv"
        assert name in answer.headers["Content-Disposition"]
        assert "as_of" not in csv_rows(client.get(f"{path}.csv").content)[0]
    assert [row["mark"] for row in csv_rows(client.get(f"/fleet.csv?{THEN}").content)] == ["ZQKX"]


@pytest.mark.parametrize("path", ["/due", "/overdue", "/fleet"])
def test_a_list_can_be_asked_before_anything_was_recorded(
    client: TestClient, key: int, path: str
) -> None:
    page = Page(client.get(f"{path}?known=2026-11-20T09:29").text)
    assert "By that moment nothing was recorded of any car." in page.words
    assert not page.rows
    assert Page(client.get(f"{path}?known=2026-11-20T09:30").text).rows


@pytest.mark.parametrize(
    "path", ["/cars/{key}", "/cars/{key}/worked-out", "/due/{key}/visual/reasons"]
)
def test_a_car_that_was_not_known_then_is_not_found(
    client: TestClient, key: int, path: str
) -> None:
    path = path.format(key=key)
    answer = client.get(f"{path}?known=2026-11-20T09:29")
    assert answer.status_code == 404
    said = Page(answer.text).words
    # By the name that it bore on that day; it is another since.
    assert "By all that was known then, ZQKX 104512 was not in the register" in said
    assert (
        "first recorded at 2026-11-20 09:30:00 UTC. Ask as known at that moment or later." in said
    )
    assert client.get(f"{path}?as_of=2008-02-29").status_code == 404  # built on 2008-03-01
    assert client.get(f"{path}?as_of=2008-03-01").status_code == 200


@pytest.mark.parametrize(
    ("asked", "status", "said"),
    [
        ("known=2026-11-26", 422, "has not come yet"),
        ("known=2026-11-25T14:01", 422, "has not come yet"),
        # A day or a minute that has begun is as known by now.
        ("known=2026-11-25", 200, "as known at the end of 2026-11-25"),
        ("known=2026-11-25T14:00", 200, "as known at 2026-11-25 14:00"),
        # Seconds, parts of them and an offset; a plus that was not escaped comes as a space.
        ("known=2026-11-23T10:15:30", 200, "as known at 2026-11-23 10:15:30 (UTC)"),
        ("known=2026-11-23T10:15:30.25", 200, "as known at 2026-11-23 10:15:30.25 (UTC)"),
        ("known=2026-11-23T10:15:30Z", 200, "as known at 2026-11-23 10:15:30 (UTC)"),
        ("known=2026-11-23T10:15-06:00", 200, "as known at 2026-11-23 10:15 (UTC-06:00)"),
        ("known=2026-11-23T10:15:30%2B01:00", 200, "as known at 2026-11-23 10:15:30 (UTC+01:00)"),
        ("known=2026-11-23T10:15:30+01:00", 200, "as known at 2026-11-23 10:15:30 (UTC+01:00)"),
        ("known=2026-11-25T14:01%2B01:00", 200, "as known at 2026-11-25 14:01 (UTC+01:00)"),
        ("known=2026-11-25T14:00-00:01", 422, "has not come yet"),
        ("known=2026-11-23T10:15.5", 422, "want a day YYYY-MM-DD, or a minute"),
        ("known=2026-11-23T10:15:30.1234567", 422, "want a day YYYY-MM-DD, or a minute"),
        ("known=2026-11-23Z", 422, "want a day YYYY-MM-DD, or a minute"),
        ("known=2026-11-23T10:15:30%2B25:00", 422, "is no day and time"),
        ("known=2026-13-01", 422, "is no day and time"),
        ("known=9999-12-31", 422, "want a day YYYY-MM-DD, or a minute"),
        ("known=yesterday", 422, "want a day YYYY-MM-DD, or a minute"),
        ("as_of=2026-02-30", 422, "2026-02-30"),
        ("as_of=2026-11-01", 200, "What happened after that day does not count here"),
        ("as_of=2027-11-01", 200, "So it will stand if nothing is done until then"),
        ("on=2027-11-01", 200, "As of 2027-11-01, as known now"),
        ("as_of=2026-11-25", 200, "Due"),
    ],
)  # fmt: skip
def test_what_is_asked_is_said_or_what_is_wrong_with_it(
    client: TestClient, key: int, asked: str, status: int, said: str
) -> None:
    for path in (f"/cars/{key}", "/due", "/fleet"):
        if path == "/fleet" and said == "Due":
            continue
        answer = client.get(f"{path}?{asked}")
        assert (path, answer.status_code) == (path, status)
        assert said in unescape(Page(answer.text).words)


def test_a_later_day_shows_what_is_stored_seen_from_it(client: TestClient, key: int) -> None:
    stored = csv_rows(client.get("/due.csv?on=2029-12-31").content)
    assert stored == csv_rows(client.get("/due.csv?as_of=2029-12-31").content)
    by_hand = csv_rows(client.get("/due.csv?as_of=2029-12-31&known=2026-11-25T14:00").content)
    told = [(row["item"], row["status"], row["due_on"], row["days_left"]) for row in by_hand]
    assert told == [(row["item"], row["status"], row["due_on"], row["days_left"]) for row in stored]


def test_the_filter_offers_the_owners_of_then(client: TestClient, record: Record[int]) -> None:
    from app.actions import cars
    from app.actions.changes import NewOwnership

    key = record(changed_since)
    sold = NewOwnership("Marrowfen Invented Cars", "", from_on=LATER.today)
    record(lambda db: cars.change_ownership(db, key, sold, LATER) and key)
    then = client.get(f"/fleet?{THEN}").text
    assert "Quillon Tank Lines</option>" in then
    assert "Marrowfen" not in then
    [owner] = re.findall(r'<option value="(\d+)">Quillon', then)
    assert Page(client.get(f"/fleet?{THEN}&owner={owner}").text).rows
    assert "Quillon" not in client.get("/fleet").text


def test_the_moment_is_read_in_the_time_zone_of_the_settings(sqlite_url: str) -> None:
    """09:30 UTC is 03:30 in Chicago in November."""
    from zoneinfo import ZoneInfo

    from app.actions.standpoint import lookback

    zone, now = ZoneInfo("America/Chicago"), datetime(2026, 11, 25, 14, tzinfo=UTC)
    table = [
        ("2026-11-20T03:30", datetime(2026, 11, 20, 9, 31, tzinfo=UTC)),
        ("2026-11-20 03:30", datetime(2026, 11, 20, 9, 31, tzinfo=UTC)),
        ("2026-11-20T03:30:15", datetime(2026, 11, 20, 9, 30, 16, tzinfo=UTC)),
        ("2026-11-20T03:30:15.5", datetime(2026, 11, 20, 9, 30, 15, 600_000, tzinfo=UTC)),
        ("2026-11-20T03:30:15.000001", datetime(2026, 11, 20, 9, 30, 15, 2, tzinfo=UTC)),
        ("2026-11-20T09:30:15Z", datetime(2026, 11, 20, 9, 30, 16, tzinfo=UTC)),
        ("2026-11-20T09:30Z", datetime(2026, 11, 20, 9, 31, tzinfo=UTC)),
        ("2026-11-20T10:30:15+01:00", datetime(2026, 11, 20, 9, 30, 16, tzinfo=UTC)),
        # An offset says which of the two hours is meant.
        ("2026-11-01T01:30-05:00", datetime(2026, 11, 1, 6, 31, tzinfo=UTC)),
        ("2026-11-20", datetime(2026, 11, 21, 6, tzinfo=UTC)),
        # The clock was put back at 2:00 on 2026-11-01: the hour comes twice, and both count.
        ("2026-11-01T01:30", datetime(2026, 11, 1, 7, 31, tzinfo=UTC)),
        ("2026-11-01", datetime(2026, 11, 2, 6, tzinfo=UTC)),
    ]
    for text, until in table:
        back = lookback(None, text, now, zone)
        assert back is not None
        assert back.at.known_at == until - timedelta(microseconds=1), text
        assert back.at.as_of.isoformat() == text[:10]


def test_what_was_corrected_twice_within_a_minute_is_told_apart(
    client: TestClient, record: Record[int]
) -> None:
    key = record(acid_car)

    def correct(shop: str, at: datetime) -> None:
        def step(db: Session) -> int:
            [old] = [row for row in db.scalars(_events(key)) if row.facility.startswith("Shop A")]
            event = NewEvent(date(2019, 3, 15), ("visual",), facility=shop)
            events.correct_event(db, old.id, event, Stamp("Bo Quist", at, LATER.today))
            return key

        record(step)

    every = ["Shop A", "Shop A one", "Shop A two", "Shop A three"]
    begun = datetime(2026, 11, 23, 10, 15, tzinfo=UTC)
    correct("Shop A one", begun + timedelta(seconds=20))
    correct("Shop A two", begun + timedelta(seconds=40, milliseconds=250))
    correct("Shop A three", begun + timedelta(seconds=40, milliseconds=750))
    for asked, shop in (
        ("2026-11-23T10:15:19", "Shop A"),
        ("2026-11-23T10:15:20Z", "Shop A one"),
        ("2026-11-23T10:15:40.249999Z", "Shop A one"),
        ("2026-11-23T10:15:40.250000Z", "Shop A two"),
        ("2026-11-23T11:15:40.5+01:00", "Shop A two"),
        ("2026-11-23T10:15:40Z", "Shop A three"),
        ("2026-11-23T10:15", "Shop A three"),
    ):
        answer = client.get(f"/cars/{key}", params={"known": asked, "as_of": "2026-11-23"})
        shops = set(re.findall(r"Shop A(?: one| two| three)?", Page(answer.text).words))
        assert shops == set(every[: every.index(shop) + 1]), asked  # each tells what it corrected
        # Its links lead to the same moment.
        onward = next(each for each in links(answer.text) if each.startswith("/due?"))
        rows = csv_rows(client.get(onward.replace("/due?", "/due.csv?")).content)
        told = {row["known_at"] for row in rows}
        assert len(told) == 1
        again = csv_rows(
            client.get("/due.csv", params={"as_of": "2026-11-23", "known": told.pop()}).content
        )
        assert again == rows, "what a file says it was seen from can be asked for again"


# Elsewhere than where it can be -----------------------------------------------------------------------------------


def elsewhere() -> list[str]:
    """The addresses of all that is read and does not look back, with ones for keys."""
    routes = [
        (prefix + route.path, route)
        for prefix, routers in (("", pages.ROUTERS), (api.ADDRESS, api.ROUTERS))
        for router in routers
        for route in router.routes
    ]
    return [
        re.sub(r"{[^}]*}", "1", path)
        for path, route in routes
        if "GET" in route.methods and not route.endpoint.__looks_back__
    ]


@pytest.mark.parametrize("name", ["as_of", "known"])
def test_what_does_not_look_back_never_gives_today_s_answer_for_another_day(client, name):
    told = {path: client.get(path, params={name: "2020-01-02"}) for path in elsewhere()}
    assert len(told) > 60
    assert [path for path, answer in told.items() if answer.status_code != 422] == []
    assert "answered as of today" in told["/loading"].text
