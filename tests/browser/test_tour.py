"""The first steps on the demo, walked by somebody who signs in to it for the first time, at a desk and on a tablet."""

from playwright.sync_api import Page, expect

from tests.browser.sound import must_be_sound
from tests.fixtures.server import Server

LEADS = {
    "A car, and why": "ZQTX 120", "What is overdue": "Overdue", "Try a change": "Try a change",
    "A plan": "New plan", "The tablet at the car": "Today's work", "Proof for an auditor": "Evidence packet",
}  # fmt: skip


def walk(page: Page, address: str) -> None:
    page.goto(address)
    panel = page.get_by_role("region", name="First steps in the demo")
    for done, (step, heading) in enumerate(LEADS.items()):
        expect(panel.get_by_text("looked at", exact=True)).to_have_count(done)
        panel.get_by_role("link", name=step).click()
        expect(page.locator("h1")).to_contain_text(heading)
        page.goto(address)
    expect(panel).to_contain_text("You have looked at all of it.")
    must_be_sound(page)
    panel.get_by_role("button", name="Put this away").click()
    expect(panel).to_have_count(0)
    page.get_by_role("link", name="First steps").click()
    page.get_by_role("button", name="Begin anew, on the home page").click()
    expect(panel).to_contain_text("6 steps are left")


def test_the_demo_is_walked_at_a_desk(page: Page, demo_server: Server) -> None:
    walk(page, f"{demo_server.url}/")


def test_the_demo_is_walked_on_a_tablet(tablet: Page, demo_server: Server) -> None:
    walk(tablet, f"{demo_server.url}/")
