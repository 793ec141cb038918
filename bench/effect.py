"""What an edition would do to the demo fleet, beside answering each of its cars once.

`python -m bench.effect` works on the store that DATABASE_URL names (`make demo` fills it).
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime

from app.actions import rulebook_effect, rulebooks
from app.actions.stamp import Stamp
from app.settings import read_settings
from app.store import facts
from app.store.db import make_engine, read_session, sessions

BUDGET_S = 2.0
SOURCE = """id = "bench"
edition = "Measured"
base = "us-49cfr"
[rules.visual]
interval_months = 84
text = "Inside and outside visual inspection at least every 7 years"
citation = "Invented rule"
"""


def seconds(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds of processor, and by the clock."""
    processor, clock = time.process_time(), time.perf_counter()
    work()
    return time.process_time() - processor, time.perf_counter() - clock


def main() -> int:
    engine = make_engine(read_settings().database_url)
    now = datetime.now(UTC)
    with read_session(sessions(engine)) as db:
        loaded = rulebooks.load(db, SOURCE, Stamp("bench", now, now.date()))
        cars = rulebook_effect.concerned(db, None)

        def once_each() -> None:
            programme = rulebooks.in_force(db)
            for record in facts.load(db, cars, now.date()).values():
                programme.whole_answer(record, now.date())

        once_each()
        plain, _ = seconds(once_each)
        took, clock = seconds(lambda: rulebook_effect.effect(db, loaded.id, None, now.date()))
        db.rollback()
    print(f"{len(cars):,} cars: effect {took:.2f} s of processor ({clock:.2f} s by the clock)")
    print(f"every car answered once: {plain:.2f} s; the effect takes {took / plain:.1f} times that")
    print(f"budget {BUDGET_S:.0f} s for the demo fleet")
    return int(took > BUDGET_S)


if __name__ == "__main__":
    sys.exit(main())
