"""Server time of pages on a big register: what the program needs, without network and browser.

`python -m bench.pages` asks the store that DATABASE_URL names, each page many times and for
different cars.
"""

from __future__ import annotations

import asyncio
import random
import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import APIRouter, FastAPI, Request
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.access import EVERYTHING, Member, Viewer
from app.main import create_app, routes_with
from app.settings import Settings, read_settings
from app.store.db import make_engine, read_session, sessions
from app.store.signed_in import SignedIn
from app.store.tables import Car, Party
from app.web.admission import Admitted, admitted

TIMES = 60
LIMIT_MS = 50


@dataclass(frozen=True, slots=True)
class Timing:
    """Milliseconds: the median by the clock, what 95 of 100 stay within, the processor's median.

    The last is what the page costs however busy the machine is with other work.
    """

    name: str
    median: float
    slow: float
    processor: float


def measure(database_url: str) -> list[Timing]:
    """The server time of each kind of page."""
    engine = make_engine(database_url)
    with read_session(sessions(engine)) as db:
        pages = pages_of(db)
    engine.dispose()
    # What knowing who asks costs is measured by bench.sign_in.
    app = create_app(Settings(database_url=database_url), routes=unasked())
    return asyncio.run(_measured(app, pages))


def everybody(request: Request) -> Admitted:
    """Somebody who may do everything, admitted unseen."""
    seen = Viewer(1, "bench", (Member(1, "bench", "planner", keeps_register=True),))
    now = datetime.now(UTC)
    known = SignedIn(seen, "bench", "", now, now, now, "")
    request.state.admitted = Admitted(known, EVERYTHING)
    return Admitted(known, EVERYTHING)


def unasked() -> APIRouter:
    """All routes, each for somebody who may do everything."""
    return routes_with({admitted: everybody})


def pages_of(db: Session) -> dict[str, Sequence[str]]:
    """Addresses of each kind of page, drawn over the whole register."""
    draw = random.Random(1)
    cars = list(db.execute(select(Car.id, Car.mark, Car.number)))
    owners = list(db.scalars(select(Party.id)))
    some = [draw.choice(cars) for _ in range(TIMES)]
    return {
        "car page": [f"/cars/{car.id}" for car in some],
        "due list, 50 rows": ["/due"] * TIMES,
        "due list of one owner": [f"/due?owner={draw.choice(owners)}" for _ in some],
        "overdue list": ["/overdue"] * TIMES,
        "fleet register, prefix search": [
            f"/fleet?q={car.mark}+{str(car.number)[:3]}" for car in some
        ],
        "home": ["/"] * 10,
    }


async def _measured(app: FastAPI, pages: dict[str, Sequence[str]]) -> list[Timing]:
    found = []
    async with app.router.lifespan_context(app):
        for name, addresses in pages.items():
            for address in addresses[:5]:  # connections, templates and statements are made once
                await get(app, address)
            taken = [await get(app, address) for address in addresses]
            clock, processor = zip(*taken, strict=True)
            slow = sorted(clock)[int(len(clock) * 0.95) - 1]
            median = statistics.median
            found.append(Timing(name, median(clock), slow, median(processor)))
    return found


async def get(app: FastAPI, address: str, key: str = "") -> tuple[float, float]:
    """Milliseconds of clock and processor from the request to the last byte of a good answer."""
    path, _, query = address.partition("?")
    statuses: list[int] = []

    async def receive() -> dict[str, object]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: dict[str, object]) -> None:
        if message["type"] == "http.response.start":
            statuses.append(int(str(message["status"])))

    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "GET",
        "scheme": "http", "path": path, "raw_path": path.encode(), "query_string": query.encode(),
        "root_path": "", "client": ("127.0.0.1", 1),
        "headers": [(b"host", b"127.0.0.1"), (b"cookie", f"session={key}".encode())],
        "server": ("127.0.0.1", 80),
    }  # fmt: skip
    started, worked = time.perf_counter(), time.process_time()
    await app(scope, receive, send)
    if statuses != [200]:
        raise RuntimeError(f"{address} answered {statuses}")
    return (time.perf_counter() - started) * 1000, (time.process_time() - worked) * 1000


def main(tell: Callable[[str], None] = print) -> None:
    for each in measure(read_settings().database_url):
        verdict = "" if each.slow < LIMIT_MS else f"  (wanted: under {LIMIT_MS} ms)"
        tell(
            f"{each.name:30} median {each.median:6.1f} ms  95 of 100 within {each.slow:6.1f} ms  "
            f"processor {each.processor:6.1f} ms{verdict}"
        )


if __name__ == "__main__":
    main()
