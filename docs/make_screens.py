"""Makes the pictures in docs/screens from a running demo: `python docs/make_screens.py http://127.0.0.1:8000 PASSWORD`.

Needs Chromium, named by CHROMIUM when it is not at /usr/bin/chromium. It loads the example programme into
the demo, where it is loaded only once: start from a fresh one.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

SCREENS = Path(__file__).parent / "screens"
PROGRAMME = Path(__file__).parents[1] / "seed_demo" / "programme.toml"
WIDTH = 1180
PLANNER = "planner@demo.invalid"


def main(address: str, password: str) -> None:
    chromium = os.environ.get("CHROMIUM", "/usr/bin/chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": WIDTH, "height": 760})
        page.goto(f"{address}/sign-in?next=/overdue")
        page.get_by_label("Mail", exact=False).first.fill(PLANNER)
        page.get_by_label("Password", exact=True).fill(password)
        page.keyboard.press("Enter")
        page.wait_for_url("**/overdue")
        page.screenshot(path=SCREENS / "overdue.png")
        page.set_viewport_size({"width": WIDTH, "height": 1200})
        page.goto(f"{address}/fleet?q=ZQTX+176")
        page.locator("tbody a.car").first.click()
        page.get_by_role("row", name="Thickness").locator("summary").click()
        page.screenshot(path=SCREENS / "car.png")
        page.set_viewport_size({"width": WIDTH, "height": 900})
        page.goto(f"{address}/rulebook/editions")
        page.get_by_label("File", exact=True).set_input_files(PROGRAMME)
        page.get_by_role("button", name="Load it").click()
        page.get_by_role("link", name="See its effect on the fleet").click()
        page.screenshot(path=SCREENS / "effect.png")
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1].rstrip("/"), sys.argv[2])
