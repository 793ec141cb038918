"""The main job as a person does it: files come in, what is overdue and why, record, see the date move, correct it."""

import re
from pathlib import Path

from playwright.sync_api import Page, expect

from tests.fixtures.server import Server

CARS = """mark,number,specification,built_on,owner,region,commodity,un,hazard_class,packing_group,corrosive_or_reactive
ZQKX,104512,DOT 111A100W1,2001-04-20,Quillon Tank Lines,Gulf,Methanol,UN1230,3,II,no
ZQKX,104513,DOT 111A100W1,2021-06-01,Quillon Tank Lines,Gulf,Methanol,UN1230,3,II,no
"""
EVENTS = """mark,number,on,items,outcome,facility,readings
ZQKX,104512,2011-05-09,visual;structural_integrity;safety_systems;service_equipment;relief_device;thickness,pass,Shop A,shell_bottom=0.43;shell_top=0.44;head_a=0.45;head_b=0.45
"""  # noqa: E501
PATIENCE_MS = 60_000  # the worker of a busy machine


def test_the_main_job_from_a_file_to_a_corrected_record(page: Page, server: Server, tmp_path: Path):
    _bring_in(page, server, "Cars", _file(tmp_path, "cars.csv", CARS))
    _bring_in(page, server, "Events", _file(tmp_path, "events.csv", EVENTS))
    _find_it_overdue(page, server)
    _read_why(page)
    _record_an_inspection(page)
    _see_it_may_be_loaded(page)
    _correct_the_day(page)
    _see_both_records(page)
    _see_it_left_the_overdue_list(page, server)


def _file(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text)
    return path


def _bring_in(page: Page, server: Server, kind: str, path: Path) -> None:
    page.goto(f"{server.url}/imports")
    page.get_by_role("radio", name=re.compile(f"^{kind}")).check()
    page.get_by_label("File", exact=True).set_input_files(path)
    page.get_by_role("button", name="Look through the file").click()
    page.get_by_role("button", name="Bring it in").click()
    done = page.get_by_role("heading", name=f"{path.name} is in the record")
    expect(done).to_be_visible(timeout=PATIENCE_MS)


def _find_it_overdue(page: Page, server: Server) -> None:
    page.goto(server.url)
    page.get_by_role("navigation", name="Main").get_by_role("link", name="Overdue").click()
    row = (
        page.get_by_role("row")
        .filter(has_text="104512")
        .filter(has_text=re.compile("visual", re.I))
        .first
    )
    # Ten years after 2011-05-09 (49 CFR 180.509(d), 2019 edition).
    expect(row).to_contain_text("2021-05-09")
    expect(page.get_by_role("main")).not_to_contain_text("104513")
    row.get_by_role("link", name=re.compile("^ZQKX.104512$")).click()


def _read_why(page: Page) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text(re.compile("ZQKX.104512"))
    expect(page.get_by_role("heading", name="May not be loaded")).to_be_visible()
    row = page.get_by_role("row").filter(has_text="Visual inspection").first
    expect(row).to_contain_text("overdue")
    expect(row).to_contain_text("49 CFR 180.509(d)")


def _record_an_inspection(page: Page) -> None:
    page.get_by_role("link", name="Record an inspection").click()
    inspected = page.get_by_role("group", name="What was inspected")
    for item in (
        "Visual inspection", "Structural integrity", "Safety systems", "Thickness",
        "Service equipment", "Relief device", "Leakage", "Air brake",
    ):  # fmt: skip
        inspected.get_by_label(item).check()
    page.get_by_label("Day").fill("2026-11-01")
    page.get_by_label("Facility").fill("Shop B")
    for row, inches in enumerate(("0.44", "27/64", "0.45", "0.45"), start=1):
        page.get_by_label(f"Inches, reading {row}").fill(inches)
    page.get_by_role("button", name="Record", exact=True).last.click()
    row = page.get_by_role("row").filter(has_text="Visual inspection")
    expect(row).to_contain_text("2021-05-09")
    expect(row).to_contain_text("2036-11-01")


def _see_it_may_be_loaded(page: Page) -> None:
    page.get_by_role("link", name="To the car").click()
    expect(page.get_by_role("heading", name="May be loaded")).to_be_visible()
    # Bottom, below 200 psig: line C is 7/16 less 1/32 (49 CFR 180.509(g), 2019 edition).
    expect(
        page.get_by_role("img", name=re.compile("^Shell bottom: 0.01563 in above line C"))
    ).to_be_visible()


def _correct_the_day(page: Page) -> None:
    page.get_by_role("link", name=re.compile("^Correct the record of 2026-11-01")).click()
    expect(page.get_by_label("Facility")).to_have_value("Shop B")
    expect(page.get_by_label("Inches, reading 2")).to_have_value("0.421875")
    page.get_by_label("Day").fill("2026-10-01")
    page.get_by_role("button", name="Record the correction").last.click()
    row = page.get_by_role("row").filter(has_text="Visual inspection")
    expect(row).to_contain_text("2036-11-01")
    expect(row).to_contain_text("2036-10-01")


def _see_both_records(page: Page) -> None:
    page.get_by_role("link", name="To the car").click()
    struck = page.locator("tr.struck")
    expect(struck).to_contain_text("2026-11-01")
    struck.get_by_role("link", name=re.compile("Corrected")).click()
    expect(page.locator("tr:target")).to_contain_text("2026-10-01")
    expect(page.locator("tr:target")).to_contain_text("Test Planner")


def _see_it_left_the_overdue_list(page: Page, server: Server) -> None:
    page.goto(f"{server.url}/overdue")
    expect(page.get_by_role("main")).not_to_contain_text("104512")
