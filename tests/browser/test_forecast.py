"""The forecast in a real browser: its pictures are drawn, and its tables come along on paper."""

import pytest
from playwright.sync_api import Page, expect

from tests.fixtures.server import Server

DRAWN = "images => images.map(each => each.complete && each.naturalWidth)"


@pytest.fixture
def forecast(page: Page, demo_server: Server) -> Page:
    page.goto(f"{demo_server.url}/forecast", wait_until="load")
    return page


def test_every_picture_is_drawn_in_its_width(forecast: Page):
    assert forecast.locator("img.chart").evaluate_all(DRAWN) == [1180] * 4


def test_a_table_that_is_folded_on_the_screen_is_whole_on_paper(forecast: Page):
    table = forecast.get_by_role("table", name="Shop days by month", include_hidden=True)
    expect(table).to_be_hidden()
    forecast.emulate_media(media="print")
    expect(table).to_be_visible()


def test_a_picture_opened_by_itself_has_its_colors(page: Page, demo_server: Server):
    page.goto(f"{demo_server.url}/forecast/due.svg")
    bar = page.locator(".series .bars path").first
    assert "hatch-0" in bar.evaluate("each => getComputedStyle(each).fill")
