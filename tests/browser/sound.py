"""What every page has to be: nothing for axe to find, nothing that sticks out at the side."""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, ViewportSize

from tests.length import tries

# WCAG 2.2 asks for targets of 24 px, which axe looks at only when told to.
RULES = {"target-size": {"enabled": True}}
VIOLATIONS = {"resultTypes": ["violations"], "rules": RULES}
CONTRAST = {"runOnly": ["color-contrast", "link-in-text-block"], "resultTypes": ["violations"]}
WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


def found_by_axe(page: Page, options: dict[str, object] = VIOLATIONS) -> list[str]:
    """Each node that breaks a rule of axe-core, in its words."""
    return [
        f"{rule['id']}: {node['html']}: {node['failureSummary']}"
        for rule in Axe().run(page, options=options).response["violations"]
        for node in rule["nodes"]
    ]


def nothing_for_axe(page: Page) -> None:
    found = found_by_axe(page)
    assert not found, "\n".join(found)


def must_be_sound(page: Page) -> None:
    nothing_for_axe(page)
    assert page.evaluate(WIDE) <= 0


def must_be_sound_at_each(page: Page, *sizes: ViewportSize) -> None:
    """As it is loaded, at each size: axe looks at the first, in a long run at each; at none anything sticks out."""
    for at, size in enumerate(sizes):
        page.set_viewport_size(size)
        if at == 0 or tries(short=False, long=True):
            nothing_for_axe(page)
        assert page.evaluate(WIDE) <= 0, size
