"""An inspector at a tablet, who works as people do: by what the screen says and by tapping."""

from __future__ import annotations

import re
from collections.abc import Sequence

from playwright.sync_api import Locator, Page, expect

from tests.pictures import shots

READ_IT = "I have read this and follow the site's procedures"


class Inspector:
    """Somebody at the page of a tablet. Each step leaves them where the next begins."""

    def __init__(self, page: Page, url: str) -> None:
        self.page, self.url = page, url

    # ---- finding their way ----

    def open(self, place: str = "") -> Inspector:
        self.page.goto(
            "about:blank"
        )  # an address that differs behind its # alone would load nothing
        self.page.goto(f"{self.url}/field#/{place}")
        expect(self.page.locator("h1")).to_be_visible()
        return self

    def go(self, place: str) -> Inspector:
        """Where the page stands there already, by itself or from before, what is typed keeps the focus."""
        went = self.page.evaluate(
            """place => {
              if (location.hash === "#/" + place) return false;
              document.activeElement.blur();  // the heading of the screen left behind may have it
              location.hash = "#/" + place;
              return true;
            }""",
            place,
        )
        if went:
            self.arrived()
        return self

    def arrived(self) -> None:
        """A new screen begins at its heading."""
        expect(self.page.locator("main h1")).to_be_focused()

    def press(self, name: str | re.Pattern[str], within: Locator | None = None) -> None:
        (within or self.page).get_by_role("button", name=name).first.click()

    def follow(self, name: str | re.Pattern[str]) -> None:
        self.page.get_by_role("main").get_by_role("link", name=name).first.click()
        self.arrived()

    def heading(self, words: str | re.Pattern[str]) -> None:
        expect(self.page.locator("h1")).to_have_text(words)

    def choose(self, legend: str, words: str) -> None:
        group = self.page.get_by_role("group", name=legend)
        group.get_by_text(words, exact=True).first.click()

    def fill(self, **fields: str) -> None:
        """By label, an underscore for each space."""
        for label, text in fields.items():
            named = self.page.get_by_label(label.replace("_", " "))
            self.page.locator("input, textarea").and_(named).first.fill(text)

    def read_cautions(self) -> int:
        """Acknowledge each caution on the screen; how many there were."""
        button = self.page.get_by_role("button", name=READ_IT)
        many = 0
        while button.count():
            before = button.count()
            button.first.click()
            expect(button).to_have_count(before - 1)
            many += 1
        return many

    # ---- before the work ----

    def take_along(self, words: str = "All that is overdue") -> Inspector:
        self.open("taking")
        self.press(f"Take along: {words}")
        expect(self.page.get_by_role("status").filter(has_text="taken along")).to_be_visible()
        return self

    def begin(self, car: str, *items: str) -> str:
        """Begin a report of a car; gives its key. Those of `items` are meant, and no others."""
        self.open("find")
        self.page.get_by_label("Part of the mark or number").fill(car.split()[-1])
        self.follow(re.compile(car))
        self.heading(car)
        self.follow("Begin a report")
        self.press(re.compile("Invented Tank Car Works"))
        group = self.page.get_by_role("group", name="What is meant to be done")
        for box in group.get_by_role("checkbox").all():
            wanted = box.get_attribute("value") in items
            if box.is_checked() != wanted:
                box.locator("xpath=..").click()
        self.press("Begin")
        self.heading(re.compile("Report"))
        return self.page.url.rpartition("/")[2]

    def at(self, report: str, place: str = "") -> Inspector:
        return self.go("/".join(filter(None, ("report", report, place))))

    # ---- the work ----

    def steps(self, report: str, item: str) -> int:
        """Find every step of an item in order; how many there were."""
        self.at(report, f"item/{item}")
        expect(self.page.locator(".steps, .notice").first).to_be_visible()
        self.read_cautions()
        steps = self.page.locator("li.step")
        for at in range(steps.count()):
            step = steps.nth(at)
            number = step.get_by_label(re.compile("^Measured"))
            if number.count():
                number.fill("0.5")
                number.press("Tab")
            self.press("OK", step)
            expect(step.get_by_role("button", name="OK", exact=True)).to_have_attribute(
                "aria-pressed", "true"
            )
        return steps.count()

    def outcome(self, report: str, item: str, words: str = "Passed") -> None:
        self.at(report, f"item/{item}")
        self.choose("The item", words)
        self.press("Keep the outcome")
        corrected = self.page.get_by_role("button", name="Correct the outcome")
        asked = self.page.get_by_role("alert").filter(has_text="Press once more")
        expect(corrected.or_(asked)).to_be_visible()
        if asked.count():
            self.press("Keep the outcome")
        expect(corrected).to_be_visible()

    def check_gauge(self, report: str) -> None:
        self.at(report, "thickness")
        self.fill(Gauge="TG-0007", Thickness_of_the_block="0.500", What_the_gauge_read="0.501",
                  Calibrated_until="2099-01-01")  # fmt: skip
        self.press("Keep the check")
        expect(self.page.get_by_label("Inches", exact=True)).to_be_visible()

    def readings(self, report: str, inches: Sequence[str]) -> None:
        """One after the other where the screen leads."""
        self.at(report, "thickness")
        field = self.page.get_by_label("Inches", exact=True)
        for each in inches:
            before = self.page.locator(".cell:not(.unread)").count()
            field.fill(each)
            field.press("Enter")
            expect(self.page.locator(".cell:not(.unread)")).to_have_count(before + 1)

    def unlikely(self, report: str, inches: str) -> None:
        """A reading that is asked about, and is right."""
        self.at(report, "thickness")
        field = self.page.get_by_label("Inches", exact=True)
        field.fill(inches)
        field.press("Enter")
        self.press("It is right, keep it")
        expect(self.page.get_by_role("status").filter(has_text=f"{inches} in")).to_be_visible()

    def bench(self, report: str, found: str = "75", left: str = "75", tight: str = "62") -> None:
        self.at(report, "benches")
        self.follow(re.compile("Relief valve"))
        self.read_cautions()
        self.fill(**{"Start_to_discharge,_as_found": found, "Start_to_discharge,_as_left": left,
                     "Vapor_tight_up_to": tight})  # fmt: skip
        self.choose("The device", "Passed")
        self.press("Keep the test")
        expect(self.page.get_by_role("status").filter(has_text="Test kept")).to_be_visible()

    def lining(self, report: str, area: str = "Ring 2, lower half") -> None:
        self.at(report, "lining")
        self.read_cautions()
        self.fill(Area=area, Spark_test_at="9000", Holidays_found="0")
        self.choose("Condition", "Sound")
        self.press("Keep the area")
        expect(self.page.get_by_role("status").filter(has_text="Kept")).to_be_visible()

    def leak(self, report: str) -> None:
        self.at(report, "leak")
        self.read_cautions()
        self.fill(What_was_tested="The manway gasket", With="air", Pressure="30", Held_for="10")
        self.choose("Outcome", "Passed")
        self.press("Keep the test")
        expect(self.page.get_by_role("status").filter(has_text="Kept")).to_be_visible()

    def defect(self, report: str) -> None:
        self.at(report, "defect")
        self.choose("Seen from", "Left side")
        drawing = self.page.locator("svg.car-face")
        box = drawing.bounding_box()
        assert box
        drawing.click(position={"x": box["width"] * 0.1, "y": box["height"] * 0.3})
        expect(self.page.get_by_label("The place in words")).to_have_value(
            "left side, A end, upper half"
        )
        self.choose("Kind", "Gouge")
        self.fill(Length="3.5", Depth="0.06")
        self.page.get_by_text("It was repaired", exact=True).click()
        self.fill(How_it_was_repaired="Ground out")
        self.press("Keep the defect")
        expect(self.page.get_by_role("status").filter(has_text="Kept")).to_be_visible()

    def swap(self, report: str, serial: str = "BV-2", tested: str = "2026-11-20") -> None:
        self.at(report, "swap")
        self.follow(re.compile("Bottom outlet valve"))
        self.read_cautions()
        self.fill(Serial_on_the_new_one=serial, Tested_on=tested)
        self.choose("Until now it was", "Protected in storage")
        self.press("Keep the change")
        self.heading("Parts changed")
        expect(self.page.get_by_role("main")).to_contain_text(f"{serial} on")

    def photographs(self, report: str, place: str, many: int, seed: int = 0) -> None:
        """Put in as the camera would, into the first place for photographs of a screen."""
        self.at(report, place)
        files = [
            {"name": f"{seed + at}.jpg", "mimeType": "image/jpeg", "buffer": picture(seed + at)}
            for at in range(many)
        ]
        before = self.page.locator("figure.photograph").count()
        self.page.locator(".photograph-add input[type=file]").first.set_input_files(files)  # type: ignore[arg-type]
        expect(self.page.locator("figure.photograph")).to_have_count(before + many)

    def sign(self, report: str, name: str = "I. Nobody") -> None:
        self.at(report, "sign")
        self.fill(Your_name=name)
        looked_again = self.page.get_by_text("I looked again, and all of it passed")
        if looked_again.count():
            looked_again.click()
        pad = self.page.locator("canvas.signature")
        pad.scroll_into_view_if_needed()
        box = pad.bounding_box()
        assert box
        mouse = self.page.mouse
        mouse.move(box["x"] + 60, box["y"] + 60)
        mouse.down()
        for step in range(1, 12):
            mouse.move(box["x"] + 60 + 20 * step, box["y"] + 60 + (30 if step % 2 else -20))
        mouse.up()
        self.press("Sign")
        self.heading(re.compile("Report"))


def picture(seed: int, size: tuple[int, int] = (1600, 1200)) -> bytes:
    """A photograph as a camera writes it, no two alike."""
    image = shots.halves(size)
    image.paste("white", (seed * 40, 0, seed * 40 + 30, size[1]))
    image.paste(shots.noise((400, 300)), (100, 100))
    return shots.camera(image=image)
