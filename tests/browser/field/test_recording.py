"""What is tapped and typed on the screens: recorded once, kept through a crash, its own person's alone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

CAR = 12  # of pack.json
FACILITY = "Made-up Works North"
BEGUN = {"happened_on": "2026-11-26", "facility": FACILITY, "facility_address": "1 Invented Lane",
         "station_code": "ZQN1", "items": ["visual", "thickness"]}  # fmt: skip
READ_IT = "I have read this and follow the site's procedures"


@pytest.fixture
def page(browser: Browser, screens: str) -> Iterator[Page]:
    """A tablet with the pack taken along, at no screen yet. A script error fails the test."""
    context = browser.new_context(viewport={"width": 820, "height": 1180}, has_touch=True)
    context.set_default_timeout(15_000)
    errors: list[str] = []
    page = context.new_page()
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(screens)
    ready(page)
    yield page
    context.close()
    assert not errors


def ready(page: Page) -> None:
    expect(page.locator("html[data-ready=yes]")).to_be_attached()


def call(page: Page, name: str, *given: Any) -> Any:
    """Call a function of the tablet's store."""
    script = "async ([name, given]) => (await import('/app/database.js'))[name](...given)"
    return page.evaluate(script, [name, list(given)])


def report(page: Page) -> str:
    key: str = call(page, "begin", CAR, BEGUN)
    return key


def check_gauge(page: Page, key: str) -> None:
    says = {"gauge": "TG-7", "standard_in": "0.500", "read_in": "0.500", "valid_until": None}
    call(page, "add", key, "gauge_check", says)


def go(page: Page, place: str) -> None:
    page.evaluate("place => { location.hash = '#/' + place }", place)
    expect(page.locator("h1")).to_be_focused()


def said(page: Page, key: str, kind: str) -> list[dict[str, Any]]:
    return [each["says"] for each in call(page, "entries", key) if each["kind"] == kind]


def button(page: Page, name: str) -> Any:
    return page.get_by_role("button", name=name, exact=True).first


# However often it is tapped -------------------------------------------------------------------------------------------


def twice(page: Page, name: str) -> None:
    """Tap so fast that the second tap comes while the first is being written."""
    button(page, name).evaluate("one => { one.click(); one.click() }")


def test_a_report_is_begun_once(page: Page) -> None:
    go(page, f"car/{CAR}/begin")
    page.get_by_label("Facility", exact=True).fill(FACILITY)
    page.get_by_label("Day").fill("2026-11-26")
    twice(page, "Begin")
    expect(page.locator("h1")).to_have_text(re.compile("Report"))
    assert len(call(page, "reports")) == 1


def measuring(page: Page) -> str:
    """A report whose gauge is checked, at its readings; gives its key."""
    key = report(page)
    go(page, f"report/{key}/thickness")
    page.get_by_role("textbox", name="Gauge", exact=True).fill("TG-7")
    for label in ("Thickness of the block", "What the gauge read"):
        page.get_by_label(label).fill("0.5")
    twice(page, "Keep the check")
    return key


def test_a_gauge_check_and_a_reading_are_kept_once_and_nothing_is_read_at_the_next_spot(
    page: Page,
) -> None:
    key = measuring(page)
    page.get_by_label("Inches", exact=True).fill("0.440")
    twice(page, "Keep, next")
    expect(page.locator(".cell:not(.unread)")).to_have_count(1)
    page.get_by_label("Inches", exact=True).fill("0.441")
    button(page, "Keep, next").dblclick()
    expect(page.locator(".cell:not(.unread)")).to_have_count(2)
    assert len(said(page, key, "gauge_check")) == 1
    assert [each["inches"] for each in said(page, key, "reading")] == ["0.440", "0.441"]


AT_ONCE = """(field, numbers) => {
  for (const number of numbers) {
    field.value = number;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.form.requestSubmit();
  }
}"""


def test_a_reading_pressed_while_the_one_before_is_being_written_is_kept_at_the_next_spot(
    page: Page,
) -> None:
    key = measuring(page)
    page.get_by_label("Inches", exact=True).evaluate(AT_ONCE, ["0.440", "0.440"])
    expect(page.locator(".cell:not(.unread)")).to_have_count(2)
    kept = said(page, key, "reading")
    assert [each["inches"] for each in kept] == ["0.440", "0.440"]
    assert kept[0]["spot"] != kept[1]["spot"]
    expect(page.get_by_label("Inches", exact=True)).to_have_value("")


@pytest.mark.parametrize(
    ("place", "fields", "choices", "press", "kind"),
    [
        ("leak", {"What was tested": "manway"}, ["Passed"], "Keep the test", "leak_test"),
        ("lining", {"Area": "ring 2"}, ["Sound"], "Keep the area", "lining"),
        ("swap/32", {"Serial on the new one": "ZQ-9"}, [], "Keep the change", "swap"),
        ("item/visual", {}, ["Failed"], "Keep the outcome", "outcome"),
    ],
)
def test_what_a_form_records_is_recorded_once(
    page: Page, place: str, fields: dict[str, str], choices: list[str], press: str, kind: str
) -> None:
    key = report(page)
    go(page, f"report/{key}/{place}")
    while page.get_by_role("button", name=READ_IT).count():
        before = page.get_by_role("button", name=READ_IT).count()
        twice(page, READ_IT)
        expect(page.get_by_role("button", name=READ_IT)).to_have_count(before - 1)
    for label, text in fields.items():
        page.get_by_label(label).fill(text)
    for words in choices:
        page.get_by_text(words, exact=True).last.click()
    twice(page, press)
    settled(page)
    assert len(said(page, key, kind)) == 1
    cautions = [each["caution"] for each in said(page, key, "caution")]
    assert len(cautions) == len(set(cautions))


def settled(page: Page) -> None:
    """All that was begun is written: another write of the same store comes after it, twice for what waited its turn."""
    for _ in range(2):
        page.evaluate(
            "async () => { const { written } = await import('/app/database.js');"
            " await written(['reports', 'entries'], () => {}); await new Promise(setTimeout) }"
        )


def test_taps_on_two_answers_keep_both_in_turn_and_the_same_tap_again_records_nothing(
    page: Page,
) -> None:
    key = report(page)
    go(page, f"report/{key}/item/visual")
    twice(page, READ_IT)
    expect(page.get_by_role("button", name=READ_IT)).to_have_count(0)
    page.locator("li.step").first.evaluate(
        "step => { const [ok, not] = step.querySelectorAll('.answer'); ok.click(); ok.click(); not.click() }"
    )
    pressed = page.locator("li.step").first.get_by_role("button", name="Not OK")
    expect(pressed).to_have_attribute("aria-pressed", "true")
    entries = [each for each in call(page, "entries", key) if each["kind"] == "step"]
    assert [each["says"]["outcome"] for each in entries] == ["ok", "not_ok"]
    assert entries[1]["replaces"] == entries[0]["key"]


# Through a crash, and for nobody else ---------------------------------------------------------------------------------


def test_a_number_that_was_typed_and_not_kept_is_there_again_at_its_spot(page: Page) -> None:
    key = report(page)
    check_gauge(page, key)
    go(page, f"report/{key}/thickness")
    page.locator('.cell[data-spot^="head_a"]').first.click()
    page.get_by_label("Inches", exact=True).fill("0.437")
    heading = page.locator("#spot").inner_text()
    page.reload()
    ready(page)
    expect(page.get_by_label("Inches", exact=True)).to_have_value("0.437")
    expect(page.locator("#spot")).to_have_text(heading)
    page.locator('.cell[data-spot^="head_b"]').first.click()
    expect(page.get_by_label("Inches", exact=True)).to_have_value("")


def test_words_of_a_step_and_the_place_of_a_defect_outlive_a_crash(page: Page) -> None:
    key = report(page)
    go(page, f"report/{key}/item/visual")
    twice(page, READ_IT)
    step = page.locator("li.step").first
    step.get_by_role("button", name="Not OK").click()
    step.get_by_role("textbox").press_sequentially("A crack")
    page.reload()
    ready(page)
    expect(page.locator("li.step").first.get_by_role("textbox")).to_have_value("A crack")
    button(page, "Keep these words").click()
    expect(page.get_by_role("status").filter(has_text="Words kept")).to_be_visible()
    assert said(page, key, "step")[-1]["words"] == "A crack"
    go(page, f"report/{key}/defect")
    page.get_by_text("Left side", exact=True).click()
    page.get_by_label("The place in words").fill("left side, below the ladder")
    page.reload()
    ready(page)
    expect(page.get_by_label("The place in words")).to_have_value("left side, below the ladder")
    expect(page.get_by_role("radio", name="Left side")).to_be_checked()


def test_another_person_sees_nothing_of_what_the_first_one_was_typing(page: Page) -> None:
    go(page, f"car/{CAR}/begin")
    page.get_by_label("Facility", exact=True).fill("What the first one types")
    go(page, f"car/{CAR}")
    page.evaluate(
        "async car => { const store = await import('/app/database.js');"
        " const taken = await store.car(car); await store.setPerson({ id: 8, name: 'Ida Example' });"
        " await store.written(['cars'], (t) => t.objectStore('cars').put({ person: 8, id: car, car: taken })) }",
        CAR,
    )
    go(page, f"car/{CAR}/begin")
    expect(page.get_by_label("Facility", exact=True)).to_have_value("")
    go(page, f"car/{CAR}")
    call(page, "setPerson", {"id": 7, "name": "Ada Example"})
    go(page, f"car/{CAR}/begin")
    expect(page.get_by_label("Facility", exact=True)).to_have_value("What the first one types")


# Asked about, or told at once -----------------------------------------------------------------------------------------


def test_a_day_that_was_over_when_the_car_was_taken_along_is_asked_about(page: Page) -> None:
    page.evaluate(
        """async car => {
          const { car: taken, written } = await import("/app/database.js");
          const found = { ...(await taken(car)), taken_at: "2026-11-26T07:40:00Z" };
          await written(["cars"], (t) => t.objectStore("cars").put({ person: 7, id: car, car: found }));
        }""",
        CAR,
    )
    go(page, f"car/{CAR}/begin")
    page.get_by_label("Facility", exact=True).fill(FACILITY)
    page.get_by_label("Day").fill("2025-10-23")
    button(page, "Begin").click()
    told = page.get_by_role("alert").filter(has_text="2025-10-23 was over")
    expect(told).to_contain_text("Is this tablet's clock right?")
    assert call(page, "reports") == []
    button(page, "Begin").click()
    expect(page.locator("h1")).to_have_text(re.compile("Report"))
    (found,) = call(page, "reports")
    (begun,) = said(page, found["key"], "begun")
    assert (begun["happened_on"], begun["confirmed"]) == ("2025-10-23", True)


@pytest.mark.parametrize(
    ("chosen", "words", "stored"),
    [
        ("Left side", "below the ladder", ("left", None, None)),
        ("A end", None, ("end_a", None, None)),
        (None, "somewhere on the ladder", (None, None, None)),
    ],
)
def test_the_place_of_a_defect_is_as_much_as_was_chosen(
    page: Page, chosen: str | None, words: str | None, stored: tuple[Any, ...]
) -> None:
    key = report(page)
    go(page, f"report/{key}/defect")
    page.get_by_text("Dent", exact=True).click()
    button(page, "Keep the defect").click()
    expect(page.get_by_role("alert")).to_contain_text("want a tap on the drawing or words")
    assert said(page, key, "defect") == []
    if chosen:
        page.get_by_role("group", name="Seen from").get_by_text(chosen, exact=True).click()
    if words:
        page.get_by_label("The place in words").fill(words)
    button(page, "Keep the defect").click()
    expect(page.get_by_role("status").filter(has_text="Kept")).to_be_visible()
    (found,) = said(page, key, "defect")
    assert (found["view"], found["x"], found["y"]) == stored
    assert found["place"] == (words or "A-end head")


@pytest.mark.parametrize(
    ("share", "words"), [(0.1, "left side, A end, upper half"), (0.9, "left side, B end, upper half")]
)  # fmt: skip
def test_each_side_is_drawn_as_someone_beside_it_sees_it(
    page: Page, share: float, words: str
) -> None:
    """From the left side the B end lies at the right hand: geometry, the sides being named as seen from the B end."""
    key = report(page)
    go(page, f"report/{key}/defect")
    page.get_by_text("Left side", exact=True).click()
    drawing = page.locator("svg.car-face")
    box = drawing.bounding_box()
    assert box
    drawing.click(position={"x": box["width"] * share, "y": box["height"] * 0.3})
    expect(page.get_by_label("The place in words")).to_have_value(words)


def test_a_side_of_an_older_entry_is_read_as_it_was_drawn_then(page: Page) -> None:
    """Then the words alone told left from right, and the left side was drawn as seen through the car."""
    told = page.evaluate(
        "async () => { const { placeOf } = await import('/app/drawing.js');"
        " return [placeOf({ view: 'side', x: 0.25, y: 0.3, place: 'left side, B end' }),"
        " placeOf({ view: 'side', x: 0.25, y: 0.3, place: 'right side, B end' }),"
        " placeOf({ view: 'left', x: 0.25, y: 0.3, place: '' })] }"
    )
    places = [("left", 0.75), ("right", 0.25), ("left", 0.25)]
    assert [(each["face"], each["x"]) for each in told] == places


def test_what_is_longer_than_the_register_keeps_is_told_at_once(page: Page) -> None:
    key = report(page)
    go(page, f"report/{key}/lining")
    twice(page, READ_IT)
    page.get_by_text("Sound", exact=True).click()
    page.get_by_label("Area").fill("x" * 4_000)
    button(page, "Keep the area").click()
    expect(page.locator(".problem")).to_have_text("Got 4000 letters; want at most 200.")
    expect(page.get_by_label("Area")).to_have_value("x" * 4_000)
    assert said(page, key, "lining") == []


def test_a_pass_that_the_readings_speak_against_is_asked_about_and_signed_only_with_a_tick(
    page: Page,
) -> None:
    key = report(page)
    check_gauge(page, key)
    reading = {"zone": "shell_top", "ring": 1, "spot": "ring 1, 12 o'clock", "inches": "0.20"}
    call(page, "add", key, "reading", reading | {"extent": "general", "confirmed": True})
    for item in ("visual", "thickness"):
        go(page, f"report/{key}/item/{item}")
        page.get_by_role("group", name="The item").get_by_text("Passed", exact=True).click()
        button(page, "Keep the outcome").click()
        expect(page.get_by_role("alert")).to_contain_text("Press once more")
        assert len(said(page, key, "outcome")) == (item == "thickness")
        button(page, "Keep the outcome").click()
        expect(button(page, "Correct the outcome")).to_be_visible()
    go(page, f"report/{key}/sign")
    main = page.get_by_role("main") if page.get_by_role("main").count() else page.locator("body")
    expect(main).to_contain_text(
        "Ring 1, 12 o'clock reads 0.20 in, which is condemned, and yet the"
    )
    expect(main).to_contain_text("2 of 2 steps are not answered, and yet the visual inspection")
    page.get_by_label("Your name").fill("I. Nobody")
    pad = page.locator("canvas.signature")
    pad.scroll_into_view_if_needed()
    pad.click(position={"x": 60, "y": 60})
    button(page, "Sign").click()
    expect(page.locator(".problem")).to_contain_text("want your tick once you have looked again")
    page.get_by_text("I looked again").click()
    button(page, "Sign").click()
    expect(page.locator("h1")).to_have_text(re.compile("Report"))
    (signed,) = said(page, key, "signed")
    assert signed["confirmed"] is True
