"""A folder of messy files, made by other tools, comes in through the page: told, mended, confirmed."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.fixtures.server import Server
from tests.messy import files

PATIENCE_MS = 60_000  # the worker of a busy machine


class Desk:
    """Someone at the page of files in."""

    def __init__(self, page: Page, server: Server) -> None:
        self.page = page
        self.url = server.url

    def hand_in(self, kind: str, path: Path) -> None:
        self.page.goto(f"{self.url}/imports")
        self.kind(kind).check()
        self.page.get_by_label("File", exact=True).set_input_files(path)
        self.page.get_by_role("button", name="Look through the file").click()

    def kind(self, kind: str) -> Locator:
        """What a file holds, to choose from; the rest of a choice's name tells more."""
        return self.page.get_by_role("radio", name=re.compile(f"^{kind}"))

    def mend(self, path: Path) -> None:
        self.page.get_by_label("The mended file").set_input_files(path)
        self.page.get_by_role("button", name="Look through it").click()
        expect(self.page.get_by_role("button", name="Bring it in")).to_be_visible(
            timeout=PATIENCE_MS
        )

    def confirm(self, path: Path) -> None:
        """Say yes to what the page shows, and wait until it is done."""
        self.page.get_by_role("button", name="Bring it in").click()
        done = self.page.get_by_role("heading", name=f"{path.name} is in the record")
        expect(done).to_be_visible(timeout=PATIENCE_MS)

    def counts(self) -> dict[str, str]:
        """What the file would do or has done, by its name on the page."""
        pairs = self.page.locator("dl.outcome > div").all()
        return {pair.locator("dt").inner_text(): pair.locator("dd").inner_text() for pair in pairs}

    def faults(self) -> list[tuple[str, ...]]:
        """Row, column, found and wanted, as the page lists them."""
        rows = self.page.get_by_role("region", name="What cannot be taken").locator("tbody tr")
        expect(rows.first).to_be_visible()
        return [tuple(row.locator("th, td").all_inner_texts()) for row in rows.all()]

    def cars(self, search: str) -> set[str]:
        self.page.goto(f"{self.url}/fleet?q={search}")
        names = self.page.locator("tbody a.car").all_inner_texts()
        return {name.replace("\xa0", " ") for name in names}

    def open_car(self, name: str) -> None:
        self.page.goto(f"{self.url}/fleet?q={name}")
        self.page.locator("tbody a.car").first.click()
        expect(self.page.get_by_role("heading", level=1)).to_have_text(name)


@pytest.fixture
def desk(page: Page, server: Server) -> Desk:
    return Desk(page, server)


def test_a_messy_folder_is_told_what_is_wrong_mended_and_confirmed(desk: Desk, tmp_path: Path):
    _cars_from_a_messy_csv(desk, tmp_path)
    _cars_from_a_messy_workbook(desk, tmp_path)
    _components_with_tabs(desk, tmp_path)
    _events_from_a_messy_workbook(desk, tmp_path)
    _the_same_file_again(desk, tmp_path)


def _cars_from_a_messy_csv(desk: Desk, folder: Path) -> None:
    desk.hand_in("Cars", files.cars_csv(folder / "cars.csv", broken=True))

    assert [(row, column, found) for row, column, found, _ in desk.faults()] == [
        ("6", "built_on", "1/2/2019"),
        ("7", "jacketed", "maybe"),
        ("8", "specification", "DOT 111B100W1"),
    ]
    assert "2019-01-02 or 2019-02-01" in desk.faults()[0][3]
    assert desk.cars("ZQMX") == set()  # nothing of it was stored

    desk.page.go_back()
    mended = files.cars_csv(folder / "cars.csv", broken=False)
    desk.mend(mended)
    assert desk.counts()["Already in the record"] == "1"  # the row that stands there twice
    desk.confirm(mended)
    assert desk.cars("ZQMX") == {f"ZQMX {number}" for number in range(501, 507)}


def _cars_from_a_messy_workbook(desk: Desk, folder: Path) -> None:
    book = files.cars_xlsx(folder / "more cars.xlsx")
    desk.hand_in("Cars", book)
    desk.confirm(book)

    assert desk.cars("ZQMX 60") == {"ZQMX 601", "ZQMX 602"}
    desk.open_car("ZQMX 602")
    # 37025 in the workbook, counted from 1899-12-30
    expect(desk.page.locator("main")).to_contain_text("2001-05-14")


def _components_with_tabs(desk: Desk, folder: Path) -> None:
    parts = files.components_csv(folder / "valves.csv")
    desk.hand_in("Components", parts)
    desk.confirm(parts)
    desk.open_car("ZQMX 601")

    for serial in ("MX-1", "MX-2"):
        expect(desk.page.locator("main")).to_contain_text(serial)


def _events_from_a_messy_workbook(desk: Desk, folder: Path) -> None:
    desk.hand_in("Events", files.events_xlsx(folder / "inspections.xlsx", broken=True))
    told = {(row, column): (found, wanted) for row, column, found, wanted in desk.faults()}

    assert set(told) == {("2", "readings"), ("3", "readings"), ("5", "on"), ("6", "number")}
    assert "Was 0.437 meant?" in told["2", "readings"][1]
    assert told["6", "number"][0] == "ZQMX 699"  # the file of cars lacks it

    mended = files.events_xlsx(folder / "inspections.xlsx", broken=False)
    desk.mend(mended)
    assert desk.counts()["Would be added"] == "5"
    assert desk.counts()["Already in the record"] == "1"
    desk.confirm(mended)
    desk.open_car("ZQMX 601")
    expect(desk.page.locator("main")).to_contain_text("0.437")
    expect(desk.page.locator("main")).to_contain_text("0.46875")  # 15/32, exactly


def _the_same_file_again(desk: Desk, folder: Path) -> None:
    desk.hand_in("Events", files.events_xlsx(folder / "again.xlsx", broken=False))

    expect(desk.page.get_by_role("heading", name="Nothing new in this file")).to_be_visible()


# what the file is, how it is made, and a word of what the page says
WRONG_SORTS = [
    ("a picture by another name", files.picture, "is a picture"),
    ("an old program's letters", files.windows_1252_csv, "is not written in UTF-8: line 2"),
]


@pytest.mark.parametrize(("sort", "make", "said"), WRONG_SORTS, ids=[row[0] for row in WRONG_SORTS])
def test_a_file_of_the_wrong_sort_is_told_apart(desk: Desk, tmp_path: Path, sort, make, said):
    desk.hand_in("Cars", make(tmp_path / "cars.csv"))

    expect(desk.page.get_by_role("alert").filter(has_text="Nothing was taken in")).to_contain_text(
        said
    )
    expect(desk.kind("Cars")).to_be_checked()  # what was chosen is kept
