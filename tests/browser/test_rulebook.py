"""The rulebook in Chromium: nothing for axe to find, and an owner's programme from its file to dates and back."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.sound import must_be_sound, must_be_sound_at_each
from tests.fixtures.browser import DESK, TABLET
from tests.fixtures.server import Server

PATIENCE_MS = 60_000  # the worker of a busy machine
OWNER = "Example Alpha Tank Lines (invented)"
PROGRAMME = f"""
id = "zq-alpha-2027"
edition = "Invented programme of January 2027"
base = "us-49cfr"
owner = "{OWNER}"

[rules.visual]
interval_months = 84
text = "The owner has the tank inspected visually every 7 years"
citation = "Invented programme, 4.2"
confidence = "verified"
"""
PAGES = ["/rulebook", "/rulebook/tables", "/rulebook/questions", "/rulebook/editions"]


@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_nothing_and_nothing_sticks_out(
    seen_at_a_desk: Page, demo_server: Server, path: str
) -> None:
    seen_at_a_desk.goto(demo_server.url + path)
    must_be_sound_at_each(seen_at_a_desk, DESK, TABLET)


def test_an_owners_programme_is_loaded_looked_at_put_in_force_and_taken_back(
    page: Page, tablet: Page, demo_server: Server, tmp_path: Path
) -> None:
    _be_told_what_is_wrong(page, demo_server)
    _load(page, tmp_path)
    _see_its_effect(page, tablet)
    _put_it_in_force(page)
    _see_the_dates_moved(page, demo_server)
    _take_it_back(page, demo_server)


def _be_told_what_is_wrong(page: Page, server: Server) -> None:
    page.goto(server.url)
    main = page.get_by_role("navigation", name="Main")
    main.get_by_role("link", name="Rules").click()
    page.get_by_role("navigation", name="Rulebook").get_by_role("link", name="Editions").click()
    page.get_by_label("Or the document itself").fill(PROGRAMME.replace("84", "144"))
    page.get_by_role("button", name="Load it").click()
    told = page.get_by_role("alert").filter(has_text="Nothing was loaded yet")
    expect(told).to_contain_text("rules.visual.interval_months")
    expect(told).to_contain_text("at most 120 months as in us-49cfr, got 144")
    expect(page.get_by_label("Or the document itself")).to_have_value(re.compile("= 144"))
    must_be_sound(page)
    page.get_by_label("Or the document itself").fill("")


def _load(page: Page, folder: Path) -> None:
    path = folder / "programme.toml"
    path.write_text(PROGRAMME)
    page.get_by_label("File", exact=True).set_input_files(path)
    page.get_by_role("button", name="Load it").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("zq-alpha-2027")
    row = page.get_by_role("row").filter(has_text="rules.visual.interval_months")
    expect(row).to_contain_text("120")
    expect(row).to_contain_text("84")
    must_be_sound(page)


def _see_its_effect(page: Page, tablet: Page) -> None:
    page.get_by_role("link", name="See its effect on the fleet").click()
    expect(page.get_by_role("main")).to_contain_text(f"for the cars of {OWNER}")
    seen = page.get_by_role("row").filter(has_text="Visual inspection").first
    # Three years of 365 days and a leap day at most, or two.
    expect(seen).to_contain_text("1 096 days")
    expect(seen).to_contain_text("0 cars")  # none is later
    cars = page.locator("tbody").last.get_by_role("row")
    expect(cars.first).to_contain_text("days earlier")
    must_be_sound(page)
    tablet.goto(page.url)
    must_be_sound(tablet)


def _put_it_in_force(page: Page) -> None:
    page.get_by_role("button", name=f"Put in force for the cars of {OWNER}").click()
    done = page.get_by_role("heading", name="In force", exact=True)
    expect(done).to_be_visible(timeout=PATIENCE_MS)
    expect(page.get_by_role("main")).to_contain_text("were worked out anew")
    must_be_sound(page)


def _see_the_dates_moved(page: Page, server: Server) -> None:
    page.goto(f"{server.url}/due?rule=visual&cars=all")
    rows = page.get_by_role("row").filter(has_text=OWNER).filter(has_text="+ 84 months")
    expect(rows.first).to_contain_text("Invented programme, 4.2")
    rows.first.get_by_role("link", name=re.compile("^ZQ")).click()
    visual = page.get_by_role("row").filter(has_text="Visual inspection").first
    expect(visual).to_contain_text("84 months")
    page.goto(f"{server.url}/rulebook")
    expect(page.get_by_role("main")).to_contain_text(f"{OWNER} go by zq-alpha-2027")


def _take_it_back(page: Page, server: Server) -> None:
    page.goto(f"{server.url}/rulebook/editions")
    page.get_by_role("link", name="Take back zq-alpha-2027").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Effect of going back")
    expect(page.locator("tbody").last.get_by_role("row").first).to_contain_text("days later")
    page.get_by_role("button", name=f"Take it back for the cars of {OWNER}").click()
    expect(page.get_by_role("heading", name="Taken back")).to_be_visible(timeout=PATIENCE_MS)
    page.goto(f"{server.url}/due?rule=visual&cars=all")
    expect(page.get_by_role("main")).not_to_contain_text("+ 84 months")
    page.goto(f"{server.url}/rulebook/editions")
    kept = page.locator("section", has_text="What was in force when").get_by_role("row")
    expect(kept.filter(has_text="back to what holds for all")).to_contain_text("Test Planner")
    expect(kept.filter(has_text="zq-alpha-2027")).to_contain_text("Test Planner")
    must_be_sound(page)
