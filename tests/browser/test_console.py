"""A browser has nothing to complain of on our pages: no feature it does not know, nothing refused or missing."""

import pytest
from playwright.sync_api import ConsoleMessage, Page

from tests.fixtures.server import Server

PAGES = (
    "/", "/fleet", "/due", "/cars/1", "/cars/1/events/new", "/changes", "/people", "/account",
    "/account/passkeys", "/rulebook",
)  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_a_page_leaves_nothing_in_the_console(
    seen_at_a_desk: Page, demo_server: Server, path: str
) -> None:
    said: list[str] = []

    def note(each: ConsoleMessage) -> None:
        said.append(f"{each.type}: {each.text}")

    seen_at_a_desk.on("console", note)
    try:
        seen_at_a_desk.goto(demo_server.url + path)
        seen_at_a_desk.wait_for_load_state("networkidle")
    finally:
        seen_at_a_desk.remove_listener("console", note)
    assert said == []
