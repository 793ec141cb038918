"""Makes the pictures of docs/field.md: `python -m docs.make_field_screens`, from the project's folder.

It serves a register of one invented car, and walks through an inspection at the width of a tablet as the browser
tests do. Needs Chromium, named by CHROMIUM when it is not on the path.
"""

from __future__ import annotations

import re
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import Page

from app.store import migrate
from docs.looking import a_browser, context
from tests.browser.field.inspection.walking import Inspector
from tests.browser.field.inspection.yard import CAR, yard

SCREENS = Path(__file__).parent / "screens" / "field"
WIDTH, HEIGHT = 768, 1024
ITEMS = ("visual", "thickness", "lining", "relief_device", "leakage")


class Pictures:
    """Takes the next picture of a page, numbered in the order of the guide."""

    def __init__(self, page: Page) -> None:
        self.page, self.count = page, 0

    def take(self, name: str) -> None:
        self.count += 1
        self.page.evaluate("document.activeElement?.blur(); scrollTo(0, 0)")
        self.page.wait_for_timeout(300)
        self.page.screenshot(path=SCREENS / f"{self.count:02}-{name}.png")


def main() -> None:
    SCREENS.mkdir(parents=True, exist_ok=True)
    for old in SCREENS.glob("*.png"):
        old.unlink()
    with TemporaryDirectory() as folder, a_browser() as browser:
        template = Path(folder) / "template.db"
        migrate.upgrade(f"sqlite:///{template}")
        with yard(template, Path(folder)) as running:
            size = {"width": WIDTH, "height": HEIGHT}
            page = context(browser, running.url, viewport=size, has_touch=True).new_page()
            walk(Inspector(page, running.url), Pictures(page))
            page.goto(f"{running.url}/reports/1")
            page.screenshot(path=SCREENS / "17-report-page.png")


def walk(inspector: Inspector, pictures: Pictures) -> None:
    inspector.open("taking")
    pictures.take("take-along")
    inspector.take_along().open()
    pictures.take("today")
    inspector.open("car/1")
    pictures.take("car")
    report = inspector.begin(CAR, *ITEMS)
    pictures.take("report")
    inspector.at(report, "item/visual")
    pictures.take("steps")
    inspector.steps(report, "visual")
    inspector.outcome(report, "visual")
    inspector.at(report, "thickness")
    pictures.take("gauge")
    inspector.check_gauge(report)
    inspector.readings(report, [f"0.4{40 + at % 9}" for at in range(38)])
    inspector.unlikely(report, "0.352")
    pictures.take("readings")
    inspector.at(report, "benches").follow(re.compile("Relief valve"))
    pictures.take("caution")
    inspector.bench(report)
    pictures.take("bench")
    inspector.lining(report)
    pictures.take("lining")
    inspector.leak(report)
    pictures.take("leak")
    inspector.defect(report)
    inspector.photographs(report, "defect", 2)
    pictures.take("defect")
    inspector.swap(report)
    pictures.take("parts")
    for item in ITEMS[1:]:
        inspector.outcome(report, item)
    inspector.at(report, "sign")
    pictures.take("sign")
    inspector.sign(report)
    pictures.page.get_by_text("signed by I. Nobody, sent").wait_for()
    pictures.take("signed")
    inspector.go("waiting")
    pictures.take("waiting")


if __name__ == "__main__":
    main()
