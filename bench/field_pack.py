"""What a tablet takes along of 500 cars: how long it takes and how large it is.

`python -m bench.field_pack` brings 600 invented cars with 2,400 events into a temporary store and asks for
the pack of 500 of them, page after page, as a tablet does; `--cars N` asks for as many.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import sys
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import httpx
from sqlalchemy import select

from app.actions.stamp import Stamp
from app.main import create_app
from app.settings import Settings
from app.store import migrate
from app.store.db import make_engine, read_session, sessions, write_session
from app.store.people import Person
from app.store.tables import Car
from bench import fleet_files
from bench.import_fleet import bring_in_both
from bench.pages import unasked

CARS, SECONDS, MEGABYTES = 500, 10, 25
SPARE = 100


@dataclass(frozen=True, slots=True)
class Taken:
    """Cars, pages, seconds by the clock and of processor, bytes of all pages, and the slowest page's seconds."""

    cars: int
    pages: int
    seconds: float
    processor: float
    size: int
    slowest: float


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=CARS)
    wanted: int = parser.parse_args().cars
    with TemporaryDirectory(prefix="stencilbook-bench-") as name:
        url = make(Path(name), wanted + SPARE)
        return told(asyncio.run(take(url, wanted)))


def make(folder: Path, cars: int) -> str:
    """The address of a new store with so many cars."""
    url, now = f"sqlite:///{folder / 'store.db'}", datetime.now(UTC)
    migrate.upgrade(url)
    engine = make_engine(url)
    files = fleet_files.write(folder, cars, now.date())
    bring_in_both(sessions(engine), *files, Stamp("bench", now, now.date()))
    with write_session(sessions(engine)) as db:
        db.add(Person(name="bench", email="bench@example.invalid", added_at=now))
    engine.dispose()
    return url


async def take(url: str, cars: int) -> Taken:
    """Ask for the pack of so many cars, as somebody who may do everything."""
    engine = make_engine(url)
    with read_session(sessions(engine)) as db:
        keys = db.scalars(select(Car.id).order_by(Car.id).limit(cars)).all()
    engine.dispose()
    app = create_app(Settings(database_url=url), routes=unasked())
    where = httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://127.0.0.1")
    async with app.router.lifespan_context(app), where as client:
        await _page(client, [])  # what is read once a process
        return await _all_pages(client, [("car", str(key)) for key in keys])


async def _all_pages(client: httpx.AsyncClient, asked: list[tuple[str, str]]) -> Taken:
    began, worked = time.perf_counter(), time.process_time()
    held, size, lasted = 0, 0, list[float]()
    after: str | None = ""
    while after is not None:
        at = time.perf_counter()
        body = await _page(client, [*asked, *([("after", after)] if after else [])])
        lasted.append(time.perf_counter() - at)
        page = json.loads(body)
        size, held, after = size + len(body), held + len(page["cars"]), page["next"]
    return Taken(
        held, len(lasted), time.perf_counter() - began, time.process_time() - worked, size,
        max(lasted),
    )  # fmt: skip


async def _page(client: httpx.AsyncClient, asked: list[tuple[str, str]]) -> bytes:
    answer = await client.get("/api/v1/field/pack", params=asked)
    answer.raise_for_status()
    return answer.content


def told(taken: Taken) -> int:
    megabytes = taken.size / 1e6
    print(f"{taken.cars} cars in {taken.pages} pages, the slowest {taken.slowest:.2f} s")
    print(f"{taken.seconds:.1f} s ({taken.processor:.1f} s of processor); at most {SECONDS} s")
    print(f"{megabytes:.1f} MB; at most {MEGABYTES} MB")
    return int(taken.seconds > SECONDS or megabytes > MEGABYTES)


if __name__ == "__main__":
    sys.exit(main())
