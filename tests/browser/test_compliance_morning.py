"""A compliance morning on the demo fleet: list, mark as seen, hold a car, packet, directive, audit sample."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page, expect
from pypdf import PdfReader

from tests.browser.mornings import CAR, Morning
from tests.fixtures.server import Server

LOT = "L17"


def test_a_morning_of_compliance_staff(page: Page, demo_server: Server, tmp_path: Path) -> None:
    morning = Morning(page, demo_server.url)
    morning.look_at_the_list()
    _set_a_line_aside(morning)
    _stop_a_car(morning)
    _prove_its_past(morning, tmp_path)
    _answer_an_order(morning)
    _audit_a_sample(morning)


def _set_a_line_aside(morning: Morning) -> None:
    name = morning.mark_a_line_as_seen()
    line = morning.page.locator(f"a[href^='/morning/seen/'][aria-label$='{name}']")
    morning.go("/morning/parts/overdue")
    expect(line).to_have_count(0)
    morning.go("/morning/parts/overdue?seen=yes")
    expect(line.first).to_be_visible()


def _stop_a_car(morning: Morning) -> None:
    morning.ask_the_rack()
    expect(morning.page.get_by_role("heading", name="May be loaded")).to_be_visible()
    morning.hold_a_car()
    morning.ask_the_rack()
    expect(morning.page.get_by_role("heading", name="May not be loaded")).to_be_visible()
    expect(morning.page.locator("main")).to_contain_text("A gasket weeps (invented).")


def _prove_its_past(morning: Morning, folder: Path) -> None:
    told = PdfReader(morning.take_its_packet(folder))
    text = " ".join(page.extract_text() for page in told.pages)
    assert CAR in text
    assert "A gasket weeps (invented)." in text


def _answer_an_order(morning: Morning) -> None:
    morning.order_a_check_by_lot(LOT)
    matched = morning.page.get_by_role("checkbox").count()
    assert matched > 1
    morning.close_the_first()
    expect(morning.page.get_by_text("What you ticked is closed.")).to_be_visible()
    expect(morning.page.get_by_role("checkbox")).to_have_count(matched - 1)


def _audit_a_sample(morning: Morning) -> None:
    morning.draw_a_sample()
    expect(morning.page.locator("tbody a.car")).to_have_count(3)
    morning.page.get_by_role("link", name="Evidence packet").click()
    expect(morning.page.get_by_role("link", name="Take the packet away")).to_be_visible()
