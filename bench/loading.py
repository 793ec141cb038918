"""How soon a rack is answered on a large register: one car after the other, and a train's list at once.

`python -m bench.loading` makes a store of 450,000 cars in a temporary folder (`--keep FOLDER` keeps it, and uses
one that is there already) and asks the whole program without a network. The lading about to be loaded is another than
the recorded one in half of the questions, and each question is kept. Beside it stands the time of the same program
answering that it is alive.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import sys
from collections.abc import Awaitable, Callable, Iterator, Sequence
from datetime import date
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import NamedTuple

from httpx import ASGITransport, AsyncClient
from sqlalchemy import select

from app import garbage
from app.actions import ladings
from app.actions.changes import NewLading
from app.main import create_app
from app.settings import Settings
from app.store.db import make_engine, read_session, sessions, write_session
from app.store.ladings import by_name
from app.store.tables import Car
from bench import big_fleet, stores
from bench.pages import unasked
from bench.rows import Row, Size

CARS, TODAY = 450_000, date(2026, 11, 29)
TIMES, TRAIN, TRAINS = 1_000, 120, 9
# Budgets in milliseconds: 99 of 100 answers, and a train's list.
ONE_MS, TRAIN_MS = 20, 1_000
LADING = NewLading(
    "Invented bench lading",
    un="UN9001",
    hazard_class="9",
    packing_group="III",
    corrosive_or_reactive=False,
)
Ask = Callable[[int], Awaitable[object]]


def main() -> int:
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--cars", type=int, default=CARS)
    given.add_argument("--keep", type=Path)
    asked = given.parse_args()
    with TemporaryDirectory(prefix="stencilbook-bench-") as name:
        folder = asked.keep or Path(name)
        folder.mkdir(exist_ok=True)
        held = folder / "store.db"
        url = f"sqlite:///{held}"
        if not held.exists():
            big_fleet.make(url, asked.cars, TODAY)
        names = _names(url)
        return _told(names, asyncio.run(_measured(url, names, TIMES)))


def rows(size: Size, folder: Path) -> Iterator[Row]:
    url = stores.on_sqlite(size, folder)
    names, times = _names(url), TIMES if size == "full" else TIMES // 5
    took = asyncio.run(_measured(url, names, times))
    where, against = f"{len(names):,} cars", "the same program saying that it is alive"
    slow, alive = _slow(took.car), _slow(took.alive)
    yield Row(f"may a car be loaded, 99 of 100, {where}", slow, alive, "ms", against, most=ONE_MS)
    train, alive = median(took.train), median(took.alive)
    name = f"may a train of {TRAIN} be loaded, {where}"
    yield Row(name, train, alive, "ms", against, most=TRAIN_MS)


class Took(NamedTuple):
    """Milliseconds of each answer: a car, saying alive, a train."""

    car: list[float]
    alive: list[float]
    train: list[float]


def _names(url: str) -> list[tuple[str, int]]:
    """Marks and numbers of the whole register; the lading to be loaded is put on the list."""
    engine = make_engine(url)
    factory = sessions(engine)
    with write_session(factory) as db:
        if not by_name(db, LADING.name):
            ladings.save(db, LADING)
    with read_session(factory) as db:
        names = [(mark, number) for mark, number in db.execute(select(Car.mark, Car.number))]
    engine.dispose()
    return names


async def _measured(url: str, names: Sequence[tuple[str, int]], times: int) -> Took:
    draw = random.Random(1)
    some = [draw.choice(names) for _ in range(times)]
    trains = [draw.sample(names, TRAIN) for _ in range(TRAINS)]
    with garbage.loaded_for_good():  # as `serve` has it
        app = create_app(Settings(database_url=url), routes=unasked())
    async with (
        app.router.lifespan_context(app),
        AsyncClient(transport=ASGITransport(app), base_url="http://localhost") as client,
    ):

        async def alive(_: int) -> None:
            (await client.get("/health")).raise_for_status()

        async def one(at: int) -> None:
            mark, number = some[at]
            to_load = {"un": "UN9001"} if at % 2 else {}
            path = f"/api/v1/cars/{mark}/{number}/loading"
            (await client.get(path, params=to_load)).raise_for_status()

        async def train(at: int) -> None:
            cars = [{"car": f"{mark} {number}", "un": "UN9001"} for mark, number in trains[at]]
            (await client.post("/api/v1/loading", json={"cars": cars})).raise_for_status()

        return Took(
            await _timed(one, times), await _timed(alive, times), await _timed(train, TRAINS)
        )


def _told(names: Sequence[tuple[str, int]], took: Took) -> int:
    slow = _slow(took.car)
    print(f"{len(names):,} cars, {len(took.car):,} questions, {TRAINS} trains of {TRAIN}")
    print(
        f"  a car: median {median(took.car):.1f} ms, 99 of 100 within {slow:.1f} ms; budget {ONE_MS} ms"
    )
    print(
        f"  alive: median {median(took.alive):.1f} ms, "
        f"{median(took.car) / median(took.alive):.1f} times as long is a car"
    )
    print(
        f"  a train: median {median(took.train):.0f} ms, longest {max(took.train):.0f} ms; budget {TRAIN_MS:,} ms"
    )
    return int(slow > ONE_MS or max(took.train) > TRAIN_MS)


def _slow(taken: Sequence[float]) -> float:
    """What 99 of 100 stay within."""
    return sorted(taken)[len(taken) * 99 // 100 - 1]


async def _timed(ask: Ask, times: int) -> list[float]:
    """Milliseconds by the clock, after one that makes connections and statements."""
    await ask(0)
    taken = []
    for at in range(times):
        began = perf_counter()
        await ask(at)
        taken.append((perf_counter() - began) * 1000)
    return taken


if __name__ == "__main__":
    sys.exit(main())
