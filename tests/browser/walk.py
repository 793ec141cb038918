"""Every page that the program serves, and an address at which each has something to show.

Which pages there are is read from the table of routes (`tests/access/routes.py`). Their addresses come from following
the links of the demo fleet, and of what it does not have from a register with one of each thing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from html import unescape
from pathlib import Path

from playwright.sync_api import BrowserContext
from sqlalchemy import update

from app.access import ROLES
from app.main import create_app
from app.settings import Settings
from app.store.db import make_engine
from app.store.people import SignIn
from tests.access.routes import NEEDS
from tests.access.test_matrix import OF_PEOPLE, OTHERWISE, PARAMETER, WHO, WORDS
from tests.access.world import OWN, World, browser_key, fill
from tests.browser.mornings import Morning
from tests.fixtures.people import COOKIES
from tests.fixtures.sockets import answering
from tests.fixtures.web import NOW

PATIENCE_MS = 60_000  # some pages ask the calculator for every car
LINK = re.compile(r'href="(/[^"#]*)')
# Files, parts of pages, what only leads on, and the tablet's program, whose screens have tests of their own.
NO_PAGES = re.compile(
    r"\.\w+$|^/api/(?!v1/docs$)|/totals$|/progress$|/reasons$|/verdict$|^/(health|ready)$|/photographs/|/openid|/preview$"
    r"|^/field/app/"
)
# Where following the links begins; the first address that is found of a page is the one that is taken.
BEGIN = (
    "/", "/cars/7", "/cars/1", "/due", "/cars/1/trial?lading.commodity=Invented+acid&lading.corrosive_or_reactive=yes",
    "/fleet/trial?lading.commodity=Invented+acid&lading.corrosive_or_reactive=yes", "/cars/1/events/new", "/record",
    "/field/cars/1", "/fleet/labels?q=ZQTX+10", "/visits/orders?shop=Example+Shop+One+%28invented%29",
)  # fmt: skip
SIGNED_OUT = (
    "/sign-in",
    "/sign-in/second",
    "/set-up/{key}",
    "/invitation/{key}",
    "/new-password/{key}",
)


@dataclass(frozen=True)
class Address:
    """Where a page is, and what the browser of whoever looks at it holds."""

    server: str
    path: str
    cookies: Mapping[str, str]

    @property
    def url(self) -> str:
        return self.server + self.path


def page_routes() -> list[str]:
    return [path for method, path in NEEDS if method == "GET" and not NO_PAGES.search(path)]


def addresses(
    signed_in: BrowserContext, demo: str, worlds: str, world: World
) -> dict[str, Address]:
    """Of every page: on the demo, where `signed_in` is, or else in the world of one of each thing."""
    some_work(signed_in, demo)
    found = {path: Address(demo, at, COOKIES) for path, at in reached(signed_in, demo).items()}
    found |= {path: Address(demo, path.replace("{key}", "no-key"), {}) for path in SIGNED_OUT}
    lacking = [path for path in page_routes() if path not in found]
    return found | {path: in_the_world(path, worlds, world) for path in lacking}


def some_work(signed_in: BrowserContext, url: str) -> None:
    """A sample drawn, a car on hold, lines set aside: so that lists have something in them."""
    page = signed_in.new_page()
    morning = Morning(page, url)
    morning.mark_a_line_as_seen()
    morning.hold_a_car()
    morning.ask_the_rack()
    morning.draw_a_sample()
    page.close()


def reached(signed_in: BrowserContext, url: str) -> dict[str, str]:
    """An address for each route that the links of the demo lead to."""
    patterns = [
        (path, re.compile(PARAMETER.sub("[^/]+", path.replace(".", r"\."))))
        for path in sorted(page_routes(), key=lambda each: each.count("{"))
    ]
    found: dict[str, str] = {}
    waiting = list(BEGIN)
    while waiting:
        address = waiting.pop(0)
        bare = address.partition("?")[0]
        path = next((path for path, written in patterns if written.fullmatch(bare)), None)
        if path is None or path in found or path == "/sign-in":
            continue
        answer = signed_in.request.get(url + address, max_redirects=0, timeout=PATIENCE_MS)
        if answer.status == 200 and "html" in answer.headers["content-type"]:
            found[path] = address
            waiting += [unescape(link) for link in LINK.findall(answer.text())]
    return found


def in_the_world(path: str, url: str, world: World) -> Address:
    """Where a route shows a thing of the company `OWN`, to one of its people who may see it."""
    keys = {**WORDS, **world.own}
    filled = PARAMETER.sub(lambda found: keys[found[1]], OTHERWISE.get(path, path))
    may = {"administrator"} if path in OF_PEOPLE else WHO.get(NEEDS["GET", path], {*ROLES})
    # The planner before others: only who brought a file in may see it.
    role = next(role for role in ROLES if role in may)
    return Address(url, filled, {"session": browser_key(role, OWN)})


@contextmanager
def one_of_each(folder: Path) -> Iterator[tuple[str, World]]:
    """Serve the migrated, empty store.db of `folder` with one of each thing in it; where, and their keys."""
    app = create_app(Settings(database_url=f"sqlite:///{folder / 'store.db'}"), clock=lambda: NOW)
    world = fill(app)
    with answering(app) as port:
        yield f"http://127.0.0.1:{port}", world
    app.state.engine.dispose()


def proved_now(url: str) -> None:
    """As if everybody signed in had just given their password: some pages ask for it anew."""
    engine = make_engine(url)
    with engine.begin() as connection:
        connection.execute(update(SignIn).values(proved_at=datetime.now(UTC)))
    engine.dispose()
