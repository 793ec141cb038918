"""Whether a page for the field is sound: by axe with words at 7:1, its letters and targets measured, at every size."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

from playwright.sync_api import Page

from tests.browser.sound import WIDE, found_by_axe
from tests.length import tries

# A telephone upright, a tablet upright and on its side, and a telephone on its side, which has the least height.
SIZES = ((360, 740), (768, 1024), (1024, 768), (780, 360))
LOOKS = tries(short=1, long=len(SIZES))  # at so many of them axe looks
LEAST_TARGET, LEAST_LETTERS = 44, 18
RULES = {
    "resultTypes": ["violations"],
    "rules": {"color-contrast-enhanced": {"enabled": True}, "target-size": {"enabled": True}},
}
UNFOLD = "document.querySelectorAll('main details').forEach(each => { each.open = true })"
# A box to tick and a field for files are pressed by their label. A link among words is as high as they are.
SMALL = """([target, letters]) => {
  const shown = (each) => each.checkVisibility({ visibilityProperty: true }) && !each.closest(".hidden");
  const words = (each) => [...each.childNodes].some((one) => one.nodeType === 3 && one.textContent.trim());
  const inline = (each) => getComputedStyle(each).display === "inline";
  const amongWords = (each) => each.matches("a") && inline(each) && words(each.parentElement);
  const pad = (each) => (each.matches("[type=checkbox], [type=radio], [type=file]") && each.labels[0]) || each;
  const told = (each, what) => `${each.outerHTML.slice(0, 140)}: ${what}`;
  const all = document.querySelectorAll("a[href], button, input, select, textarea, summary, .signature, .car-face");
  const pressed = [...new Set([...all].map(pad))].filter((each) => shown(each) && !amongWords(each))
    .map((each) => [each, each.getBoundingClientRect()])
    .filter(([, box]) => box.width < target || box.height < target)
    .map(([each, box]) => told(each, `${box.width} by ${box.height}`));
  const written = [...document.querySelectorAll("body *")].filter(shown)
    .filter((each) => words(each) || each.matches("input:not([type=checkbox], [type=radio]), select, textarea"))
    .map((each) => [each, parseFloat(getComputedStyle(each).fontSize)])
    .filter(([, size]) => size < letters)
    .map(([each, size]) => told(each, `letters of ${size}`));
  return [...pressed, ...written];
}"""


def must_be_sound(page: Page) -> None:
    """At each size in turn, with all that folds unfolded; the page is loaded once."""
    page.evaluate(UNFOLD)
    found = [*unsound(page)]
    assert not found, "\n".join(found)


def unsound(page: Page) -> Iterator[str]:
    """Axe, which takes longest, looks at the first size, in a long run at each."""
    yield from too_small(page)
    for at in islice(each_size(page), LOOKS):
        yield from (f"{at}: {each}" for each in found_by_axe(page, RULES))


def too_small(page: Page) -> Iterator[str]:
    """What is wider than the page, pressed and too small, or written too small, by size."""
    for at in each_size(page):
        wide = page.evaluate(WIDE)
        yield from [f"{at}: too wide by {wide}"] if wide > 0 else []
        found = page.evaluate(SMALL, [LEAST_TARGET, LEAST_LETTERS])
        yield from (f"{at}: {each}" for each in found)


def each_size(page: Page) -> Iterator[str]:
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        yield f"{width} by {height}"
