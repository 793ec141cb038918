"""The tablet itself: taking 500 cars along, opening one without a connection, and tapping readings in.

`python -m bench.field_tablet` serves a temporary register of invented cars on this machine and drives the
tablet's program in Chromium; all times are the browser's own, from what is pressed to what is painted.
"""

from __future__ import annotations

import statistics
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import uvicorn
from playwright.sync_api import Page, sync_playwright
from sqlalchemy import select

from app.main import create_app
from app.settings import Settings
from app.store.db import make_engine, read_session, sessions
from app.store.tables import Car
from bench.field_pack import MEGABYTES, SECONDS, make
from bench.pages import unasked
from tests.fixtures.browser import chromium

CARS, OPENED, READINGS = 500, 40, 40
OPENING_MS, TAPPING_MS = 200, 50
# Two frames later what was drawn is on the screen.
PAINTED = "const painted = () => new Promise((go) => requestAnimationFrame(() => requestAnimationFrame(go)));"
KEPT = """async () => {
  await navigator.serviceWorker.ready;
  const taken = (go) => navigator.serviceWorker.addEventListener("controllerchange", go);
  if (!navigator.serviceWorker.controller) await new Promise(taken);
}"""
TAKE = """async ([at, ids]) => {
  const { take } = await import(at);
  const began = performance.now();
  const pack = await take({ question: ids.map((id) => "car=" + id).join("&"), words: "All" });
  const pages = performance.getEntriesByType("resource").filter((each) => each.name.includes("/field/pack"));
  return [pack.ids.length, performance.now() - began, pages.reduce((sum, each) => sum + each.decodedBodySize, 0)];
}"""
OPEN = f"""async (ids) => {{
  {PAINTED}
  const times = [];
  for (const id of ids) {{
    location.hash = "#/";
    while (document.querySelector("h1")?.textContent !== "Today's work") await painted();
    const began = performance.now();
    location.hash = "#/car/" + id;
    while (!document.querySelector('a[href="#/car/' + id + '/begin"]')) await new Promise((go) => setTimeout(go, 1));
    await painted();
    times.push(performance.now() - began);
  }}
  return times;
}}"""
BEGIN = """async ([at, id]) => {
  const { begin, add } = await import(at);
  const report = await begin(id, { happened_on: "2026-11-26", facility: "Invented Works", items: ["thickness"] });
  await add(report, "gauge_check", { gauge: "G-1", standard_in: "0.500", read_in: "0.500", valid_until: null });
  location.hash = "#/report/" + report + "/thickness";
}"""
TAP = f"""async (many) => {{
  {PAINTED}
  const read = () => document.querySelectorAll(".cell:not(.unread)").length;
  const times = [];
  for (let n = 0; n < many; n += 1) {{
    const field = document.querySelector("#number");
    field.value = (0.44 + (n % 9) / 1000).toFixed(3);
    field.dispatchEvent(new Event("input", {{ bubbles: true }}));
    const before = read();
    const began = performance.now();
    field.form.requestSubmit();
    while (read() === before) {{
      document.querySelector("#right")?.click();
      await new Promise((go) => setTimeout(go, 1));
    }}
    await painted();
    times.push(performance.now() - began);
  }}
  return times;
}}"""


@dataclass(frozen=True, slots=True)
class Measured:
    """Cars taken along, seconds and bytes of that; milliseconds of each opening and each reading."""

    cars: int
    seconds: float
    size: int
    opening: Sequence[float]
    tapping: Sequence[float]


def main() -> int:
    with TemporaryDirectory(prefix="stencilbook-bench-") as name:
        url = make(Path(name), CARS)
        with _serving(url) as address:
            return told(measure(address, _cars(url)))


def measure(address: str, ids: Sequence[int]) -> Measured:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        context = browser.new_context(viewport={"width": 820, "height": 1180}, has_touch=True)
        page = context.new_page()
        page.goto(f"{address}/field")
        page.evaluate(KEPT)
        cars, milliseconds, size = page.evaluate(TAKE, [_module(page, "packs.js"), list(ids)])
        context.set_offline(True)
        opening = page.evaluate(OPEN, list(ids[:OPENED]))
        page.evaluate(BEGIN, [_module(page, "database.js"), ids[0]])
        page.wait_for_selector("#number")
        tapping = page.evaluate(TAP, READINGS)
        browser.close()
    return Measured(cars, milliseconds / 1000, size, opening, tapping)


def _module(page: Page, name: str) -> str:
    script = "() => document.querySelector('script[type=module]').src"
    return str(page.evaluate(script)).replace("main.js", name)


def _cars(url: str) -> list[int]:
    engine = make_engine(url)
    with read_session(sessions(engine)) as db:
        ids = list(db.scalars(select(Car.id).order_by(Car.id).limit(CARS)))
    engine.dispose()
    return ids


@contextmanager
def _serving(url: str) -> Iterator[str]:
    """The program on a free port of this machine, as somebody who may do everything."""
    unlimited = Settings(
        database_url=url, requests_per_minute_address=0, requests_per_minute_person=0
    )
    app = create_app(unlimited, routes=unasked())
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join()


def told(found: Measured) -> int:
    megabytes = found.size / 1e6
    opening, tapping = statistics.median(found.opening), statistics.median(found.tapping)
    print(f"{found.cars} cars taken along in {found.seconds:.1f} s, {megabytes:.1f} MB; "
          f"at most {SECONDS} s and {MEGABYTES} MB")  # fmt: skip
    print(f"a car opened without a connection in {opening:.0f} ms (the slowest of {len(found.opening)} "
          f"{max(found.opening):.0f} ms); at most {OPENING_MS} ms")  # fmt: skip
    print(f"a reading answered in {tapping:.0f} ms (the slowest of {len(found.tapping)} "
          f"{max(found.tapping):.0f} ms); at most {TAPPING_MS} ms")  # fmt: skip
    kept = (
        found.seconds <= SECONDS and megabytes <= MEGABYTES
        and opening < OPENING_MS and tapping < TAPPING_MS
    )  # fmt: skip
    return int(not kept)


if __name__ == "__main__":
    sys.exit(main())
