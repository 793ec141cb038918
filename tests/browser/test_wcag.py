"""What WCAG 2.2 asks beside what axe finds on a page as it is: keys alone, other colours, 400 %, wider letters."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.keys import MISSED, press, stops
from tests.browser.sound import CONTRAST, WIDE, found_by_axe
from tests.browser.test_widths import OVERLAPS, PAGES, WIDEST
from tests.fixtures.browser import DESK
from tests.fixtures.server import Server
from tests.length import tries

# A list, a car, a form in a table. In a long run all.
KINDS = ("/due", "/cars/1", "/plans/standards")
WALKED = ("/cars/1",)
PLANNER = "planner@demo.invalid"
AT_400_PERCENT = {"width": 320, "height": 256}  # of 1280 by 1024: WCAG 2.2, 1.4.10

PAPER = {"width": 725, "height": 960}  # a letter sheet less its margins, at 96 px to the inch


def all_or(some: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*some, *tries(short=0, long=1) * PAGES)))


@pytest.fixture
def looked_at(seen_at_a_desk: Page) -> Page:
    """The page that the tests of this module share, as the system of most people asks for it."""
    seen_at_a_desk.emulate_media(color_scheme="light", forced_colors="none", media="screen")
    return seen_at_a_desk


@pytest.mark.parametrize("path", all_or(KINDS))
def test_a_page_serves_in_the_dark_in_the_systems_colours_enlarged_and_spaced(
    looked_at: Page, demo_server: Server, path: str
) -> None:
    page = looked_at
    page.goto(demo_server.url + path)
    page.emulate_media(color_scheme="dark")
    assert luminance_of_the_ground(page) < 0.1
    assert found_by_axe(page, CONTRAST) == []
    page.emulate_media(forced_colors="active")
    assert page.evaluate(LOST_IN_FORCED_COLOURS) == []
    page.emulate_media(color_scheme="light", forced_colors="none")
    page.set_viewport_size(AT_400_PERCENT)
    assert page.evaluate(WIDE) <= 0, page.evaluate(WIDEST, AT_400_PERCENT["width"])
    assert page.evaluate(OVERLAPS) == []
    page.emulate_media(media="print")
    page.set_viewport_size(PAPER)
    assert page.evaluate(WIDE) <= 0, page.evaluate(WIDEST, PAPER["width"])
    page.emulate_media(media="screen")
    page.set_viewport_size(DESK)
    page.evaluate(SPACED)
    assert page.evaluate(WIDE) <= 0, page.evaluate(WIDEST, DESK["width"])
    assert page.evaluate(OVERLAPS) == []
    assert page.evaluate(CUT) == []


def test_print_is_light_for_whoever_reads_in_the_dark(looked_at: Page, demo_server: Server) -> None:
    looked_at.goto(f"{demo_server.url}/cars/1")
    looked_at.emulate_media(color_scheme="dark", media="print")
    assert luminance_of_the_ground(looked_at) > 0.9


@pytest.mark.parametrize("path", all_or(WALKED))
def test_keys_reach_everything_in_order_and_it_is_seen_where_they_are(
    looked_at: Page, demo_server: Server, path: str
) -> None:
    looked_at.set_viewport_size({"width": 820, "height": 600})
    looked_at.goto(demo_server.url + path)
    assert list(stops(looked_at))
    assert looked_at.evaluate(MISSED) == []


def test_keys_alone_do_the_main_job(
    nobodys_page: Page, demo_server: Server, demo_said: str
) -> None:
    page = nobodys_page
    page.goto(f"{demo_server.url}/sign-in?next=/")
    press(page, page.get_by_label("Email address"), "Home")
    page.keyboard.type(PLANNER)
    press(page, page.get_by_label("Password", exact=True), "Home")
    [password] = re.findall(r"The password of each.*: (\S+)", demo_said)
    page.keyboard.type(password)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="What needs action first")).to_be_visible()
    page.keyboard.press("/")
    page.keyboard.type("ZQTX 107")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("ZQTX 107")
    press(page, page.get_by_role("link", name="Record an inspection"))
    press(page, page.get_by_label("Visual inspection").first, "Space")
    press(page, page.get_by_label(re.compile("^Day")), "Home")
    page.keyboard.type("2026-01-05")
    press(page, page.get_by_role("button", name="Record", exact=True))
    expect(page.get_by_role("main")).to_contain_text("2036-01-05")
    press(page, page.get_by_role("banner").get_by_role("button", name="Sign out"))
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()


def test_what_is_hidden_by_forced_colours_or_cut_by_wider_letters_is_noticed(page: Page) -> None:
    page.set_content(
        "<ul><li><a href='#1' aria-current='page'>one</a><li><a href='#2'>other</a></ul>"
        "<div style='width:60px;overflow:hidden;white-space:nowrap'>a long line of words</div>"
        "<div style='mix-blend-mode:multiply'>black on black</div>"
    )
    page.emulate_media(forced_colors="active")
    assert len(page.evaluate(LOST_IN_FORCED_COLOURS)) == 2
    assert len(page.evaluate(CUT)) == 1


def test_a_stop_that_cannot_be_seen_or_is_covered_is_noticed(page: Page) -> None:
    page.set_content(
        "<button>seen</button><a href='#1' style='outline:none'>no outline</a>"
        "<button style='position:absolute;top:200px'>covered</button>"
        "<div style='position:fixed;inset:150px 0 0;background:#fff'></div>"
    )
    with pytest.raises(AssertionError, match="no outline"):
        list(stops(page))
    page.evaluate("document.querySelector('a').remove()")
    with pytest.raises(AssertionError, match="covered"):
        list(stops(page))


def luminance_of_the_ground(page: Page) -> float:
    """Of the body: 0 is black, 1 white."""
    found = page.evaluate("getComputedStyle(document.body).backgroundColor")
    shares = [int(each) / 255 for each in re.findall(r"\d+", found)[:3]]
    return sum(shares) / 3


# Blending goes wrong on a black ground; the current one of several links looks as the others without its ground.
LOST_IN_FORCED_COLOURS = """() => {
  const shown = each => each.checkVisibility();
  const looks = each => {
    const {backgroundColor, color, borderBottomWidth, fontWeight, textDecorationLine} = getComputedStyle(each);
    return [backgroundColor, color, borderBottomWidth, fontWeight, textDecorationLine].join();
  };
  const blended = [...document.querySelectorAll("body *")]
    .filter(each => getComputedStyle(each).mixBlendMode !== "normal");
  const same = [...document.querySelectorAll("a[aria-current]")].filter(shown).filter(each =>
    [...each.closest("ul, p, nav").querySelectorAll("a:not([aria-current])")]
      .some(other => looks(other) === looks(each)));
  return [...blended, ...same].map(each => each.outerHTML.slice(0, 90));
}"""
# Lines, letters, words and paragraphs as far apart as WCAG 2.2, 1.4.12 wants to be allowed.
SPACED = """() => {
  const sheet = new CSSStyleSheet();
  sheet.replaceSync(`
    * { line-height: 1.5 !important; letter-spacing: 0.12em !important; word-spacing: 0.16em !important }
    p { margin-bottom: 2em !important }`);
  document.adoptedStyleSheets = [sheet];
}"""
CUT = """() => [...document.querySelectorAll("body *")]
  .filter(each => each.checkVisibility() && !each.closest(".hidden, .skip, svg, select, input, textarea"))
  .filter(each => getComputedStyle(each).overflowX === "hidden" || getComputedStyle(each).overflowY === "hidden")
  .filter(each => each.scrollWidth > each.clientWidth + 1 || each.scrollHeight > each.clientHeight + 1)
  .map(each => each.outerHTML.slice(0, 90))"""
