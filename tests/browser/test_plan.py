"""The whole way of a plan on the demo fleet: solved, changed by hand, solved again, accepted, worked, closed."""

import re
from datetime import UTC, date, datetime
from pathlib import Path
from urllib.parse import urljoin

import pytest
from icalendar import Calendar
from playwright.sync_api import Page, expect

from tests.browser.keys import press
from tests.browser.sound import must_be_sound_at_each, nothing_for_axe
from tests.fixtures.browser import DESK, TABLET
from tests.fixtures.server import Server

PATIENCE_MS = 120_000  # the search may be asked for a minute, on a busy machine
VISIT = re.compile(r"^(.+) in (\d{4}-\d{2})")
# The demo's shops have days enough for any one car.
ITEMS = "Visual inspection"


@pytest.fixture(scope="module")
def version() -> dict[str, str]:
    """Where the version is that the first test makes, for those that only look."""
    return {}


def test_a_plan_of_the_demo_fleet_goes_all_the_way(
    page: Page, demo_server: Server, version, tmp_path: Path
):
    first = _plan_the_fleet(page, demo_server)
    car = _move_a_visit(page)
    _lock_another(page, first)
    again = _solve_again(page, first)
    version["address"] = again
    _accept(page, again)
    visit = _open_its_visit(page, car)
    _print_its_work_order(page, visit)
    _open_the_calendar_file(page, demo_server, tmp_path)
    _send_it(page, visit)
    _record_the_inspection(page, visit)
    _see_the_visit_close(page, visit)


def _plan_the_fleet(page: Page, server: Server) -> str:
    page.goto(f"{server.url}/plans")
    page.get_by_role("link", name="New plan").click()
    page.get_by_label("Name of the plan").fill("Demo, half a year")
    page.get_by_label("Months").fill("6")
    page.get_by_label("Visual inspection").check()
    page.get_by_label("Search for at most").select_option("20")
    page.get_by_role("button", name="Plan it").click()
    return _version(page)


def _version(page: Page) -> str:
    """The search ends by itself; then its version."""
    link = page.get_by_role("link", name="Look at the version")
    expect(link).to_be_visible(timeout=PATIENCE_MS)
    link.click()
    expect(page.get_by_role("heading", name="The shops by months")).to_be_visible()
    return page.url


def _a_month(page: Page, at: int) -> None:
    """A month with cars, reached by keys."""
    press(page, page.locator(".shop-months td a:not(:has-text('0 cars'))").nth(at))
    expect(page.get_by_role("heading", level=1)).to_contain_text(" in 20")


def _move_a_visit(page: Page) -> str:
    """Move the first visit of a month one month earlier or later, by keys alone; gives its page."""
    _a_month(page, 3)
    press(page, page.locator("tbody th a.car").first)
    car = page.get_by_role("link", name="The car’s page").get_attribute("href")
    before = page.locator("#now dd").first.inner_text()
    press(page, page.get_by_role("button", name=re.compile("^Move there")).first)
    expect(page.locator("#now")).to_contain_text("than before the change")
    assert page.locator("#now dd").first.inner_text() != before
    page.get_by_role("button", name="Lock it here").click()
    expect(page.get_by_role("heading", level=2).first).to_contain_text("locked")
    return f"{urljoin(page.url, car)}"


def _lock_another(page: Page, version: str) -> None:
    page.goto(version)
    _a_month(page, 4)
    page.get_by_role("button", name=re.compile("^Lock")).first.click()
    expect(page.get_by_role("heading", level=2).first).to_contain_text("locked")


def _solve_again(page: Page, version: str) -> str:
    page.goto(version)
    expect(page.get_by_role("list").filter(has_text="moved from")).to_contain_text("locked")
    page.get_by_label("Search for at most").select_option("20")
    page.get_by_role("button", name="Solve again").click()
    return _version(page)


def _accept(page: Page, version: str) -> None:
    page.goto(version)
    page.get_by_role("link", name="Accept this version").click()
    page.get_by_label("Written instructions for every visit").fill(
        "Invented: call the owner first."
    )
    page.get_by_role("button", name=re.compile("^Accept, and plan")).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Visits", timeout=PATIENCE_MS)


def _open_its_visit(page: Page, car: str) -> str:
    page.goto(car)
    page.locator("#visits").get_by_role("link").first.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(" at ")
    expect(page.get_by_role("main")).to_contain_text("planned")
    return page.url


def _print_its_work_order(page: Page, visit: str) -> None:
    page.goto(visit)
    page.get_by_role("link", name="Work order").click()
    page.emulate_media(media="print")
    order = page.locator("article.order")
    for words in ("Invented: call the owner first.", ITEMS, "lock-out"):
        expect(order).to_contain_text(words)
    assert page.pdf().startswith(b"%PDF")
    page.emulate_media(media="screen")


def _open_the_calendar_file(page: Page, server: Server, folder: Path) -> None:
    page.goto(f"{server.url}/visits?state=planned&shop=Example+Shop+One+%28invented%29")
    with page.expect_download() as asked:
        page.get_by_role("link", name=re.compile("Calendar", re.I)).first.click()
    path = folder / "shop.ics"
    asked.value.save_as(path)
    events = Calendar.from_ical(path.read_bytes()).walk("VEVENT")
    assert events
    assert all(isinstance(event.decoded("dtstart"), date) for event in events)
    assert len({str(event["uid"]) for event in events}) == len(events)


def _send_it(page: Page, visit: str) -> None:
    page.goto(visit)
    for step in ("Sent", "Arrived"):
        page.get_by_role("link", name=re.compile(f"^(Send|{step})")).first.click()
        page.get_by_role("button", name="Record", exact=True).last.click()
        page.goto(visit)


def _record_the_inspection(page: Page, visit: str) -> None:
    items = page.locator("table tbody th").all_inner_texts()
    page.get_by_role("link", name="Record an inspection").click()
    inspected = page.get_by_role("group", name="What was inspected")
    for item in items:
        inspected.get_by_label(item.strip()).check()
    page.get_by_label("Day").fill(f"{datetime.now(UTC):%Y-%m-%d}")
    page.get_by_label("Facility").fill("Example Shop One (invented)")
    page.get_by_role("button", name="Record", exact=True).last.click()
    expect(page.get_by_role("main")).not_to_contain_text("Nothing was recorded yet")


def _see_the_visit_close(page: Page, visit: str) -> None:
    page.goto(visit)
    expect(page.get_by_role("main")).to_contain_text("Work done.")
    page.get_by_role("link", name=re.compile("^Released")).first.click()
    page.get_by_role("button", name="Record", exact=True).last.click()
    page.goto(visit)
    expect(page.get_by_role("main")).to_contain_text("released")
    expect(page.get_by_role("main")).not_to_contain_text("Released with work left")


PAGES = (
    "/plans",
    "/plans/standards",
    "/plans/new",
    "/plans/1",
    "/plans/versions/1",
    "/plans/versions/1/accept",
    "/plans/versions/1/standards",
    "/forecast",
)


@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_nothing_and_nothing_sticks_out(page: Page, demo_server: Server, path: str):
    page.goto(demo_server.url + path)
    must_be_sound_at_each(page, DESK, TABLET)


def test_axe_finds_nothing_on_a_month_and_a_car(page: Page, demo_server: Server):
    page.goto(f"{demo_server.url}/plans/versions/1")
    _a_month(page, 0)
    nothing_for_axe(page)
    page.locator("tbody th a.car").first.click()
    nothing_for_axe(page)
