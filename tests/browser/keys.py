"""Walking a page by keys alone; at every stop it is seen where one is."""

from __future__ import annotations

from collections.abc import Iterator

from playwright.sync_api import Locator, Page

MOST_STOPS = 600


def stops(page: Page) -> Iterator[str]:
    """Each stop from the top of the page to its end, in words; one that cannot be seen or has no outline fails."""
    page.evaluate("document.activeElement.blur(), window.stopped = []")
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        found = page.evaluate(STOP)
        if found is None:
            return
        assert not found["wrong"], found
        yield found["words"]
    raise AssertionError("a trap: the end was not reached")


def press(page: Page, target: Locator, key: str = "Enter") -> None:
    """Tab to it from where one is, and press."""
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        if target.evaluate("each => each === document.activeElement"):
            page.keyboard.press(key)
            return
    raise AssertionError(f"not reached by keys: {target}")


# What has the focus: in sight, not covered (WCAG 2.2, 2.4.11), outlined, and behind the stop before it in the page.
STOP = """() => {
  const at = document.activeElement;
  if (!at || at === document.body || window.stopped.includes(at)) return null;
  const before = window.stopped.at(-1), box = at.getBoundingClientRect(), style = getComputedStyle(at);
  window.stopped.push(at);
  const x = (Math.max(box.left, 0) + Math.min(box.right, innerWidth)) / 2;
  const y = (Math.max(box.top, 0) + Math.min(box.bottom, innerHeight)) / 2;
  const hit = document.elementFromPoint(x, y);
  const wrong = [];
  if (!box.width || !box.height || box.bottom < 1 || box.top > innerHeight - 1) wrong.push("out of sight");
  else if (!hit || !((at.closest("label") ?? at).contains(hit) || hit.contains(at))) wrong.push("covered");
  if (style.outlineStyle === "none" || parseFloat(style.outlineWidth) < 2) wrong.push("no outline");
  if (before && before.compareDocumentPosition(at) & Node.DOCUMENT_POSITION_PRECEDING) wrong.push("out of order");
  return {words: at.outerHTML.slice(0, 120), wrong: wrong.join(", ")};
}"""
# What can be pressed or typed into and was not stopped at; of radios that belong together keys stop at one.
MISSED = """() => [...document.querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex='0']")]
  .filter(each => each.checkVisibility() && !each.disabled && each.type !== "hidden" && each.tabIndex >= 0)
  .filter(each => each.type !== "radio" && !window.stopped.includes(each))
  .map(each => each.outerHTML.slice(0, 120))"""
