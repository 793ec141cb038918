"""Every screen of the tablet: sound by axe, letters at 7:1 and 18 px, targets for gloves, at every width and way up."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Error, expect

from tests.browser.field.inspection.network import GONE, PASS, Network, network
from tests.browser.field.inspection.standing import Tablet, program, put
from tests.browser.field.inspection.walking import Inspector
from tests.browser.field.inspection.yard import CAR, yard
from tests.browser.field.measuring import must_be_sound
from tests.fixtures.people import COOKIES

PROGRAM = Path(__file__).parents[4] / "static" / "field"
OF_THE_TABLET = ("", "find", "scan", "taking", "waiting")
NOT_THERE = "car/999"
OF_A_CAR = ("car/1", "car/1/begin", NOT_THERE)
OF_A_REPORT = (
    "half", "half/item/visual", "half/item/thickness", "half/thickness", "half/benches", "half/bench/1",
    "half/lining", "half/leak", "half/defect", "half/defect/new/visual", "half/swap", "half/swap/1",
    "half/swap/new", "half/photographs", "half/entries", "half/begun", "half/sign",
)  # fmt: skip
# Before anything is read or checked; when all is signed; where something was refused, or others recorded it too.
IN_A_STATE = (
    "fresh/item/visual", "fresh/thickness", "fresh/bench/1", "fresh/sign",
    "signed", "signed/item/visual", "signed/thickness", "signed/sign", "signed/entries",
    "refused", "refused/entries", "decide", "conflict",
)  # fmt: skip
# The kinds of entry that are mended, on the screen that records them or by a form of `mend.js`.
MENDED = (
    "begun", "lining", "leak_test", "defect", "swap", "gauge_check", "bench_test", "reading", "step", "outcome",
    "photograph", "withdrawn",
)  # fmt: skip
API = "/api/v1/field"
LAST_SPOT = re.compile("^Housing")
LITTLE_ROOM = "navigator.storage.estimate = async () => ({ usage: 9e8, quota: 9.1e8 })"
NEWER = """() => new Promise((done) => {
  indexedDB.open("stencilbook-field", 99).onsuccess = ({ target }) => done(target.result.close());
})"""
RENEWAL = """async (at) => {
  const { renewal, renewed } = await import(`${at}program.js`);
  Object.assign(renewal, { waits: true, elsewhere: true });
  renewed.dispatchEvent(new Event("changed"));
}"""


@pytest.fixture(scope="module")
def wire(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Network]:
    """A network by which all can be asked, and nothing that was recorded arrives."""
    folder = tmp_path_factory.mktemp("yard")
    with yard(sqlite_template, folder) as running, network(running.url) as between:
        between.weather = lambda _, path: GONE if path.startswith(f"{API}/entries") else PASS
        yield between


@pytest.fixture(scope="module")
def tablet(browser: Browser, wire: Network) -> Iterator[Tablet]:
    """Somebody in the middle of a report, with something of each kind recorded, and other reports beside it."""
    with signed_in(browser, wire) as context:
        inspector = Inspector(context.new_page(), wire.url)
        report = half_done(inspector)
        yield Tablet(inspector, put(inspector, report, MENDED))


@contextmanager
def signed_in(browser: Browser, wire: Network) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport={"width": 768, "height": 1024}, has_touch=True)
    context.set_default_timeout(15_000)
    sign_in(context, wire)
    yield context
    context.close()


def sign_in(context: BrowserContext, wire: Network) -> None:
    context.add_cookies(
        [{"name": name, "value": value, "url": wire.url} for name, value in COOKIES.items()]
    )


def half_done(inspector: Inspector) -> str:
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


@pytest.mark.parametrize("place", [*OF_THE_TABLET, *OF_A_CAR, *OF_A_REPORT, *IN_A_STATE])
def test_a_screen_is_sound(tablet: Tablet, place: str) -> None:
    page = tablet.go(place)
    there = page.get_by_role("heading", name="Not on this")
    expect(there).to_have_count(1 if place == NOT_THERE else 0)
    must_be_sound(page)


@pytest.mark.parametrize("kind", MENDED)
def test_the_screen_that_mends_an_entry_is_sound(tablet: Tablet, kind: str) -> None:
    page = tablet.go(f"mend-{kind}")
    expect(page.get_by_role("region", name="What was refused")).to_be_visible()
    must_be_sound(page)


def test_a_reading_that_is_asked_about_is_sound(tablet: Tablet) -> None:
    page = tablet.go("half/thickness")
    page.get_by_label("Inches", exact=True).fill("0.2")
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="It is right, keep it")).to_be_visible()
    must_be_sound(page)


def test_what_is_asked_before_something_goes_and_what_is_typed_wrong_is_sound(
    tablet: Tablet,
) -> None:
    page = tablet.go("half/lining")
    page.get_by_role("button", name="Take back").first.click()
    page.get_by_role("button", name="Keep the area").click()
    expect(page.locator("[aria-invalid=true]").first).to_be_visible()
    must_be_sound(page)


def test_what_the_head_warns_of_is_sound(tablet: Tablet, wire: Network) -> None:
    context = tablet.inspector.page.context
    page = context.new_page()
    page.add_init_script(LITTLE_ROOM)
    inspector = Inspector(page, wire.url).open("waiting")
    context.clear_cookies()
    inspector.press("Send now")
    page.evaluate(RENEWAL, program(inspector))
    warned = page.get_by_role("banner")
    for words in ("You are signed out", "A newer version", "Another window", "Little room"):
        expect(warned).to_contain_text(words)
    must_be_sound(page)
    sign_in(context, wire)
    page.close()
    tablet.inspector.open()  # it may have asked while nobody was signed in, and warn of that until it asks again


def test_a_tablet_that_knows_nobody_and_one_without_a_car_are_sound(
    browser: Browser, wire: Network
) -> None:
    as_before = wire.weather
    with signed_in(browser, wire) as context:
        inspector = Inspector(context.new_page(), wire.url)
        wire.weather = lambda _, path: GONE
        inspector.open().heading("Sign in once, with a connection")
        must_be_sound(inspector.page)
        wire.weather = as_before
        with suppress(Error):  # it may have tried again by itself, and the button is gone
            inspector.page.get_by_role("button", name="Try again").first.click(timeout=2_000)
        inspector.heading("Today's work")
        must_be_sound(inspector.page)
        must_be_sound(inspector.go("waiting").page)


def test_what_an_older_program_says_on_a_tablet_that_a_newer_one_used_is_sound(
    browser: Browser, wire: Network
) -> None:
    with signed_in(browser, wire) as context:
        page = Inspector(context.new_page(), wire.url).open().page
        page.evaluate(NEWER)
        page.reload()
        expect(page.get_by_role("alert")).to_contain_text("A newer version of the program")
        must_be_sound(page)


def test_no_screen_of_the_program_is_left_out() -> None:
    assert set(names("main.js", "SCREENS")) == {*OF_THE_TABLET}
    of_a_report = {place.partition("/")[2].partition("/")[0] for place in OF_A_REPORT}
    assert set(names("record/screens.js", "OF_A_REPORT")) == of_a_report | {"mend", "conflict"}
    assert set(names("record/screens.js", "DRAWERS")) == {"car", "report"}
    mended = names("record/mend.js", "SCREENS") + names("record/mend.js", "FIELDS")
    assert sorted(mended) == sorted(MENDED)


def names(module: str, constant: str) -> list[str]:
    """The names at the first level of an object that a module of the program holds."""
    text = (PROGRAM / module).read_text().partition(f"const {constant} = {{")[2]
    while (less := re.sub(r"\([^(){}[\]]*\)|\[[^(){}[\]]*\]|\{[^(){}[\]]*\}", "", text)) != text:
        text = less
    parts = text.partition("}")[0].split(",")
    return [re.sub(r"async |[\"\s]|:.*", "", each, flags=re.S) for each in parts if each.strip()]


# The field and each key, unless all of it lies in view and nothing over it.
OUT_OF_VIEW = """() => [...document.querySelectorAll("#number, .key, .key-next")].filter((each) => {
  const box = each.getBoundingClientRect();
  const there = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
  return box.top < 0 || box.left < 0 || box.bottom > innerHeight || box.right > innerWidth || !each.contains(there);
}).map((each) => `${each.outerHTML.slice(0, 80)}: ${JSON.stringify(each.getBoundingClientRect())}`)"""


@pytest.mark.parametrize(("width", "height"), [(780, 360), (640, 360), (1024, 768)])
def test_on_its_side_the_field_all_keys_and_the_verdict_are_in_view_wherever_the_spot_is(
    tablet: Tablet, width: int, height: int
) -> None:
    page = tablet.go("half")
    page.set_viewport_size({"width": width, "height": height})
    tablet.go("half/thickness")
    expect(page.locator("#number, .key, .key-next")).to_have_count(14)
    assert page.evaluate(OUT_OF_VIEW) == [], page.locator("body").inner_text()
    page.get_by_label("Inches", exact=True).fill("0.44")
    page.keyboard.press("Enter")
    expect(page.locator(".verdict .big")).to_be_in_viewport(ratio=1)
    expect(page.locator(".verdict .status")).to_be_in_viewport(ratio=1)
    assert page.evaluate("scrollY") == 0
    page.get_by_role("button", name=LAST_SPOT).click()
    expect(page.get_by_role("heading", name=LAST_SPOT)).to_be_in_viewport(ratio=1)
    assert page.evaluate("scrollY") > 0
    assert page.evaluate(OUT_OF_VIEW) == []
