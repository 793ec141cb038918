"""Every screen of the tablet: sound by axe, letters at 7:1 and 18 px, targets for gloves, at every width and way up."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.browser.field.inspection.walking import Inspector
from tests.browser.field.inspection.yard import CAR, yard
from tests.fixtures.people import COOKIES
from tests.fixtures.server import Server

# Upright and on its side; 360 is a telephone, 1024 a tablet on its side.
SIZES = ((360, 740), (740, 360), (768, 1024), (1024, 768))
OF_THE_TABLET = ("", "find", "scan", "taking", "waiting", "car/1", "car/1/begin")
OF_A_REPORT = (
    "", "item/visual", "item/thickness", "thickness", "benches", "bench/1", "lining", "leak", "defect",
    "swap", "swap/1", "swap/new", "photographs", "entries", "begun", "sign",
)  # fmt: skip
# Where the register did not take what was sent, and what it took: a report of each kind, and the screen's place in it.
OF_TROUBLES = (
    ("refused", ""), ("refused", "mend/{entry}"), ("conflict", ""), ("conflict", "conflict/{entry}"),
    ("stored", ""), ("stored", "sign"), ("stored", "lining"),
)  # fmt: skip
# Reports as they are once the register answered, put into the tablet's store as that would.
TROUBLES = """async ([at, car]) => {
  const db = await import(at);
  const begun = { happened_on: new Date().toISOString().slice(0, 10), facility: "Invented Tank Car Works" };
  const made = {};
  const make = async (state, kind, says, more) => {
    const report = await db.begin(car, begun);
    const [first] = await db.entries(report);
    const entry = await db.add(report, kind, says);
    await db.written(["entries"], async (t) => {
      await t.objectStore("entries").put({ ...first, state: "stored" });
      await t.objectStore("entries").put({ ...entry, state, ...more });
    });
    made[state] = { report, entry: entry.key };
  };
  const other = { item: "visual", event_id: 7, happened_on: begun.happened_on, outcome: "pass",
    facility: "Made-up Shop", inspector: "Otto Other", recorded_by: "Otto Other",
    recorded_at: new Date().toISOString() };
  const signed = { name: "I. Nobody", method: "drawn", strokes: [[[0.1, 0.2], [0.5, 0.6]]], code: null };
  await make("refused", "lining", { area: "Ring 2", condition: "sound", spark_volts: null, holidays: null, words: "" },
    { faults: [{ path: "says.area", problem: "must be at most 200 letters" }] });
  await make("conflict", "signed", signed, { others: [other] });
  await make("stored", "signed", signed, {});
  return made;
}"""
RULES = {"rules": {"color-contrast-enhanced": {"enabled": True}, "target-size": {"enabled": True}}}
WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
# What is pressed with a glove and lower or narrower than 44 px, and letters below 18 px; a link among words is as high
# as they are.
SMALL = """() => {
  const seen = (each) => getComputedStyle(each).visibility === "visible" && !each.closest(".hidden");
  const shown = (each) => each.offsetParent && seen(each);
  const pressed = [...document.querySelectorAll("a, button, input, select, textarea, summary")].filter(shown)
    .filter((each) => getComputedStyle(each).display !== "inline");
  const box = (each) => (each.closest("label") ?? each).getBoundingClientRect();
  const low = pressed.filter((each) => box(each).height < 44 || box(each).width < 44);
  const letters = [...document.querySelectorAll("body *")].filter(shown)
    .filter((each) => [...each.childNodes].some((one) => one.nodeType === 3 && one.textContent.trim()))
    .filter((each) => parseFloat(getComputedStyle(each).fontSize) < 18);
  return [...low, ...letters].map((each) => each.outerHTML.slice(0, 140));
}"""


Troubles = dict[str, dict[str, str]]


@pytest.fixture(scope="module")
def at_work(
    browser: Browser, sqlite_template, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Inspector, str, Troubles]]:
    """Somebody in the middle of a report, with something of each kind recorded, and reports that wait for a person."""
    with yard(sqlite_template, tmp_path_factory.mktemp("yard")) as running:
        context = browser.new_context(viewport={"width": 768, "height": 1024}, has_touch=True)
        context.set_default_timeout(15_000)
        context.add_cookies(
            [{"name": name, "value": value, "url": running.url} for name, value in COOKIES.items()]
        )
        inspector = Inspector(context.new_page(), running.url)
        report = half_done(inspector, running)
        yield inspector, report, troubles(inspector)
        context.close()


def half_done(inspector: Inspector, running: Server) -> str:
    inspector.take_along()
    report = inspector.begin(CAR, "visual", "thickness", "lining")
    inspector.check_gauge(report)
    inspector.readings(report, ["0.44", "0.41"])
    inspector.unlikely(report, "0.36")
    inspector.bench(report)
    inspector.lining(report)
    inspector.leak(report)
    inspector.defect(report)
    inspector.swap(report)
    inspector.photographs(report, "photographs", 1)
    inspector.steps(report, "visual")
    return report


def troubles(inspector: Inspector) -> Troubles:
    program = str(inspector.page.locator("script[type=module]").first.get_attribute("src"))
    found: Troubles = inspector.page.evaluate(
        TROUBLES, [program.replace("main.js", "database.js"), 1]
    )
    return found


AtWork = tuple[Inspector, str, Troubles]


@pytest.mark.parametrize("place", OF_THE_TABLET)
def test_a_screen_of_the_tablet_is_sound(at_work: AtWork, place: str) -> None:
    must_be_sound(at_work[0].open(place).page)


@pytest.mark.parametrize("place", OF_A_REPORT)
def test_a_screen_of_a_report_is_sound(at_work: AtWork, place: str) -> None:
    inspector, report, _ = at_work
    must_be_sound(inspector.open(f"report/{report}/{place}".rstrip("/")).page)


@pytest.mark.parametrize(("state", "place"), OF_TROUBLES)
def test_a_screen_of_what_the_register_answered_is_sound(
    at_work: AtWork, state: str, place: str
) -> None:
    inspector, _, made = at_work
    at = place.format(entry=made[state]["entry"])
    inspector.open(f"report/{made[state]['report']}/{at}".rstrip("/"))
    expect(inspector.page.locator("h1")).not_to_have_text("Not on this tablet")
    must_be_sound(inspector.page)


def test_no_screen_is_left_out() -> None:
    """As the program's own tables of screens name them."""
    measured = [*OF_A_REPORT, *(place for _, place in OF_TROUBLES)]
    of_a_report = re.search(r"OF_A_REPORT = {(.*?)}", read("record/screens.js"), re.DOTALL)
    of_the_tablet = re.search(r"SCREENS = {(.*?)}", read("main.js"))
    assert of_a_report
    assert of_the_tablet
    assert names(of_a_report[1]) == {each.partition("/")[0] for each in measured}
    assert names(of_the_tablet[1]) <= {each.partition("/")[0] for each in OF_THE_TABLET}


def read(name: str) -> str:
    return (Path("static/field") / name).read_text()


def names(table: str) -> set[str]:
    """The addresses of a table of screens: what stands before each colon, or the name alone."""
    return {each.partition(":")[0].strip().strip('"') for each in table.split(",") if each.strip()}


def test_on_a_telephone_on_its_side_the_number_and_its_keys_are_in_sight_together(
    at_work: AtWork,
) -> None:
    inspector, report, _ = at_work
    page = inspector.page
    page.set_viewport_size({"width": 780, "height": 360})
    inspector.open(f"report/{report}/thickness")
    for each in (page.get_by_label("Inches", exact=True), *page.locator(".keypad button").all()):
        box = each.bounding_box()
        assert box
        assert box["y"] >= 0, box
        assert box["y"] + box["height"] <= 360, box


def test_it_is_sound_signed_out_too(at_work: AtWork) -> None:
    inspector, report, _ = at_work
    page = inspector.page
    page.context.clear_cookies()
    for place in ("waiting", f"report/{report}"):
        inspector.open(place)
        expect(page.get_by_role("banner")).to_contain_text("signed out", timeout=30_000)
        must_be_sound(page)


def must_be_sound(page: Page) -> None:
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate(WIDE) <= 0, width
        assert page.evaluate(SMALL) == [], width
        if height != 360:
            found = Axe().run(page, options=RULES)
            assert not found.violations_count, found.generate_report()
