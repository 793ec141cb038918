"""Takes every page of the product to be looked at: `python -m docs.make_looks FOLDER [START ...]`.

Wide, tablet and phone, light and dark, into FOLDER; with those of a page side by side in FOLDER/sheets. Which pages
there are, and where, `tests/browser/walk.py` knows; one that it does not reach is named at the end. With START only
those whose address begins so. Needs Chromium, named by CHROMIUM when it is not on the path.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image
from playwright.sync_api import Browser

from app.store import migrate
from docs.looking import a_browser, a_demo, context
from tests.access.world import World
from tests.browser.sound import WIDE
from tests.browser.walk import SIGNED_OUT, Address, addresses, one_of_each
from tests.fixtures.people import COOKIES

WIDTHS = (1280, 820, 390)
SCHEMES = ("light", "dark")
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
        demo = held.enter_context(a_demo())
        worlds, world = held.enter_context(a_world())
        found = addresses(context(browser, demo), demo, worlds, world)
        found[LOST] = Address(demo, LOST, COOKIES)
        lacking = [
            path
            for path in sorted(found)
            if path.startswith(starts or ("/",)) and not take(browser, found[path], folder, path)
        ]
        sys.stdout.write(f"Not reached: {', '.join(lacking) or 'none'}\n")


def take(browser: Browser, address: Address, folder: Path, path: str) -> bool:
    """The pictures of one page; nothing where it is none, or a refusal that was not meant to be seen."""
    where = context(browser, address.server, address.cookies)
    page = where.new_page()
    try:
        answer = page.goto(address.url, wait_until="networkidle")
        refused = path in (*SIGNED_OUT, LOST)
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
        sys.stdout.write(f"{path} {address.path}\n")
        return True
    finally:
        where.close()


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
def a_world() -> Iterator[tuple[str, World]]:
    """Where a register is served that has one of each thing, and what their keys are."""
    with TemporaryDirectory() as name:
        migrate.upgrade(f"sqlite:///{Path(name) / 'store.db'}")
        with one_of_each(Path(name)) as served:
            yield served


if __name__ == "__main__":
    main(Path(sys.argv[1]), *sys.argv[2:])
