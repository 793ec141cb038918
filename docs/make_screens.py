"""Makes the pictures of README.md and of the guides to the desk: `python -m docs.make_screens`.

Run from the project's folder. It serves the demo fleet and goes through it as the guides tell. Needs Chromium, named by
CHROMIUM when it is not on the path. Those of docs/compliance.md and docs/field.md are made by scripts of their own.
"""

from __future__ import annotations

import re
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page

from docs.looking import a_browser, a_demo, context

SCREENS = Path(__file__).parent / "screens"
PROGRAMME = Path(__file__).parents[1] / "seed_demo" / "programme.toml"
WIDTH = 1180
PATIENCE_MS = 120_000
# As many colours as a page of text and marks needs; a quarter of the size.
COLOURS = 64
CARS = """mark,number,specification,built_on,commodity
ZQKX,4501,DOT 111A100W1,2012-05,Invented acid
ZQKX,4502,DOT 105J500W,2015-13,Invented gas
"""


class Pictures:
    def __init__(self, page: Page, url: str) -> None:
        self.page, self.url = page, url

    def go(self, address: str) -> None:
        self.page.goto(self.url + address)

    def take(self, name: str, height: int = 900) -> None:
        self.page.set_viewport_size({"width": WIDTH, "height": height})
        self.page.evaluate("document.activeElement?.blur()")
        self.page.wait_for_timeout(300)
        path = SCREENS / f"{name}.png"
        path.parent.mkdir(parents=True, exist_ok=True)
        with Image.open(BytesIO(self.page.screenshot())) as picture:
            picture.convert("RGB").quantize(COLOURS).save(path, optimize=True)


def main() -> None:
    with a_demo() as url, a_browser() as browser:
        pictures = Pictures(context(browser, url).new_page(), url)
        readme(pictures)
        fleet(pictures)
        plan(pictures)
        others(pictures)


def readme(pictures: Pictures) -> None:
    page = pictures.page
    pictures.go("/overdue")
    pictures.take("overdue", 760)
    pictures.go("/fleet?q=ZQTX+176")
    page.locator("tbody a.car").first.click()
    page.get_by_role("row", name="Thickness").locator("summary").click()
    pictures.take("car", 1200)
    pictures.go("/rulebook/editions")
    page.get_by_label("File", exact=True).set_input_files(PROGRAMME)
    page.get_by_role("button", name="Load it").click()
    page.get_by_role("link", name="See its effect on the fleet").click()
    pictures.take("effect")


def fleet(pictures: Pictures) -> None:
    page = pictures.page
    pictures.go("/imports")
    page.get_by_label("cars", exact=False).first.check()
    page.locator("input[type=file]").set_input_files(
        {"name": "cars.csv", "mimeType": "text/csv", "buffer": CARS.encode()}
    )
    page.get_by_role("button", name="Look through the file").click()
    page.get_by_role("heading", name="What cannot be taken").wait_for(timeout=PATIENCE_MS)
    pictures.take("planner/look-through", 1100)
    pictures.go("/forecast")
    pictures.take("planner/forecast", 1000)


def plan(pictures: Pictures) -> None:
    page = pictures.page
    pictures.go("/plans/standards")
    pictures.take("planner/standards", 1000)
    pictures.go("/plans/new")
    page.get_by_label("Name of the plan").fill("Spring, one year")
    page.get_by_label("First month").fill("2027-01")
    page.get_by_label("Months").fill("12")
    page.get_by_label("Search for at most").select_option("20")
    page.get_by_role("button", name="Plan it").click()
    page.get_by_role("link", name="Look at the version").click(timeout=PATIENCE_MS)
    version = page.url
    pictures.take("planner/version", 1100)
    page.locator(".shop-months td a:not(:has-text('0 cars'))").nth(4).click()
    page.locator("tbody th a.car").first.click()
    pictures.take("planner/car", 1100)
    page.goto(version)
    page.get_by_role("link", name="Accept this version").click()
    page.get_by_label("Written instructions for every visit").fill(
        "Invented: call the owner before welding."
    )
    page.get_by_role("button", name=re.compile("^Accept, and plan")).click()
    page.get_by_role("heading", name="Visits to shops").wait_for(timeout=PATIENCE_MS)
    pictures.take("planner/visits")
    page.locator("a[href^='/visits/']:not([href*='orders'])").first.click()
    page.get_by_role("link", name="Work order").click()
    pictures.take("planner/order", 1000)


def others(pictures: Pictures) -> None:
    page = pictures.page
    pictures.go("/visits?state=sent")
    pictures.take("shop/visits", 800)
    pictures.go("/loading")
    page.get_by_label("Mark and number, as on the car").fill("ZQTX 102")
    page.get_by_role("button", name="Ask").click()
    page.get_by_role("heading", level=2).first.wait_for()
    pictures.take("shop/loading")
    pictures.go("/people")
    pictures.take("administrator/people")
    pictures.go("/changes")
    pictures.take("administrator/changes")


if __name__ == "__main__":
    main()
