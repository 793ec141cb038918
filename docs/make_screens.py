"""Makes the pictures in docs/screens from a running demo: `python docs/make_screens.py http://127.0.0.1:8000`.

Needs Chromium, named by CHROMIUM when it is not at /usr/bin/chromium.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

SCREENS = Path(__file__).parent / "screens"
# The name of the picture, and the search or address that leads to its page.
PAGES = {"overdue": "/overdue", "car": "/fleet?q=ZQTX+102"}


def main(address: str) -> None:
    chromium = os.environ.get("CHROMIUM", "/usr/bin/chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1180, "height": 760})
        for name, path in PAGES.items():
            page.goto(address + path)
            if name == "car":
                page.get_by_role("link", name="ZQTX 102").first.click()
                page.locator("summary").first.click()
            page.screenshot(path=SCREENS / f"{name}.png")
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1].rstrip("/"))
