"""A morning of compliance staff on the demo fleet, step by step; `take` hears each screen that is worth a picture."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, expect

Take = Callable[[str], None]
# In date on the demo, and with a history to tell.
CAR = "ZQTX 101"
LINE = re.compile(r"^Mark as seen: ")


class Morning:
    """The deeds of a morning, each from where it begins."""

    def __init__(self, page: Page, url: str, take: Take = lambda name: None) -> None:
        self.page, self.url, self.take = page, url, take

    def go(self, address: str) -> None:
        self.page.goto(self.url + address)

    def look_at_the_list(self) -> None:
        self.go("/morning")
        expect(self.page.get_by_role("heading", name="Morning list")).to_be_visible()
        self.take("list")

    def mark_a_line_as_seen(self) -> str:
        """Set the first overdue line aside; gives what it is called."""
        self.go("/morning/parts/overdue")
        link = self.page.get_by_role("link", name=LINE).first
        name = (link.get_attribute("aria-label") or "").removeprefix("Mark as seen: ")
        link.click()
        self.page.get_by_label("Why it can wait").fill("The shop has the car in hand (invented).")
        self.take("seen")
        self.page.get_by_role("button", name="Mark as seen").click()
        return name

    def hold_a_car(self) -> None:
        self.find_car()
        self.page.goto(self.page.url.split("?")[0] + "/facts/hold")
        self.page.get_by_label("On hold").select_option("yes")
        self.page.get_by_label("Reason").fill("A gasket weeps (invented).")
        self.page.get_by_role("button", name="Record").click()

    def ask_the_rack(self) -> None:
        self.go("/loading")
        self.page.get_by_label("Mark and number, as on the car").fill(CAR)
        self.page.get_by_role("button", name="Ask").click()
        expect(self.page.get_by_role("heading", level=2).first).to_be_visible()
        self.take("loading")

    def take_its_packet(self, folder: Path) -> Path:
        self.find_car()
        self.page.get_by_role("link", name="Evidence packet").click()
        self.take("packet")
        with self.page.expect_download() as coming:
            self.page.get_by_role("link", name="The PDF alone").click()
        kept = folder / "packet.pdf"
        coming.value.save_as(kept)
        return kept

    def order_a_check_by_lot(self, lot: str) -> None:
        """Write a directive down, look at what matches, freeze it."""
        self.go("/directives/new")
        said = {
            "Their name": "Example Valve Works (invented)",
            "Number": "EX-99",
            "Title": f"Valves of lot {lot} (invented)",
            "What is to be done": "Look at the seat of each valve.",
            "Lot": lot,
            "Or days after it was found": "60",
        }
        self.page.get_by_label("Ordered by").select_option("maker")
        self.page.get_by_label("Kind of component").select_option("relief_valve")
        for label, text in said.items():
            # Behind the label may stand whether it is needed.
            self.page.get_by_label(re.compile(f"^{label}\\b")).fill(text)
        self.page.get_by_role("button", name="See what matches").click()
        self.take("matches")
        self.page.get_by_role("button", name="Freeze these and set the due day").click()
        expect(self.page.get_by_text("its cars are frozen")).to_be_visible()
        self.take("directive")

    def close_the_first(self) -> None:
        self.page.get_by_role("checkbox").first.check()
        self.page.get_by_label("What came of it").select_option("nothing_found")
        self.page.get_by_role("button", name="Close them").click()

    def draw_a_sample(self) -> None:
        self.go("/audits/new?of=fleet&q=ZQKX")
        self.page.get_by_label("Title").fill("Morning audit (invented)")
        self.page.get_by_label("Size of the sample").fill("3")
        self.page.get_by_label("Seed").fill("17")
        self.page.get_by_role("button", name="Draw the sample").click()
        expect(self.page.get_by_text("The sample is drawn")).to_be_visible()
        self.take("sample")

    def find_car(self) -> None:
        self.go(f"/fleet?q={CAR.replace(' ', '+')}")
        self.page.locator("tbody a.car").first.click()
        expect(self.page.get_by_role("heading", level=1)).to_contain_text("101")
