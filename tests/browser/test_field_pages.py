"""Pages for work at a car, and what it goes by, in a real browser: sound at every width, and usable without scripts."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, ViewportSize, expect

from tests.browser.field.measuring import SIZES, must_be_sound, too_small
from tests.browser.sound import must_be_sound_at_each
from tests.fixtures.server import Server

TEMPLATES = Path(__file__).parents[2] / "templates" / "field"
# By the template that draws them; `index.html` and `recorded.html` have tests of their own below, and what
# `shell.html` starts is measured with the tablet's screens.
AT_A_CAR = {
    "today.html": ("/field/today", "/field/today?q=ZQ", "/field/today?q=???"),
    "car.html": ("/field/cars/1",),
    "item.html": ("/field/cars/1/visual", "/field/cars/1/thickness", "/field/cars/1/relief_device"),
}
APART = {"index.html", "recorded.html", "shell.html", "base.html"}
GONE_BY = (
    "/cars/1/label", "/fleet/labels?q=ZQKX", "/facilities", "/facilities/new", "/instructions", "/instructions/new",
    "/people/1/qualifications",
)  # fmt: skip


@pytest.mark.parametrize("path", [path for paths in AT_A_CAR.values() for path in paths])
def test_a_page_at_a_car_is_sound(seen_at_a_desk: Page, demo_server: Server, path: str) -> None:
    seen_at_a_desk.goto(demo_server.url + path)
    must_be_sound(seen_at_a_desk)


def test_what_was_typed_wrong_and_what_was_recorded_is_sound(
    page: Page, demo_server: Server
) -> None:
    page.goto(f"{demo_server.url}/field/cars/1/thickness")
    page.get_by_label("Inches, reading 1").fill("much")
    page.get_by_role("button", name="Record").last.click()
    expect(page.get_by_role("alert").first).to_be_visible()
    must_be_sound(page)
    page.goto(f"{demo_server.url}/field/cars/1/visual")
    page.get_by_label("Facility").fill("Made-up Works that is measured")
    page.get_by_role("button", name="Record").last.click()
    expect(page.get_by_role("status")).to_contain_text("is on record")
    must_be_sound(page)


def test_no_page_at_a_car_is_left_out() -> None:
    """A new template needs an address above, or a test of its own."""
    assert {each.name for each in TEMPLATES.glob("[!_]*")} == AT_A_CAR.keys() | APART


def test_the_first_page_is_sound_where_no_script_runs(
    page: Page, page_without_javascript: Page, demo_server: Server
) -> None:
    bare = page_without_javascript
    bare.goto(f"{demo_server.url}/field")
    expect(bare.get_by_role("heading", name="Today’s work")).to_be_visible()
    assert [*too_small(bare)] == []
    # Axe is a script: it sees the page as it is drawn without any.
    page.route("**/field", without_scripts)
    page.goto(f"{demo_server.url}/field")
    expect(page.get_by_role("heading", name="Today’s work")).to_be_visible()
    must_be_sound(page)


def without_scripts(route: Route) -> None:
    """What stands in `noscript` belongs to the page, and nothing waits for a script."""
    answer = route.fetch()
    text = re.sub(
        r"</?noscript>|<script.*?</script>|<div id=\"field\".*?</div>",
        "",
        answer.text(),
        flags=re.S,
    )
    route.fulfill(response=answer, body=text)


@pytest.mark.parametrize("path", GONE_BY)
def test_axe_finds_nothing_at_any_width_of_what_the_work_goes_by(
    seen_at_a_desk: Page, demo_server: Server, path: str
) -> None:
    page = seen_at_a_desk
    page.goto(demo_server.url + path)
    must_be_sound_at_each(
        page, *(ViewportSize(width=width, height=height) for width, height in SIZES)
    )


def test_one_item_is_recorded_where_no_script_runs(
    page_without_javascript: Page, demo_server: Server
) -> None:
    page = page_without_javascript
    page.goto(f"{demo_server.url}/field")
    expect(page.get_by_text("Opening…")).to_be_hidden()
    page.get_by_label("Find a car").fill("ZQ")
    page.get_by_role("button", name="Find").click()
    page.locator(".at-car-list a").first.click()
    page.get_by_role("link", name="Record visual", exact=False).click()
    expect(page.get_by_role("heading", name="Before anybody enters the tank")).to_be_visible()
    page.get_by_label("Facility").fill("Made-up Works without scripts")
    page.get_by_role("button", name="Record").last.click()
    expect(page.get_by_role("status")).to_contain_text("is on record")


def test_steps_are_added_where_no_script_runs(
    page_without_javascript: Page, demo_server: Server
) -> None:
    page = page_without_javascript
    page.goto(f"{demo_server.url}/instructions/new?item=leakage")
    page.get_by_label("Owner").fill("x")
    page.get_by_label("What is looked at").fill("The invented joint")
    page.get_by_role("button", name="Another step").click()
    expect(page.get_by_label("What is looked at").first).to_have_value("The invented joint")
    page.get_by_role("button", name="Take step 2 out").click()
    expect(page.get_by_label("What is looked at")).to_have_count(1)
