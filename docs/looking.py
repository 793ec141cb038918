"""What the scripts that take pictures go through: the demo fleet, served, and a browser."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from playwright.sync_api import Browser, BrowserContext, sync_playwright

from tests.browser.walk import proved_now
from tests.fixtures.browser import chromium
from tests.fixtures.people import COOKIES, let_in_at
from tests.fixtures.server import load_demo, serving


@contextmanager
def a_demo() -> Iterator[str]:
    """Where the demo fleet is served, with somebody signed in who may do all."""
    with TemporaryDirectory() as name:
        url = f"sqlite:///{Path(name) / 'store.db'}"
        load_demo(url)
        let_in_at(url)
        proved_now(url)
        with serving(url, Path(name)) as running:
            yield running.url


@contextmanager
def a_browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        yield browser
        browser.close()


def context(
    browser: Browser, url: str, cookies: Mapping[str, str] = COOKIES, **traits: Any
) -> BrowserContext:
    made = browser.new_context(**traits)
    made.add_cookies([{"name": name, "value": key, "url": url} for name, key in cookies.items()])
    return made
