"""A tablet that changes hands, and one whose storage is full, with the register itself: nothing is lost or mixed up."""

from __future__ import annotations

from time import monotonic, sleep

import pytest
from playwright.sync_api import Page, expect

from app.store.db import make_engine, sessions
from tests.browser.field.inspection.conftest import Device
from tests.browser.field.inspection.network import Network
from tests.browser.field.inspection.test_meanwhile import begun, head_says, sent
from tests.browser.field.inspection.test_whole import READINGS, asked
from tests.browser.field.inspection.yard import CAR
from tests.browser.field.storage import SMALL
from tests.fixtures.people import COOKIES, beforehand, let_in
from tests.fixtures.server import Server

OTHER_KEY = "another-key-of-the-tests-and-of-nothing-else"
BY_PERSON = (
    "select p.name, count(*) from field_entry e join report r on r.id = e.report_id"
    " join person p on p.id = r.person_id where e.kind in ('reading', 'photograph', 'lining') group by 1"
)

# The screen is drawn anew while a reading is written; `turns` of the store lie between the two.
MEANWHILE = """async ([program, inches, turns]) => {
  const { changed, entries } = await import(program.replace("main.js", "database.js"));
  document.activeElement.blur();  // while a field has the focus nothing is drawn anew
  changed.dispatchEvent(new Event("changed"));
  for (let turn = 0; turn < turns; turn++) await entries("none");
  const field = document.querySelector("#number");
  field.focus();
  field.value = inches;
  field.dispatchEvent(new Event("input"));
  field.form.requestSubmit();
}"""

TYPED = "() => JSON.stringify(localStorage)"
TYPED_AGAIN = """(held) => {
  for (const [name, value] of Object.entries(JSON.parse(held))) localStorage.setItem(name, value);
}"""


@pytest.fixture
def other(yard_server: Server) -> str:
    """The key of the sign-in of another person, who may record as well."""
    engine = make_engine(yard_server.database_url)
    with beforehand(sessions(engine)) as db:
        let_in(db, "Test Other", OTHER_KEY)
    engine.dispose()
    return OTHER_KEY


def test_the_next_person_sees_and_sends_nothing_of_the_first_who_finds_all_of_it_again(
    tablet: Device, wire: Network, yard_server: Server, other: str
) -> None:
    inspector, report = begun(tablet)
    head_says(inspector, "nothing waits")
    wire.cut = True
    inspector.check_gauge(report)
    inspector.readings(report, READINGS[:3])
    inspector.page.get_by_label("Inches", exact=True).fill("0.449")
    inspector.photographs(report, "photographs", 1)
    inspector.at(report, "lining")
    inspector.read_cautions()
    inspector.fill(Area="What the first one types")
    wire.cut = False

    tablet.sign_in(other)
    inspector.open()
    head_says(inspector, "Test Other")
    main = inspector.page.get_by_role("main")
    expect(main).to_contain_text("No car is on this tablet yet")
    inspector.open(f"report/{report}/lining")
    expect(main).to_contain_text("it belongs to another person")
    inspector.take_along()
    theirs = inspector.begin(CAR, "visual")
    inspector.at(theirs, "lining")
    inspector.read_cautions()
    expect(inspector.page.get_by_label("Area")).to_have_value("")
    inspector.lining(theirs, "The second one's area")
    arrived(yard_server, [("Test Other", 1)])
    assert asked(yard_server, "select distinct kind from field_entry where kind = 'reading'") == []

    tablet.sign_in(COOKIES["session"])
    inspector.open(f"report/{report}/thickness")
    head_says(inspector, "Test Planner")
    expect(inspector.page.get_by_label("Inches", exact=True)).to_have_value("0.449")
    inspector.at(report, "lining")
    expect(inspector.page.get_by_label("Area")).to_have_value("What the first one types")
    arrived(yard_server, [("Test Other", 1), ("Test Planner", 4)])


def test_a_reading_written_while_the_screen_is_drawn_anew_is_seen(
    tablet: Device, wire: Network
) -> None:
    inspector, report = begun(tablet)
    head_says(inspector, "nothing waits")
    wire.cut = True
    inspector.check_gauge(report)
    program = inspector.page.locator('script[type="module"]').first.get_attribute("src")
    for turns, inches in enumerate(READINGS[:8]):
        inspector.page.evaluate(MEANWHILE, [program, inches, turns])
        expect(inspector.page.locator(".cell:not(.unread)")).to_have_count(turns + 1)


def test_a_reading_recorded_just_before_a_crash_is_not_there_to_be_typed_over(
    tablet: Device, wire: Network
) -> None:
    """The browser writes to disk later that what was typed is gone than the reading itself."""
    inspector, report = begun(tablet)
    wire.cut = True
    inspector.check_gauge(report)
    inspector.readings(report, READINGS[:1])
    field = inspector.page.get_by_label("Inches", exact=True)
    field.fill(READINGS[1])
    held = inspector.page.evaluate(TYPED)
    field.press("Enter")
    expect(inspector.page.locator(".cell:not(.unread)")).to_have_count(2)
    inspector.page.evaluate(TYPED_AGAIN, held)
    inspector.open(f"report/{report}/thickness")
    expect(field).to_have_value("")
    inspector.readings(report, READINGS[2:4])  # each at a spot of its own
    field.fill(READINGS[4])
    inspector.open(f"report/{report}/thickness")
    expect(field).to_have_value(READINGS[4])


def test_a_finding_recorded_just_before_a_crash_is_not_there_to_be_recorded_twice(
    tablet: Device, wire: Network
) -> None:
    inspector, report = begun(tablet)
    wire.cut = True
    inspector.at(report, "lining")
    inspector.read_cautions()
    inspector.fill(Area="Bottom, all of it")
    held = inspector.page.evaluate(TYPED)
    inspector.lining(report, "Bottom, all of it")
    inspector.page.evaluate(TYPED_AGAIN, held)
    inspector.open(f"report/{report}/lining")
    expect(inspector.page.locator(".card")).to_have_count(1)
    expect(inspector.page.get_by_label("Area")).to_have_value("")


def arrived(server: Server, wanted: list[tuple[str, int]]) -> None:
    """The register holds so many findings of each person; the head of a screen may say so a moment too early."""
    until = monotonic() + 30
    while (found := sorted(asked(server, BY_PERSON))) != wanted and monotonic() < until:
        sleep(0.2)
    assert found == wanted


def allow(page: Page, room: int) -> None:
    page.evaluate("bytes => { globalThis.roomLeft = bytes }", room)


def test_on_a_full_tablet_a_reading_is_refused_in_words_kept_as_typed_and_taken_once_there_is_room(
    tablet: Device, wire: Network, yard_server: Server
) -> None:
    inspector, report = begun(tablet)
    page = inspector.page
    page.add_init_script(SMALL)
    inspector.open(f"report/{report}/thickness")
    inspector.check_gauge(report)
    wire.cut = True
    inspector.readings(report, READINGS[:2])
    allow(page, 0)
    inspector.readings(report, READINGS[2:3])  # in the room that was held back
    head_says(inspector, "Little room is left")
    allow(page, 0)
    field = page.get_by_label("Inches", exact=True)
    field.fill("0.447")
    field.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("storage is full, so this was not written")
    expect(field).to_have_value("0.447")
    inspector.open(f"report/{report}/thickness")
    expect(field).to_have_value("0.447")
    field.press("Enter")
    expect(page.locator(".cell:not(.unread)")).to_have_count(4)
    inspector.outcome(report, "visual")
    inspector.outcome(report, "thickness")
    inspector.sign(report)
    wire.cut = False
    page.evaluate("dispatchEvent(new Event('online'))")
    sent(inspector, report)
    inches = asked(
        yard_server,
        "select json_extract(says, '$.inches') from field_entry where kind = 'reading' order by id",
    )
    assert [each for (each,) in inches] == [*READINGS[:3], "0.447"]
