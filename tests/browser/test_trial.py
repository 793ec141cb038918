"""Trials and the printed page in Chromium: the walk of a planner, by keyboard, without JavaScript, nothing for axe."""

import pytest
from playwright.sync_api import Page, expect

from app.store.db import make_engine, sessions, write_session
from tests.browser.sound import must_be_sound_at_each
from tests.fixtures.browser import DESK, TABLET
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
    "/trial", "/trial?lading.corrosive_or_reactive=no", "/trial?lining.what=applied",
    "/worked-out", "", "/../../fleet/trial", "/../../fleet/trial?lading.corrosive_or_reactive=no",
)  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_nothing_and_nothing_sticks_out(seen_at_a_desk: Page, car: str, path: str):
    seen_at_a_desk.goto(car + path)
    _unfold(seen_at_a_desk)
    must_be_sound_at_each(seen_at_a_desk, DESK, TABLET)


def test_a_planner_tries_a_lading_unfolds_why_and_sends_the_link(page: Page, car: str):
    page.goto(car)
    page.get_by_role("link", name="Try a change").click()
    page.get_by_role("textbox", name="Lading", exact=True).fill("Soybean oil")
    page.get_by_label("Hazardous material").select_option("no")
    page.get_by_label("Corrosive or reactive to the tank").select_option("no")
    page.get_by_role("button", name="Try it").click()
    expect(page.get_by_role("region", name="As it is")).to_contain_text("May not be loaded")
    row = page.get_by_role("row").filter(has_text="Thickness")
    # 49 CFR 180.509(f)(2), 2019 edition.
    expect(row).to_contain_text("120 instead of 60 months")
    row.locator("summary").click()
    expect(row).to_contain_text("The lading is stated not to be corrosive or reactive to the tank")
    sent = page.url
    assert sent.count("=") == 3
    page.goto("about:blank")
    page.goto(sent)
    expect(page.get_by_role("row").filter(has_text="Thickness")).to_contain_text("2028-03-15")
    expect(page.get_by_role("textbox", name="Lading", exact=True)).to_have_value("Soybean oil")
    page.goto(car)
    expect(page.get_by_role("row").filter(has_text="Thickness").first).to_contain_text("2023-03-15")


def test_a_trial_works_by_keyboard_without_javascript(page_without_javascript: Page, car: str):
    page = page_without_javascript
    page.goto(f"{car}/trial")
    page.locator("summary").filter(has_text="The owner’s intervals").press("Enter")
    owner = page.get_by_role("group", name="The owner’s intervals")
    owner.get_by_label("Service equipment").press_sequentially("24")
    page.keyboard.press("Enter")
    expect(page.locator("tr.moves-earlier")).to_contain_text("Service equipment")


def test_what_is_wrong_keeps_what_was_typed_and_leads_to_its_field(page: Page, car: str):
    page.goto(f"{car}/trial?lining.what=applied&lading.commodity=Acid")
    expect(page.get_by_role("alert").filter(has_text="Not tried yet")).to_be_visible()
    page.get_by_role("link", name="Lining: On").click()
    expect(page.get_by_label("On", exact=True)).to_be_in_viewport()
    expect(page.get_by_role("textbox", name="Lading", exact=True)).to_have_value("Acid")


def test_a_selection_goes_from_the_register_to_one_car(page: Page, car: str):
    page.goto(f"{car}/../../fleet?q=ZQKX")
    page.get_by_role("link", name="Try a change on these").click()
    page.locator("summary").filter(has_text="How dates are read").click()
    page.get_by_label("A due date counts to").select_option("year_end")
    page.get_by_role("button", name="Try it").click()
    expect(page.get_by_role("heading", name="1 of 1 car would change")).to_be_visible()
    page.get_by_role("link", name="why").first.click()
    expect(page.get_by_role("heading", name="Due items before and after")).to_be_visible()


def test_on_paper_the_worked_out_page_is_whole(page: Page, car: str):
    page.goto(car)
    page.get_by_role("link", name="How these dates were worked out").click()
    page.emulate_media(media="print")
    expect(page.get_by_role("link", name="As JSON")).to_be_hidden()
    for heading in ("Thickness", "Relief device", "Air brake", "Thickness lines"):
        expect(page.get_by_role("heading", name=heading, exact=True)).to_be_visible()
    expect(page.get_by_text("What would change it").first).to_be_visible()


def _unfold(page: Page) -> None:
    page.evaluate("document.querySelectorAll('main details').forEach(each => { each.open = true })")
