"""The tablet's program in Chromium against a stand-in of the register: one server a module, a fresh tablet a test."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from app.web import field_program
from tests.browser.field.engine.register import Register, car
from tests.browser.field.engine.served import serving

held: list[Register] = []
UNTIL = """async ([at, given]) => {
  const db = await import(at);
  for (let n = 0; n < 400; n += 1) {
    if (CONDITION) return true;
    await new Promise((go) => setTimeout(go, 20));
  }
  return false;
}"""


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    held[:] = [Register()]
    with serving(lambda: held[0]) as url:
        yield url


@pytest.fixture
def register(address: str, monkeypatch: pytest.MonkeyPatch) -> Register:
    """A register of this test's own, with three cars to take along and Ada signed in."""
    fresh = Register(
        cars=[car(101), car(102, "overdue", "2026-10-01"), car(103, "soon", "2027-01-05")]
    )
    held[:] = [fresh]
    monkeypatch.setattr(field_program, "program", lambda: held[0].program)
    return fresh


@dataclass
class Tablet:
    """A page of the tablet's program and what tests do with its store."""

    page: Page
    url: str
    register: Register

    def open(self, screen: str = "") -> Tablet:
        self.page.goto(f"{self.url}/field#/{screen}")
        expect(self.page.get_by_role("heading", level=1)).to_be_visible()
        return self

    def go(self, screen: str) -> None:
        self.page.evaluate("to => { location.hash = to }", f"#/{screen}")

    def ready(self) -> Tablet:
        """Wait until the worker keeps the program, so that it opens without a connection."""
        self.page.evaluate(
            "async () => { await navigator.serviceWorker.ready;"
            " if (!navigator.serviceWorker.controller)"
            " await new Promise(go => navigator.serviceWorker.addEventListener('controllerchange', go)) }"
        )
        return self

    def module(self, name: str) -> str:
        """The address of one of the program's modules."""
        script = "() => document.querySelector('script[type=module]').src"
        return str(self.page.evaluate(script)).replace("main.js", name)

    def call(self, name: str, *given: Any, module: str = "database.js") -> Any:
        """Call a function of one of the program's modules, the very one that the page runs."""
        script = "async ([at, name, given]) => (await import(at))[name](...given)"
        return self.page.evaluate(script, [self.module(module), name, list(given)])

    def take_along(self) -> None:
        self.call("take", {"question": "list=x", "words": "A list"}, module="packs.js")

    def record(self, readings: int = 2, car_id: int = 101) -> str:
        """A report with so many readings; its key."""
        key: str = self.call(
            "begin", car_id, {"happened_on": "2026-11-26", "facility": "Invented Works"}
        )
        for number in range(readings):
            self.call("add", key, "reading", {"zone": "shell_top", "inches": f"0.4{number}"})
        return key

    def states(self, report: str) -> list[str]:
        return [each["state"] for each in self.call("entries", report)]

    def until(self, condition: str, *given: Any) -> None:
        """Wait until a condition about the store holds; `db` is its module in it."""
        script = UNTIL.replace("CONDITION", condition)
        found = self.page.evaluate(script, [self.module("database.js"), list(given)])
        assert found, condition

    def until_at_rest(self) -> None:
        """Wait until nothing is being sent, whether all went or it waits for the next try."""
        self.until(
            "await import(at.replace('database', 'sending')).then(({ now }) => now.known && !now.busy)"
        )

    def until_sent(self, report: str) -> None:
        sent = "(await db.entries(given[0])).map(each => each.state)"
        self.until(f"{sent}.includes('stored') && {sent}.every(each => each === 'stored')", report)


def context_of(browser: Browser) -> BrowserContext:
    context = browser.new_context(
        viewport={"width": 820, "height": 1180}, has_touch=True, locale="en-US"
    )
    context.set_default_timeout(10_000)
    return context


@pytest.fixture
def tablet(browser: Browser, address: str, register: Register) -> Iterator[Tablet]:
    """A tablet held upright that nobody has used yet. A script error fails the test."""
    context = context_of(browser)
    errors: list[str] = []
    page = context.new_page()
    page.on("pageerror", lambda error: errors.append(str(error)))
    try:
        yield Tablet(page, address, register)
        assert not errors
    finally:
        context.close()
