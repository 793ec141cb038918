"""A browser has nothing to complain of on our pages: no feature it does not know, nothing refused or missing."""

import pytest
from playwright.sync_api import Page

from tests.fixtures.server import Server

PAGES = (
    "/", "/fleet", "/due", "/cars/1", "/cars/1/events/new", "/changes", "/people", "/account",
    "/account/passkeys", "/rulebook",
)  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_a_page_leaves_nothing_in_the_console(page: Page, demo_server: Server, path: str) -> None:
    said: list[str] = []
    page.on("console", lambda each: said.append(f"{each.type}: {each.text}"))
    page.goto(demo_server.url + path)
    page.wait_for_load_state("networkidle")
    assert said == []
