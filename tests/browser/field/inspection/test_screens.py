"""Every screen of the tablet: sound by axe, letters at 7:1 and 18 px, targets for gloves, at every width and way up."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

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
RULES = {"rules": {"color-contrast-enhanced": {"enabled": True}, "target-size": {"enabled": True}}}
WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
# What is pressed with a glove and lower than 44 px, and letters below 18 px; a link among words is as high as they.
SMALL = """() => {
  const seen = (each) => getComputedStyle(each).visibility === "visible" && !each.closest(".hidden");
  const shown = (each) => each.offsetParent && seen(each);
  const pressed = [...document.querySelectorAll("a, button, input, select, textarea, summary")].filter(shown)
    .filter((each) => getComputedStyle(each).display !== "inline");
  const low = pressed.filter((each) => (each.closest("label") ?? each).getBoundingClientRect().height < 44);
  const letters = [...document.querySelectorAll("body *")].filter(shown)
    .filter((each) => [...each.childNodes].some((one) => one.nodeType === 3 && one.textContent.trim()))
    .filter((each) => parseFloat(getComputedStyle(each).fontSize) < 18);
  return [...low, ...letters].map((each) => each.outerHTML.slice(0, 140));
}"""


@pytest.fixture(scope="module")
def at_work(
    browser: Browser, sqlite_template, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Inspector, str]]:
    """Somebody in the middle of a report, with something of each kind recorded."""
    with yard(sqlite_template, tmp_path_factory.mktemp("yard")) as running:
        context = browser.new_context(viewport={"width": 768, "height": 1024}, has_touch=True)
        context.set_default_timeout(15_000)
        context.add_cookies(
            [{"name": name, "value": value, "url": running.url} for name, value in COOKIES.items()]
        )
        inspector = Inspector(context.new_page(), running.url)
        yield inspector, half_done(inspector, running)
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


@pytest.mark.parametrize("place", OF_THE_TABLET)
def test_a_screen_of_the_tablet_is_sound(at_work: tuple[Inspector, str], place: str) -> None:
    inspector, _ = at_work
    must_be_sound(inspector.open(place).page)


@pytest.mark.parametrize("place", OF_A_REPORT)
def test_a_screen_of_a_report_is_sound(at_work: tuple[Inspector, str], place: str) -> None:
    inspector, report = at_work
    must_be_sound(inspector.open(f"report/{report}/{place}".rstrip("/")).page)


def must_be_sound(page: Page) -> None:
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate(WIDE) <= 0, width
        assert page.evaluate(SMALL) == [], width
        if height != 360:
            found = Axe().run(page, options=RULES)
            assert not found.violations_count, found.generate_report()
