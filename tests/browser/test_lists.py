"""The lists in a real browser: nothing for axe to find, and what needs a hand or an eye."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.sound import must_be_sound, must_be_sound_at_each
from tests.fixtures.browser import DESK, TABLET
from tests.fixtures.server import Server

PAGES = [
    "/directives",
    "/directives/new",
    "/directives/1",
    "/directives/1/report",
    "/directives/1/term",
    "/",
    "/fleet",
    "/fleet?q=ZQ&standing=all",
    "/fleet?q=no+such+thing",  # a filter that cannot be read
    "/fleet?q=ZQZZ",  # nothing found
    "/fleet/wear",
    "/fleet/wear/rows?of=valves&count=outside",
    "/due",
    "/due?status=unknown",
    "/due?from=yesterday",
    "/overdue",
    "/fleet/evidence?q=ZQTX",
    "/overdue/evidence?q=ZQTX+102",
    "/due/evidence?q=ZQZZ",
    "/cars/1/evidence",
    "/morning",
    "/morning?since=tomorrow",
    "/morning/parts/moved",
    "/morning/parts/overdue?within=180",
    "/morning/lists",
    "/morning/seen/1/visual",
    "/account/notices",
    "/account/units",
    "/tour",
    "/imports",
    "/take-over",
    "/ladings",
    "/ladings/new",
    "/about",
    "/nothing-here",
    "/visits",
    "/loading",
    "/loading/many",
    "/loading/asked",
    "/loading/held",
    "/loading?car=ZQKX+104512",
    "/changes",
    "/changes?from=yesterday",
    "/changes/2",
    "/cars/1/changes",
    "/retention",
    "/audits",
    "/audits/new",
    "/audits/new?of=due&to=soon",
    "/audits/findings",
    "/cars/1/hand-over",
    "/people",
    "/people/invite",
    "/people/parties",
    "/people/1",
    "/people/1/changes",
    "/account",
    "/account/prove",
]
CARS = """mark,number,specification,built_on,owner
ZQWX,11,DOT 111A100W1,2012-05-01,Lantern Invented Cars
ZQWX,12,DOT 111A100W1,{built},Lantern Invented Cars
"""


@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_nothing_and_nothing_sticks_out(
    seen_at_a_desk: Page, demo_server: Server, path: str
) -> None:
    seen_at_a_desk.goto(demo_server.url + path)
    must_be_sound_at_each(seen_at_a_desk, DESK, TABLET)


@pytest.mark.parametrize("size", [(1280, 900), (820, 1180), (360, 740)])
def test_axe_finds_nothing_where_people_sign_in(
    nobodys_page: Page, demo_server: Server, size: tuple[int, int]
) -> None:
    page = nobodys_page
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(f"{demo_server.url}/sign-in")
    must_be_sound(page)
    page.get_by_label("Email address").fill("nobody@people.invalid")
    page.get_by_label("Password").fill("not the one")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert").last).to_be_visible()
    must_be_sound(page)
    page.goto(f"{demo_server.url}/fleet")
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    must_be_sound(page)
    page.goto(f"{demo_server.url}/set-up/nothing-opens-by-this")
    must_be_sound(page)


@pytest.mark.parametrize(
    "path", ["/", "/overdue", "/imports", "/changes", "/people", "/account", "/visits"]
)
def test_a_narrow_phone_needs_no_scrolling_sideways(
    seen_at_a_desk: Page, demo_server: Server, path: str
) -> None:
    seen_at_a_desk.set_viewport_size({"width": 360, "height": 740})
    seen_at_a_desk.goto(demo_server.url + path)
    must_be_sound(seen_at_a_desk)


def test_reasons_unfold_below_their_row_and_fold_again(page: Page, demo_server: Server) -> None:
    page.goto(f"{demo_server.url}/overdue")
    why = page.locator("a.why").first
    why.click()
    expect(page.locator("tr.unfold")).to_have_count(1)
    expect(why).to_have_attribute("aria-expanded", "true")
    expect(page.locator("tr.unfold")).to_contain_text("49 CFR")
    must_be_sound(page)
    why.click()
    expect(page.locator("tr.unfold")).to_have_count(0)
    expect(why).to_have_attribute("aria-expanded", "false")


def test_without_javascript_why_leads_to_the_item_on_the_cars_page(
    page_without_javascript: Page, demo_server: Server
) -> None:
    page = page_without_javascript
    page.goto(f"{demo_server.url}/overdue")
    page.locator("a.why").first.click()
    expect(page).to_have_url(re.compile(r"/cars/\d+#\w+$"))
    item = page.url.rpartition("#")[2]
    expect(page.locator(f"#{item}")).to_have_count(1)


def test_a_slash_goes_to_the_search_and_enter_finds_the_car(
    page: Page, demo_server: Server
) -> None:
    page.goto(f"{demo_server.url}/fleet")
    name = page.locator("tbody a.car").first.inner_text()
    page.keyboard.press("/")
    expect(page.locator("#find")).to_be_focused()
    page.keyboard.type(name)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text(name)


def test_the_keyboard_reaches_the_page_past_the_head(page: Page, demo_server: Server) -> None:
    page.goto(f"{demo_server.url}/due")
    page.keyboard.press("Tab")
    expect(page.locator(".skip")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#main")).to_be_focused()


def test_a_filter_is_in_the_address_and_stays_in_the_form(page: Page, demo_server: Server) -> None:
    page.goto(f"{demo_server.url}/due")
    page.select_option("#item", "thickness")
    page.select_option("#status", "soon")
    page.get_by_role("button", name="Show").click()
    expect(page).to_have_url(re.compile("item=thickness.*status=soon"))
    expect(page.locator(".in-words")).to_contain_text("Due soon on")
    expect(page.locator("#item")).to_have_value("thickness")


def test_a_list_is_taken_away_as_it_is_filtered(
    page: Page, demo_server: Server, tmp_path: Path
) -> None:
    page.goto(f"{demo_server.url}/overdue?item=visual")
    rows = page.locator("tbody tr").count()
    with page.expect_download() as download:
        page.get_by_role("link", name="CSV").click()
    assert re.fullmatch(r"overdue-\d{4}-\d\d-\d\d\.csv", download.value.suggested_filename)
    download.value.save_as(tmp_path / "list.csv")
    held = len((tmp_path / "list.csv").read_text("utf-8-sig").splitlines()) - 1
    assert held == rows if rows < 50 else held >= rows


def test_print_leaves_the_list_and_drops_the_controls(page: Page, demo_server: Server) -> None:
    page.goto(f"{demo_server.url}/overdue")
    page.emulate_media(media="print")
    expect(page.locator(".masthead")).to_be_hidden()
    expect(page.locator("form.filter")).to_be_hidden()
    expect(page.locator(".in-words")).to_be_visible()
    expect(page.locator("tbody .status").first).to_be_visible()
    expect(page.locator(".footer")).to_contain_text("not an authority")
    # The demo's overdue list is longer than a page, and the print says so.
    expect(page.locator(".print-only")).to_be_visible()
    expect(page.locator(".print-only")).to_contain_text("one page of a longer list")
    page.set_viewport_size({"width": 720, "height": 960})  # a sheet of paper keeps the table
    assert page.eval_on_selector("thead", "head => getComputedStyle(head).display") == (
        "table-header-group"
    )


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    """A file of cars with a fault, and the same mended."""
    wrong, mended = tmp_path / "cars.csv", tmp_path / "cars mended.csv"
    wrong.write_text(CARS.format(built="3/4/2012"))
    mended.write_text(CARS.format(built="2012-03-04"))
    return wrong, mended


def test_a_file_comes_in_after_its_fault_is_mended(
    page: Page, server: Server, files: tuple[Path, Path]
) -> None:
    wrong, mended = files
    page.goto(server.url)
    page.get_by_role("link", name="Bring cars in").click()
    page.set_input_files("#file", wrong)
    page.get_by_role("button", name="Look through the file").click()
    expect(page.get_by_role("heading", name="1 cell cannot be taken")).to_be_visible()
    must_be_sound(page)
    page.set_input_files("#file", mended)
    page.get_by_role("button", name="Look through it").click()
    expect(page.get_by_role("heading", name="Ready to come in")).to_be_visible()
    must_be_sound(page)
    page.get_by_role("button", name="Bring it in").click()
    expect(page.get_by_role("heading", name="is in the record")).to_be_visible()
    must_be_sound(page)
    page.get_by_role("link", name="The fleet").click()
    expect(page.locator("tbody tr")).to_have_count(2)
    page.goto(f"{server.url}/imports/1/take-back")
    must_be_sound(page)
    page.get_by_role("button", name="Take the import back").click()
    expect(page.get_by_role("heading", name="Taken back")).to_be_visible()
    page.get_by_role("link", name="About this import").click()
    expect(page.get_by_role("main")).to_contain_text("Test Planner")
    must_be_sound(page)


def test_a_file_comes_in_without_javascript(
    page_without_javascript: Page, server: Server, files: tuple[Path, Path]
) -> None:
    page = page_without_javascript
    page.goto(f"{server.url}/imports?kind=ladings")
    lading = files[0].with_name("ladings.csv")
    lading.write_text("name,un\nEthanol,UN1170\n")
    page.set_input_files("#file", lading)
    page.get_by_role("button", name="Look through the file").click()
    page.get_by_role("button", name="Bring it in").click()
    # The page asks again by itself until the work is done.
    expect(page.get_by_role("heading", name="is in the record")).to_be_visible()


def test_a_file_over_the_limit_is_told_before_it_travels(page: Page, server: Server) -> None:
    page.goto(f"{server.url}/imports?kind=cars")
    page.evaluate("document.querySelector('#file').dataset.mostBytes = '10'")
    page.set_input_files("#file", {"name": "big.csv", "mimeType": "text/csv", "buffer": b"x" * 11})
    page.get_by_role("button", name="Look through the file").click()
    assert page.url.endswith("/imports?kind=cars")
    assert "larger than" in page.eval_on_selector("#file", "field => field.validationMessage")
