"""An audit of the demo fleet in a browser: drawn, answered by keyboard, a finding closed, the summary printed."""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.sound import must_be_sound
from tests.fixtures.server import Server


@pytest.fixture(scope="module")
def audit() -> dict[str, str]:
    """Where the audit is that the first test draws, for those that only look."""
    return {}


def test_an_audit_goes_from_the_draw_to_the_closing(page: Page, demo_server: Server, audit) -> None:
    page.goto(f"{demo_server.url}/audits/new?of=fleet&q=ZQKX")
    page.get_by_label("Title").fill("Audit in a browser")
    page.get_by_label("Size of the sample").fill("3")
    page.get_by_label("Seed").fill("4711")
    page.get_by_label("Points of your own").fill("Is the invented seal whole?")
    page.get_by_role("button", name="Draw the sample").click()
    expect(page.get_by_text("The sample is drawn")).to_be_visible()
    audit["address"] = page.url.split("?")[0]
    must_be_sound(page)
    page.locator("tbody a.car").first.click()
    audit["car"] = page.url
    # By keyboard: a dot is reached by Tab and moved by arrows.
    page.get_by_role("radio", name="Not looked at").first.focus()
    page.keyboard.press("ArrowRight")
    expect(page.get_by_role("radio", name="Conforms").first).to_be_checked()
    page.get_by_role("button", name="Record the answers").press("Enter")
    expect(page.get_by_text("The answers of car 1 are recorded.")).to_be_visible()
    page.get_by_role("link", name="Record a finding on point 1", exact=True).click()
    page.get_by_label("What is wrong").fill("A paper lacks.")
    page.get_by_label("How bad it is").select_option("mend")
    page.get_by_label("Who sees to it").fill("A. Keeper")
    must_be_sound(page)
    page.get_by_role("button", name="Record the finding").click()
    audit["finding"] = page.url
    must_be_sound(page)
    page.get_by_label("What was done").fill("The paper was found.")
    page.get_by_label("Where the proof of it is").fill("Folder 7")
    page.get_by_role("button", name="Close the finding").click()
    expect(page.get_by_text("The finding is closed.")).to_be_visible()


@pytest.mark.parametrize("name", ["address", "car", "finding"])
def test_axe_finds_nothing_on_a_tablet(seen_on_a_tablet: Page, audit, name: str) -> None:
    seen_on_a_tablet.goto(audit[name])
    must_be_sound(seen_on_a_tablet)


def test_the_summary_prints_with_room_to_sign(page: Page, audit) -> None:
    page.goto(f"{audit['address']}/summary")
    must_be_sound(page)
    expect(page.get_by_text("Audited by, on")).to_be_hidden()
    page.emulate_media(media="print")
    expect(page.get_by_text("Audited by, on")).to_be_visible()
