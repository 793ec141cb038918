"""The pages of a car in Chromium: verdicts at once, by keyboard, without JavaScript, nothing for axe to find."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from app.store.db import make_engine, sessions, write_session
from tests.browser.sound import nothing_for_axe
from tests.fixtures.server import Server
from tests.pages.car_cast import acid_car, with_valves


@pytest.fixture(scope="module")
def car(server: Server) -> str:
    """The address of a car in acid with two relief valves."""
    engine = make_engine(server.database_url)
    with write_session(sessions(engine)) as db:
        key = acid_car(db)
        with_valves(db, key)
    engine.dispose()
    return f"{server.url}/cars/{key}"


PAGES = (
    "", "/events/new", "/facts/lading", "/facts/details", "/facts/owner", "/components/new",
    "/../../installations/2/swap", "/../../installations/2/remove", "/../../events/1/correct",
    "/../../events/1/withdraw", "/../new", "/../../record", "/../../record?q=ZQKX",
    "?as_of=2026-11-21&known=2026-11-25", "?as_of=2020-01-01", "/visits/new", "/trend", "/panel",
)  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_nothing_at_a_desk(seen_at_a_desk: Page, car: str, path: str):
    seen_at_a_desk.goto(car + path)
    nothing_for_axe(seen_at_a_desk)


@pytest.mark.parametrize("path", PAGES)
def test_on_a_tablet_nothing_sticks_out_and_every_control_can_be_hit(
    seen_on_a_tablet: Page, car: str, path: str
):
    page = seen_on_a_tablet
    page.goto(car + path)
    assert page.evaluate("document.documentElement.scrollWidth") <= 820
    assert _too_small(page) == []


def test_a_form_with_everything_wrong_pleases_axe_too(page: Page, car: str):
    page.goto(f"{car}/events/new")
    page.get_by_label("Inches, reading 1").fill("4.37")
    page.get_by_role("button", name="Record", exact=True).last.click()
    expect(page.get_by_role("alert").filter(has_text="Nothing was recorded yet")).to_be_visible()
    nothing_for_axe(page)


def test_a_reading_is_judged_while_the_form_is_filled(page: Page, car: str):
    page.goto(f"{car}/events/new")
    page.get_by_label("Inches, reading 2").fill("0.374")
    page.get_by_label("Inches, reading 2").press("Tab")
    row = page.get_by_role("row").filter(has=page.get_by_label("Inches, reading 2"))
    # Bottom of an unlined DOT 111A100W1: line D at 0.375 (49 CFR 180.509(g), 2019 edition).
    expect(row).to_contain_text("condemned")
    expect(row).to_contain_text("0.001 in below line D")


def test_recording_by_keyboard_alone_moves_the_date(page: Page, car: str):
    page.goto(f"{car}/events/new")
    _tab_to(page, "Structural integrity")
    page.keyboard.press("Space")
    _tab_to(page, "Day")
    page.keyboard.type("2026-11-02")
    _tab_to(page, "Facility")
    page.keyboard.type("Shop K")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Recorded")
    moved = page.get_by_role("row").filter(has_text="Structural integrity")
    expect(moved).to_contain_text("2028-03-15")
    expect(moved).to_contain_text("2036-11-02")


def test_recording_works_without_javascript(page_without_javascript: Page, car: str):
    page = page_without_javascript
    page.goto(car)
    page.get_by_role("link", name="Record an inspection").click()
    page.get_by_label("Safety systems").first.check()
    page.get_by_label("Day").fill("2026-11-03")
    page.get_by_role("button", name="More rows").click()
    expect(page.get_by_label("Day")).to_have_value("2026-11-03")
    page.get_by_role("button", name="Record", exact=True).last.click()
    expect(page.get_by_role("row").filter(has_text="Safety systems")).to_contain_text("2036-11-03")


@pytest.mark.parametrize("scripted", [True, False])
@pytest.mark.parametrize("path", ["/events/new", "/../../record"])
def test_the_outcome_is_asked_for_only_when_something_was_inspected(
    page: Page, page_without_javascript: Page, car: str, path: str, scripted: bool
):
    shown = page if scripted else page_without_javascript
    shown.goto(car + path)
    outcome = shown.get_by_role("group", name="Outcome")
    expect(outcome).to_be_hidden()
    shown.get_by_text("Work done or damage to the car").click()
    shown.get_by_label("Damage", exact=True).check()
    expect(outcome).to_be_hidden()
    shown.get_by_label("Visual inspection").first.check()
    expect(outcome).to_be_visible()
    shown.get_by_label("Visual inspection").first.uncheck()
    expect(outcome).to_be_hidden()


def test_the_menu_of_the_car_closes_as_menus_do(page: Page, car: str):
    page.goto(car)
    menu = page.locator(".menu", has_text="Change something else")
    summary, first = menu.locator("summary"), menu.get_by_role("link").first
    summary.click()
    expect(first).to_be_visible()
    first.focus()
    page.keyboard.press("Escape")
    expect(first).to_be_hidden()
    expect(summary).to_be_focused()
    summary.click()
    page.get_by_role("heading", name="History").click()
    expect(first).to_be_hidden()
    summary.click()
    expect(first).to_be_visible()
    summary.click()
    expect(first).to_be_hidden()


def test_the_menu_of_the_car_opens_and_closes_without_javascript(
    page_without_javascript: Page, car: str
):
    page_without_javascript.goto(car)
    for name, held in (("Change something else", "a"), ("Look back", "input")):
        menu = page_without_javascript.locator(".menu", has_text=name)
        for shown in (True, False):
            menu.locator("summary").click()
            expect(menu.locator(held).first).to_be_visible(visible=shown)


def test_reasons_unfold_in_place(page: Page, car: str):
    page.goto(car)
    row = page.get_by_role("row").filter(has_text="Thickness").first
    more = row.get_by_role("listitem").first
    expect(more).to_be_hidden()
    row.locator("summary").click()
    expect(more).to_be_visible()


def test_on_paper_nothing_stays_folded(page: Page, car: str, tmp_path: Path):
    page.goto(car)
    page.emulate_media(media="print")
    for item in page.locator(".due-items .fold li").all():
        assert item.evaluate("each => each.getBoundingClientRect().height") > 0
    expect(page.get_by_role("link", name="Record an inspection")).to_be_hidden()


def _tab_to(page: Page, label: str) -> None:
    """Press Tab until the control of this label has the focus."""
    wanted = page.get_by_label(label, exact=False).first
    for _ in range(60):
        page.keyboard.press("Tab")
        if wanted.evaluate("each => each === document.activeElement"):
            return
    pytest.fail(f"{label} cannot be reached by keyboard")


def _too_small(page: Page) -> list[str]:
    """Controls of the page's main part that are lower than 44 px; a box counts with its label."""
    low = page.evaluate(
        """() => [...document.querySelectorAll(
            'main button, main input:not([type=hidden]), main select, main textarea, main summary, main a')]
          .map(each => [each, (each.closest('label') || each).getBoundingClientRect()])
          .filter(([, box]) => box.width > 1 && box.height > 1 && box.height < 43.5)
          .map(([each]) => each.outerHTML.slice(0, 90))"""
    )
    return [re.sub(r"\s+", " ", each) for each in low]
