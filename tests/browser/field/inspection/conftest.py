"""A register with a car, a network that can break before it, and tablets that can be killed."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, BrowserType, Page

from tests.browser.field.inspection.network import Network, network
from tests.browser.field.inspection.walking import Inspector
from tests.browser.field.inspection.yard import yard
from tests.fixtures.browser import QUIET
from tests.fixtures.people import COOKIES
from tests.fixtures.server import Server

WIDTH, HEIGHT = 820, 1180
PATIENCE = 15_000  # milliseconds, on a busy machine


@pytest.fixture
def yard_server(sqlite_template: Path, tmp_path: Path) -> Iterator[Server]:
    """The program with the one car, of which nothing was recorded yet in this test."""
    folder = tmp_path / "yard"
    folder.mkdir()
    with yard(sqlite_template, folder) as running:
        yield running


@pytest.fixture
def wire(yard_server: Server) -> Iterator[Network]:
    with network(yard_server.url) as between:
        yield between


@dataclass
class Device:
    """A tablet with a memory of its own, which outlives its browser."""

    browsers: BrowserType
    chromium: str
    folder: Path
    url: str
    errors: list[str] = field(default_factory=list)
    context: BrowserContext | None = None

    def start(self) -> Inspector:
        """Open the browser and the tablet's page, signed in as before."""
        self.context = self.browsers.launch_persistent_context(
            str(self.folder), executable_path=self.chromium, args=list(QUIET), has_touch=True,
            viewport={"width": WIDTH, "height": HEIGHT}, locale="en-US",
        )  # fmt: skip
        self.context.set_default_timeout(PATIENCE)
        self.sign_in(COOKIES["session"])
        page = self.context.pages[0]
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        return Inspector(page, self.url)

    def sign_in(self, key: str | None) -> None:
        """Hold this key of a sign-in, or none."""
        assert self.context
        self.context.clear_cookies()
        if key:
            self.context.add_cookies([{"name": "session", "value": key, "url": self.url}])

    def kill(self) -> None:
        """End the browser as a dead battery does: without a word to it."""
        for process in _processes(self.folder):
            os.kill(process, signal.SIGKILL)
        self.context = None

    def close(self) -> None:
        if self.context:
            self.context.close()


def _processes(folder: Path) -> list[int]:
    """The browser whose memory lies in a folder; its helpers end with it."""
    wanted = f"--user-data-dir={folder}".encode()
    found = []
    for each in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            said = each.read_bytes().split(b"\0")
        except OSError:  # it ended meanwhile
            continue
        if wanted in said and not any(part.startswith(b"--type=") for part in said):
            found.append(int(each.parent.name))
    return found


@contextmanager
def device(browsers: BrowserType, chromium: str, folder: Path, url: str) -> Iterator[Device]:
    """A tablet; a script error on it fails the test."""
    made = Device(browsers, chromium, folder, url)
    try:
        yield made
        assert not made.errors
    finally:
        made.close()


@pytest.fixture
def tablet(browser: Browser, chromium_path: str, tmp_path: Path, wire: Network) -> Iterator[Device]:
    """One tablet before the network."""
    with device(browser.browser_type, chromium_path, tmp_path / "memory", wire.url) as made:
        yield made


def shown(page: Page) -> str:
    return page.get_by_role("main").inner_text()
