"""Server time of pages on a big register: what the program needs, without network and browser.

`python -m bench.pages` asks the store that DATABASE_URL names, each page many times and for
different cars. `python -m bench.pages --small URL --large URL` asks every list page of two stores in
turn, so that both see the same machine, and tells how many times the small one's time the large one needs.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import statistics
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import AsyncExitStack
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from fastapi import FastAPI
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.facts import ITEMS
from app.main import Routes, create_app, routes_with
from app.settings import Settings, read_settings
from app.store.db import make_engine, read_session, sessions
from app.store.derived import DueRow
from app.store.tables import Car, Party
from app.web.admission import admitted
from app.web.rehearsing import somebody, status

TIMES, IN_TURN = 60, 7
LIMIT_MS, LIMIT_TIMES = 50, 2.0


@dataclass(frozen=True, slots=True)
class Timing:
    """Milliseconds: the median by the clock, what 95 of 100 stay within, the processor's median.

    The last is what the page costs however busy the machine is with other work.
    """

    name: str
    median: float
    slow: float
    processor: float


@dataclass(frozen=True, slots=True)
class Beside:
    """A page's median of milliseconds on a small and on a large store, by the clock."""

    name: str
    small: float
    large: float

    @property
    def times(self) -> float:
        return self.large / self.small


def measure(database_url: str) -> list[Timing]:
    """The server time of each kind of page."""
    pages = _of_store(database_url, pages_of)
    return asyncio.run(_measured(_app(database_url), pages))


def compare(small: str, large: str) -> list[Beside]:
    """Every list page of both stores, asked in turn."""
    asked = [_of_store(url, list_pages) for url in (small, large)]
    return asyncio.run(_in_turn([_app(url) for url in (small, large)], asked))


def _app(database_url: str) -> FastAPI:
    # What knowing who asks costs is measured by bench.sign_in.
    return create_app(Settings(database_url=database_url), routes=unasked())


def _of_store(
    database_url: str, pages: Callable[[Session], dict[str, Sequence[str]]]
) -> dict[str, Sequence[str]]:
    engine = make_engine(database_url)
    with read_session(sessions(engine)) as db:
        found = pages(db)
    engine.dispose()
    return found


def unasked() -> Routes:
    """All routes, each for somebody who may do everything."""
    return routes_with({admitted: somebody})


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


def list_pages(db: Session) -> dict[str, Sequence[str]]:
    """Addresses of every list page, with each of its filters; some of them drawn over the whole register."""
    draw = random.Random(1)
    last = db.scalar(select(Car.id).order_by(Car.id.desc()).limit(1)) or 1
    keys = [draw.randint(1, last) for _ in range(IN_TURN)]
    some = [car for key in keys if (car := db.get(Car, key))]
    owners = list(db.scalars(select(Party.id).where(Party.id.in_(select(Car.owner_id)))))
    rule = db.scalar(
        select(DueRow.rule).where(DueRow.car_id == some[0].id, DueRow.item == "visual")
    )
    today = datetime.now(UTC).date()
    first = {name: [address] * IN_TURN for name, address in _alike(some[0], rule, today).items()}
    return first | {
        "due of an owner": [f"/due?owner={draw.choice(owners)}" for _ in some],
        "due by name": [f"/due?q={car.mark}+{str(car.number)[:3]}" for car in some],
        "due of an owner and a region": [
            f"/due?owner={draw.choice(owners)}&region={car.region}" for car in some
        ],
        "overdue of an owner": [f"/overdue?owner={draw.choice(owners)}" for _ in some],
        "fleet by name": [f"/fleet?q={car.mark}+{str(car.number)[:3]}" for car in some],
        "fleet of an owner": [f"/fleet?owner={draw.choice(owners)}" for _ in some],
        "forecast of an owner": [f"/forecast?owner={draw.choice(owners)}" for _ in some],
        "changes of a car": [f"/cars/{car.id}/changes" for car in some],
    }


def _alike(car: Car, rule: str | None, today: date) -> dict[str, str]:
    """The lists that are asked for in one way."""
    soon = today + timedelta(days=90)
    return {
        "home": "/",
        **{f"due, {item}": f"/due?item={item}" for item in ITEMS},
        **{
            f"due, {status}": f"/due?status={status}"
            for status in ("overdue", "soon", "in_date", "by_event", "unknown", "not_required")
        },
        "due": "/due",
        "due, in service or not": "/due?cars=all",
        "due by a rule": f"/due?rule={rule}",
        "due in a region": f"/due?region={car.region}",
        "due in 90 days": f"/due?from={today}&to={soon}",
        "due, totals": "/due/totals",
        "due in a region, totals": f"/due/totals?region={car.region}",
        "overdue": "/overdue",
        "overdue, totals": "/overdue/totals",
        "fleet": "/fleet",
        "fleet in a region": f"/fleet?region={car.region}",
        "fleet, stored": "/fleet?standing=stored",
        "fleet of a class": f"/fleet?class={car.specification_class}",
        "fleet of a lading": f"/fleet?lading={car.commodity}",
        "forecast by item": "/forecast",
        "forecast by owner": "/forecast?by=owner",
        "forecast by region": "/forecast?by=region",
        "forecast of an item": "/forecast?item=visual",
        "forecast in a region": f"/forecast?region={car.region}",
        "morning list": "/morning",
        "rulebook": "/rulebook",
        **{path: path for path in OTHERS},
    }


# Wear is told of a selection, never of a whole large fleet.
OTHERS = (
    "/audits", "/audits/findings", "/changes", "/directives", "/facilities",
    "/imports", "/instructions", "/ladings", "/loading/asked", "/loading/held", "/morning/lists", "/people",
    "/plans", "/record", "/retention", "/visits",
)  # fmt: skip


async def _in_turn(
    apps: Sequence[FastAPI], asked: Sequence[Mapping[str, Sequence[str]]]
) -> list[Beside]:
    found = []
    async with AsyncExitStack() as stack:
        for app in apps:
            await stack.enter_async_context(app.router.lifespan_context(app))
        for name in asked[0]:
            taken = []
            for addresses in zip(*(pages[name] for pages in asked), strict=False):
                taken.append(
                    [(await get(app, at))[0] for app, at in zip(apps, addresses, strict=True)]
                )
            # What is made once, connections and templates and statements, is no page's time.
            small, large = zip(*taken[2:], strict=True)
            found.append(Beside(name, statistics.median(small), statistics.median(large)))
    return found


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
    headers = ((b"host", b"127.0.0.1"), (b"cookie", f"session={key}".encode()))
    started, worked = time.perf_counter(), time.process_time()
    answered = await status(app, address, headers)
    if answered != 200:
        raise RuntimeError(f"{address} answered {answered}")
    return (time.perf_counter() - started) * 1000, (time.process_time() - worked) * 1000


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m bench.pages", description=__doc__)
    parser.add_argument("--small", help="the address of a small store")
    parser.add_argument("--large", help="the address of a large one, to be asked beside it")
    args = parser.parse_args()
    if args.small and args.large:
        return _tell_beside(compare(args.small, args.large))
    for each in measure(read_settings().database_url):
        verdict = "" if each.slow < LIMIT_MS else f"  (wanted: under {LIMIT_MS} ms)"
        print(
            f"{each.name:30} median {each.median:6.1f} ms  95 of 100 within {each.slow:6.1f} ms  "
            f"processor {each.processor:6.1f} ms{verdict}"
        )
    return 0


def _tell_beside(found: Sequence[Beside]) -> int:
    for each in found:
        verdict = "" if each.times <= LIMIT_TIMES else f"  (wanted: at most {LIMIT_TIMES} times)"
        print(
            f"{each.name:32} small {each.small:7.1f} ms  large {each.large:7.1f} ms  {each.times:5.2f} times{verdict}"
        )
    return int(any(each.times > LIMIT_TIMES for each in found))


if __name__ == "__main__":
    sys.exit(main())
