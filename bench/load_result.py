"""What came of the load: answers as they were timed, what was acknowledged looked up in the store, all of it told."""

from __future__ import annotations

import argparse
import os
import platform
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import func, select

from app.store.db import make_engine, read_session, sessions
from app.store.field import FieldEntry, Report, ReportEvent
from app.store.loading import LoadingQuestion
from app.store.tables import EventRow
from bench.load_program import WORKERS, Fault
from bench.load_users import Acknowledged

P99_READING_MS = 300
AT_ONCE = 5_000


@dataclass
class Tally:
    """Milliseconds of the answers by kind, of all reading and of that apart from faults; what failed, how often."""

    latencies: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    reading: list[float] = field(default_factory=list)
    calm: list[float] = field(default_factory=list)
    excused: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    late: float = 0.0  # by how many seconds the schedule itself was ever behind
    throughput: float = 0.0  # requests a second in the end


def lost_and_doubled(url: str, told: Acknowledged, questions_before: int) -> tuple[int, int]:
    """How many acknowledged things are not there, and how many are there more than once."""
    signed = (
        select(Report.key, func.count(ReportEvent.event_id))
        .join(ReportEvent, ReportEvent.report_id == Report.id)
        .join(EventRow, EventRow.id == ReportEvent.event_id)
    )
    engine = make_engine(url)
    with read_session(sessions(engine)) as db:
        found = {
            "entries": _counted(
                db, select(FieldEntry.key, func.count()), FieldEntry.key, told.entries
            ),
            "reports": _counted(db, signed, Report.key, told.reports),
            "events": _counted(
                db, select(EventRow.form_key, func.count()), EventRow.form_key, told.events
            ),
        }
        asked = questions(db) - questions_before
    engine.dispose()
    lost = sum(len(getattr(told, what)) - len(rows) for what, rows in found.items())
    doubled = sum(times > 1 for rows in found.values() for times in rows.values())
    return lost + max(0, told.questions - asked), doubled


def _counted(db: Any, query: Any, key: Any, wanted: set[str]) -> dict[str, int]:
    rows: dict[str, int] = {}
    ordered = sorted(wanted)
    for start in range(0, len(ordered), AT_ONCE):
        some = key.in_(ordered[start : start + AT_ONCE])
        rows.update(tuple(row) for row in db.execute(query.where(some).group_by(key)))
    return rows


def questions(db: Any) -> int:
    """How many cars anybody asked about loading so far."""
    return int(db.scalar(select(func.count()).select_from(LoadingQuestion)) or 0)


def percentiles(taken: Sequence[float]) -> dict[str, float]:
    """Milliseconds."""
    ordered = sorted(taken)
    if not ordered:
        return {"count": 0}
    at = {
        f"p{share}": ordered[min(len(ordered) - 1, len(ordered) * share // 100)]
        for share in (50, 95, 99)
    }
    told = {name: round(value, 1) for name, value in at.items()}
    return {"count": len(ordered), **told, "max": round(ordered[-1], 1)}


def result(
    given: argparse.Namespace,
    tally: Tally,
    told: Acknowledged,
    faults: Sequence[Fault],
) -> dict[str, Any]:
    """All of it, for a file."""
    return {
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
        "machine": f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}",
        "engine": given.engine, "workers": WORKERS, "seconds": given.seconds,
        "rate": given.rate, "throughput": round(tally.throughput, 1),
        "reading": percentiles(tally.reading),
        "reading_apart_from_faults": percentiles(tally.calm),
        "kinds": {kind: percentiles(taken) for kind, taken in sorted(tally.latencies.items())},
        "schedule_behind_s": round(tally.late, 3),
        "faults": [
            {"what": each.what, "at_s": round(each.began, 1), "back_s": round((each.over or 0) - each.began, 1)}
            for each in faults
        ],
        "errors_of_killed_connections": dict(tally.excused),
        "errors": dict(tally.wrong), "refused": told.refused[:20],
        "acknowledged": told.total,
    }  # fmt: skip


def lines(told: dict[str, Any]) -> str:
    """For bench/README.md."""
    reading, calm, held = told["reading"], told["reading_apart_from_faults"], told["memory_mib"]
    excused = sum(told["errors_of_killed_connections"].values())
    rows = "\n".join(
        f"| {kind} | {each['count']:,} | {each['p50']} | {each['p95']} | {each['p99']} | {each['max']} |"
        for kind, each in told["kinds"].items()
    )
    return (
        f"{told['at'][:10]}, {told['machine']}, {told['engine']}, {told['workers']} workers, "
        f"{told['seconds']:.0f} s at {told['rate']:.0f} requests a second: "
        f"{told['throughput']} a second answered; reading p50 {reading['p50']}, p95 {reading['p95']}, "
        f"p99 {reading['p99']} ms (apart from faults {calm.get('p99', '?')} ms); "
        f"{excused} errors of killed connections, {sum(told['errors'].values())} others; "
        f"{told['acknowledged']:,} things acknowledged, "
        f"{told['lost']} lost, {told['doubled']} doubled; memory of a worker at most "
        f"{max(each['rss'] for each in held)} MiB, of which {max(each['own'] for each in held)} its own.\n\n"
        f"| what | times | p50 ms | p95 ms | p99 ms | longest ms |\n| --- | --- | --- | --- | --- | --- |\n{rows}"
    )


def missed(told: dict[str, Any]) -> list[str]:
    """Each promise that was not kept."""
    slow = told["reading"].get("p99", 0)
    return [
        sentence
        for wrong, sentence in (
            (told["lost"], f"{told['lost']} acknowledged things are lost"),
            (told["doubled"], f"{told['doubled']} things are there twice"),
            (told["errors"], f"errors of no killed connection: {told['errors']}"),
            (told["refused"], f"entries of tablets were refused: {told['refused']}"),
            (slow > P99_READING_MS, f"p99 of reading is {slow} ms, wanted {P99_READING_MS}"),
        )
        if wrong
    ]
