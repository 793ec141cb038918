"""Pages on a telephone, a tablet held either way and a desk: nothing to scroll sideways, no words over other words."""

import pytest
from playwright.sync_api import Page

from tests.fixtures.server import Server

WIDTHS = (360, 390, 480, 600, 820, 1024, 1280)
TRIAL = "lading.commodity=Invented+acid&lading.corrosive_or_reactive=yes"
PAGES = (
    "/", "/fleet", "/due", "/overdue", "/cars/1", "/cars/2", "/cars/7", "/cars/1/worked-out",
    "/cars/1/trend", "/cars/1/panel", "/fleet/wear",
    "/cars/1/events/new", "/record", "/rulebook", "/rulebook/tables", "/rulebook/questions",
    "/visits", "/loading", "/loading/many", "/loading/asked", "/loading/held",
    "/changes", "/changes/2", "/cars/1/changes", "/retention", "/people", "/people/1",
    "/people/invite", "/audits", "/audits/new", "/cars/1/hand-over", "/take-over", "/account", "/account/tokens",
    "/account/notices", "/account/units", "/tour", "/morning",
    "/morning/lists", "/morning/parts/moved", "/morning/seen/1/visual",
    f"/cars/1/trial?{TRIAL}", f"/fleet/trial?{TRIAL}",
)  # fmt: skip


@pytest.mark.parametrize(
    "path", [*PAGES, "/account/password", "/account/passkeys", "/people/parties"]
)
def test_words_stand_clear_at_every_width_and_what_is_pressed_is_24_pixels_high_and_wide(
    seen_at_a_desk: Page, demo_server: Server, path: str
) -> None:
    """The size of targets: WCAG 2.2, 2.5.8; links within a sentence may be as high as their line."""
    page = seen_at_a_desk
    page.goto(demo_server.url + path)
    assert wrong(page) == []
    page.set_viewport_size({"width": 390, "height": 900})
    assert page.evaluate(SMALL) == []


@pytest.mark.parametrize("path", PAGES)
def test_and_so_they_do_where_fingers_point_and_letters_are_larger(
    seen_on_a_tablet: Page, demo_server: Server, path: str
) -> None:
    seen_on_a_tablet.goto(demo_server.url + path)
    assert wrong(seen_on_a_tablet) == []


UNFOLD = "document.querySelectorAll('.entry details').forEach(each => each.open = true)"


def test_a_long_word_that_somebody_typed_breaks_where_it_must(
    page: Page, demo_server: Server
) -> None:
    typed = {"shop": "Made-up" + "shop" * 20, "sent_on": "2026-01-05", "instructions": "look" * 40}
    same_site = {"Sec-Fetch-Site": "same-origin"}
    sent = page.request.post(
        f"{demo_server.url}/cars/9/visits", form=typed, headers=same_site, max_redirects=0
    )
    assert sent.status == 303, sent.text()
    for path in ("/visits", "/changes", "/cars/9/changes", "/cars/9"):
        page.goto(demo_server.url + path)
        assert typed["instructions" if path == "/visits" else "shop"] in page.content(), path
        page.evaluate(UNFOLD)
        assert (path, wrong(page)) == (path, [])


def test_what_is_too_small_to_press_is_noticed(page: Page) -> None:
    page.set_content("<button style='width:12px;height:40px;padding:0;border:0'>x</button>")
    assert [found.rpartition(": ")[2] for found in page.evaluate(SMALL)] == ["12 by 40"]


def test_words_over_words_and_a_page_too_wide_are_noticed(page: Page) -> None:
    page.set_content(
        "<div style='width:40px;white-space:nowrap;float:left'>in date</div><p>2031-06-01</p>"
        "<div style='width:500px'>wide</div>"
    )
    assert [found.split(":")[0] for found in wrong(page)] == [
        "360 px",  # too wide
        *(f"{width} px" for width in (360, 390, 390, 480, 480, 600, 820, 1024, 1280)),
    ]


def wrong(page: Page) -> list[str]:
    """What is too wide, and which words lie over which, by width."""
    found = []
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        needs = page.evaluate("document.documentElement.scrollWidth")
        if needs > width:
            found.append(f"{width} px: {needs} px wide by {page.evaluate(WIDEST, width)}")
        found += [f"{width} px: {both}" for both in page.evaluate(OVERLAPS)]
    return found


WIDEST = """width => [...document.querySelectorAll("body *")]
  .filter(each => each.checkVisibility() && each.getBoundingClientRect().right > width + 0.5)
  .map(each => each.outerHTML.slice(0, 90)).slice(-3).join(" … ")"""
SMALL = """() => [...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
  .filter(each => each.checkVisibility() && each.type !== "hidden" && !each.closest(".hidden, .skip"))
  .filter(each => each.tagName !== "A" || getComputedStyle(each).display !== "inline")
  .map(each => [each.outerHTML.slice(0, 90), each.getBoundingClientRect()])
  .filter(([words, box]) => box.height < 24 || box.width < 24)
  .map(([words, box]) => `${words}: ${box.width} by ${box.height}`)"""
# Lines of text by their boxes, less what a letter seldom reaches above and below.
OVERLAPS = """() => {
  const lines = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, around = node.parentElement;
    if (!node.data.trim() || !around.checkVisibility({visibilityProperty: true})) continue;
    if (around.closest(".hidden, .skip, svg, option, textarea, script, style, noscript")) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const box of range.getClientRects()) {
      const inset = box.height / 5;
      if (box.width > 1) lines.push({
        node, left: box.left + 1, right: box.right - 1, top: box.top + inset, bottom: box.bottom - inset,
      });
    }
  }
  lines.sort((one, other) => one.top - other.top);
  const found = new Set();
  lines.forEach((one, place) => {
    for (const other of lines.slice(place + 1)) {
      if (other.top >= one.bottom) break;
      if (other.node !== one.node && other.left < one.right && one.left < other.right)
        found.add(`“${one.node.data.trim().slice(0, 40)}” over “${other.node.data.trim().slice(0, 40)}”`);
    }
  });
  return [...found].slice(0, 12);
}"""
