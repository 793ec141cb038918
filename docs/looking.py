"""What the scripts that take pictures go through: the demo fleet, served, and a browser."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from playwright.sync_api import Browser, BrowserContext, sync_playwright
from sqlalchemy import update

from app.store.db import make_engine
from app.store.people import SignIn
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


def proved_now(url: str) -> None:
    """As if everybody signed in had just given their password: some pages ask for it anew."""
    engine = make_engine(url)
    with engine.begin() as connection:
        connection.execute(update(SignIn).values(proved_at=datetime.now(UTC)))
    engine.dispose()


@contextmanager
def a_browser() -> Iterator[Browser]:
    """Chromium, named by CHROMIUM when it is not on the path."""
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield browser
        browser.close()


def context(
    browser: Browser, url: str, cookies: Mapping[str, str] = COOKIES, **traits: Any
) -> BrowserContext:
    made = browser.new_context(**traits)
    made.add_cookies([{"name": name, "value": key, "url": url} for name, key in cookies.items()])
    return made
