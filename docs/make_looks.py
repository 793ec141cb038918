"""Takes every page of the product to be looked at: `python -m docs.make_looks FOLDER [START ...]`.

Wide, tablet and phone, light and dark, into FOLDER; with those of a page side by side in FOLDER/sheets. Which pages
there are is read from the table of routes (`tests/access/routes.py`): their addresses come from following the links
of the demo fleet, and of what it does not have from a register with one of each thing. A page that neither has is
named at the end. With START only those whose address begins so. Needs Chromium, named by CHROMIUM when it is not on
the path.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from html import unescape
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image
from playwright.sync_api import BrowserContext

from app.main import create_app
from app.settings import Settings
from app.store import migrate
from app.store.db import write_session
from docs.looking import a_browser, a_demo, context, proved_now
from tests.access.routes import NEEDS
from tests.access.test_matrix import OTHERWISE, PARAMETER, WORDS
from tests.access.world import OWN, World, add_changes, browser_key, build
from tests.browser.mornings import Morning
from tests.browser.sound import WIDE
from tests.fixtures.server import serving

WIDTHS = (1280, 820, 390)
SCHEMES = ("light", "dark")
LINK = re.compile(r'href="(/[^"#]*)')
# Files, parts of pages, and what only leads on.
NO_PAGES = re.compile(
    r"\.\w+$|^/api/|/totals$|/progress$|/reasons$|/rows$|/verdict$|^/(health|ready)$|/photographs/|/openid|/preview$|^/field/app/"
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
LOST = "/no-such-page"
SHEET = (
    (1280, "light", 560),
    (1280, "dark", 560),
    (820, "dark", 400),
    (390, "light", 240),
    (390, "dark", 240),
)
SHEET_HEIGHT = 1500


def main(folder: Path, *starts: str) -> None:
    """Take all pages, or those whose address begins with one of `starts`."""
    (folder / "sheets").mkdir(parents=True, exist_ok=True)
    with ExitStack() as held:
        browser = held.enter_context(a_browser())
        wanted = {path for path in page_routes() if path.startswith(starts or ("/",))}
        demo = held.enter_context(a_demo())
        signed_in = context(browser, demo)
        some_work(signed_in, demo)
        found = reached(signed_in, demo)
        nobody = context(browser, demo, {})
        at = {path: (signed_in, demo + found[path]) for path in found}
        at |= {path: (nobody, demo + path.replace("{key}", "no-key")) for path in SIGNED_OUT}
        lacking = {
            path
            for path in sorted(wanted)
            if path not in at or not take(*at[path], folder, path, path in SIGNED_OUT)
        }
        take(signed_in, demo + LOST, folder, LOST, True)
        url, world = held.enter_context(one_of_each())
        for path in sorted(lacking):
            # Who brought a file in is the planner; most other things are anybody's.
            for role in ("planner", "compliance", "administrator"):
                keeper = context(browser, url, {"session": browser_key(role, OWN)})
                if take(keeper, url + filled(path, world), folder, path):
                    lacking.discard(path)
                    break
        sys.stdout.write(f"Not reached: {', '.join(sorted(lacking)) or 'none'}\n")


def some_work(signed_in: BrowserContext, url: str) -> None:
    """A sample drawn, a car on hold, lines set aside: so that lists have something in them."""
    page = signed_in.new_page()
    morning = Morning(page, url)
    morning.mark_a_line_as_seen()
    morning.hold_a_car()
    morning.ask_the_rack()
    morning.draw_a_sample()
    page.close()


def page_routes() -> list[str]:
    return [path for method, path in NEEDS if method == "GET" and not NO_PAGES.search(path)]


def filled(path: str, world: World) -> str:
    keys = {**WORDS, **world.own}
    return PARAMETER.sub(lambda found: keys[found[1]], OTHERWISE.get(path, path))


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
        answer = signed_in.request.get(url + address, max_redirects=0)
        if answer.status == 200 and "html" in answer.headers["content-type"]:
            found[path] = address
            waiting += [unescape(link) for link in LINK.findall(answer.text())]
    return found


def take(
    where: BrowserContext, address: str, folder: Path, path: str, refused: bool = False
) -> bool:
    """The pictures of one page; nothing where it is none, or a refusal that was not meant to be seen."""
    page = where.new_page()
    try:
        answer = page.goto(address, wait_until="networkidle")
        if not refused and (answer is None or answer.status >= 400):
            return False
        name = re.sub(r"\W+", "-", path).strip("-") or "home"
        for scheme in SCHEMES:
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            for width in WIDTHS:
                page.set_viewport_size({"width": width, "height": 900})
                if page.evaluate(WIDE) > 0:
                    sys.stdout.write(f"{path} is wider than {width} px\n")
                page.screenshot(path=folder / f"{name}-{width}-{scheme}.png", full_page=True)
        side_by_side(folder, name)
        sys.stdout.write(f"{path} {address}\n")
        return True
    finally:
        page.close()


def side_by_side(folder: Path, name: str) -> None:
    made = []
    for width, scheme, drawn in SHEET:
        with Image.open(folder / f"{name}-{width}-{scheme}.png") as picture:
            size = (drawn, picture.height * drawn // picture.width)
            made.append(picture.convert("RGB").resize(size, Image.Resampling.LANCZOS))
    height = min(SHEET_HEIGHT, max(each.height for each in made))
    sheet = Image.new("RGB", (sum(each.width + 8 for each in made), height), "#888888")
    at = 0
    for each in made:
        sheet.paste(each, (at, 0))
        at += each.width + 8
    sheet.save(folder / "sheets" / f"{name}.png")


@contextmanager
def one_of_each() -> Iterator[tuple[str, World]]:
    """Where a register is served that has one of each thing, and what their keys are."""
    with TemporaryDirectory() as name:
        url = f"sqlite:///{Path(name) / 'store.db'}"
        migrate.upgrade(url)
        app = create_app(Settings(database_url=url))
        with write_session(app.state.sessions) as db:
            world = build(db, app.state.attachments)
        with write_session(app.state.sessions) as db:
            add_changes(db, world)
        app.state.engine.dispose()
        proved_now(url)
        with serving(url, Path(name)) as running:
            yield running.url, world


if __name__ == "__main__":
    main(Path(sys.argv[1]), *sys.argv[2:])
