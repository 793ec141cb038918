"""Makes the pictures of docs/compliance.md: `python -m docs.make_compliance_screens`, from the project's folder.

It serves the demo fleet and walks through a morning as the browser test does. Needs Chromium, named by CHROMIUM when it
is not on the path.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import Page

from docs.looking import a_browser, a_demo, context
from tests.browser.mornings import Morning

SCREENS = Path(__file__).parent / "screens" / "compliance"
WIDTH, HEIGHT = 1180, 900


def main() -> None:
    shutil.rmtree(SCREENS, ignore_errors=True)
    SCREENS.mkdir(parents=True)
    with TemporaryDirectory() as folder, a_demo() as url, a_browser() as browser:
        held = context(browser, url, viewport={"width": WIDTH, "height": HEIGHT})
        walk(held.new_page(), url, Path(folder))


def walk(page: Page, url: str, folder: Path) -> None:
    def take(name: str) -> None:
        page.evaluate("document.activeElement?.blur(); scrollTo(0, 0)")
        if name == "matches":  # below a long form
            page.get_by_role("heading", name="What matches").scroll_into_view_if_needed()
            page.mouse.wheel(0, 500)
        page.wait_for_timeout(300)
        page.screenshot(path=SCREENS / f"{name}.png")

    morning = Morning(page, url, take)
    morning.look_at_the_list()
    morning.mark_a_line_as_seen()
    morning.hold_a_car()
    morning.ask_the_rack()
    morning.take_its_packet(folder)
    morning.order_a_check_by_lot("L17")
    morning.draw_a_sample()


if __name__ == "__main__":
    main()
