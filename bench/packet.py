"""Evidence packets of the demo fleet: of ten cars while somebody waits, and the pace of a job of many.

`python -m bench.packet` works on the store that DATABASE_URL names (`make demo` fills it); `--cars 1000` for more.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryFile
from typing import BinaryIO, NamedTuple, cast

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.actions import evidence, packets
from app.actions.copies import attachments_of
from app.actions.evidence import View
from app.files.packet import Volume, typeset
from app.pictures import Attachments
from app.settings import read_settings
from app.store.asked import Standpoint
from app.store.db import make_engine, read_session, sessions
from app.store.tables import Car
from bench import stores
from bench.rows import Row, Size
from bench.timing import in_turn, seconds

TEN, BUDGET_S = 10, 10.0
MANY = 100


def rows(size: Size, folder: Path) -> Iterator[Row]:
    """A packet while somebody waits, beside typesetting alone of what it says."""
    url = stores.demo(folder) if size == "small" else stores.on_sqlite(size, folder)
    view, made = View(Standpoint(stores.TODAY), 180), make_engine(url)
    kept = attachments_of(url, read_settings().attachments)
    with read_session(sessions(made)) as db:
        cars = list(db.scalars(select(Car.id).order_by(Car.id).limit(TEN)))
        told = [evidence.of_car(db, each, view) for each in cars]
        front, volume = evidence.front(db, view), Volume(1, 1, told, TEN)
        ours, bare = in_turn(
            seconds(lambda: packets.write(db, BytesIO(), cars, view, kept)),
            seconds(lambda: typeset(front, volume, packets.reads(kept))),
            times=3,
        )
    made.dispose()
    name = f"evidence packet of {TEN} cars, {'the demo' if size == 'small' else f'{stores.CARS[size]:,} cars'}"
    yield Row(name, ours, bare, "s", "typesetting its PDF alone", most=BUDGET_S, times=2)


class Took(NamedTuple):
    """Seconds by the clock and of processor, and bytes of the packet."""

    clock: float
    processor: float
    size: int


def timed(db: Session, out: BinaryIO, cars: Sequence[int], view: View, kept: Attachments) -> Took:
    clock, processor = time.perf_counter(), time.process_time()
    packets.write(db, out, cars, view, kept)
    return Took(time.perf_counter() - clock, time.process_time() - processor, out.tell())


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--cars", type=int, default=MANY, help="how many in the job (%(default)s)")
    many = asked.parse_args().cars
    settings = read_settings()
    kept = attachments_of(settings.database_url, settings.attachments)
    view = View(Standpoint(datetime.now(UTC).date()), settings.soon_days)
    with (
        read_session(sessions(make_engine(settings.database_url))) as db,
        TemporaryFile() as out,
    ):
        cars = list(db.scalars(select(Car.id).order_by(Car.id).limit(many)))
        ten = timed(db, BytesIO(), cars[:TEN], view, kept)
        job = timed(db, cast(BinaryIO, out), cars, view, kept)
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{TEN} cars: {ten.clock:.1f} s ({ten.processor:.1f} s of processor), {ten.size / 1e6:.1f} MB; "
        f"budget {BUDGET_S:.0f} s"
    )
    print(
        f"{len(cars):,} cars: {job.clock:.1f} s ({job.processor:.1f} s of processor), "
        f"{len(cars) / job.clock:.1f} cars a second, {job.size / 1e6:.1f} MB; {most:.0f} MB of memory at most"
    )
    return int(ten.clock > BUDGET_S)


if __name__ == "__main__":
    sys.exit(main())
