"""Every page that the program serves, for axe: wide and on a phone, light and dark. Briefly, a few of them."""

import shutil
from collections.abc import Iterator
from itertools import product
from pathlib import Path

import pytest
from playwright.sync_api import Page

from tests.access.routes import NEEDS
from tests.access.world import World
from tests.browser.sound import WIDE, found_by_axe
from tests.browser.walk import (
    NO_PAGES,
    SIGNED_OUT,
    Address,
    addresses,
    in_the_world,
    one_of_each,
    page_routes,
    proved_now,
)
from tests.fixtures.browser import DESK
from tests.length import tries

LONG = tries(short=False, long=True)
# On the list of no other module.
FEW = ["/plans/{plan_id}/compare", "/take-over/{waiting_id}", "/told-directives/{told_order_id}"]
# Every so many of them.
LEFT_OUT = [path for method, path in NEEDS if method == "GET" and NO_PAGES.search(path)][
    :: tries(short=40, long=1)
]
PHONE = {"width": 390, "height": 844}
LOOKS = [*product((DESK, PHONE), ("light", "dark"))][: tries(short=1, long=4)]


@pytest.fixture(scope="module")
def world(
    sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[str, World]]:
    """Where the world of one of each thing is served, and its keys."""
    folder = tmp_path_factory.mktemp("world")
    shutil.copyfile(sqlite_template, folder / "store.db")
    with one_of_each(folder) as served:
        yield served


@pytest.fixture(scope="module")
def where(world: tuple[str, World], request: pytest.FixtureRequest) -> dict[str, Address]:
    if not LONG:
        return {path: in_the_world(path, *world) for path in FEW}
    demo = request.getfixturevalue("demo_server")
    proved_now(demo.database_url)
    return addresses(request.getfixturevalue("kept_desk").page.context, demo.url, *world)


@pytest.mark.parametrize("path", page_routes() if LONG else FEW)
def test_axe_finds_nothing_on_any_page_wide_or_narrow_light_or_dark(
    seen_at_a_desk: Page, where: dict[str, Address], path: str
) -> None:
    page = seen_at_a_desk
    be_who_may(page, where[path])
    answer = page.goto(where[path].url)
    assert answer
    assert answer.status == 200 or path in SIGNED_OUT
    assert [*wrong(page)] == []


@pytest.mark.parametrize("path", LEFT_OUT)
def test_what_is_left_out_is_no_page(
    seen_at_a_desk: Page, world: tuple[str, World], path: str
) -> None:
    address = in_the_world(path, *world)
    be_who_may(seen_at_a_desk, address)
    answer = seen_at_a_desk.request.get(address.url, max_redirects=0)
    assert not (answer.status == 200 and answer.body().lower().startswith(b"<!doctype html"))


def be_who_may(page: Page, address: Address) -> None:
    """Let the browser hold what it holds of whoever may look at this address, and nothing else."""
    page.context.clear_cookies()
    page.context.add_cookies(
        [
            {"name": name, "value": key, "url": address.server}
            for name, key in address.cookies.items()
        ]
    )


def wrong(page: Page) -> Iterator[str]:
    """What axe finds at each look, and whether anything sticks out at the side."""
    for size, scheme in LOOKS:
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size(size)
        look = f"{size['width']} px, {scheme}"
        yield from (f"{look}: {found}" for found in found_by_axe(page))
        if page.evaluate(WIDE) > 0:
            yield f"{look}: wider than that"
