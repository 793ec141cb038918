"""What parting `due`, `event` and `reading` by hash of the car would bring on PostgreSQL: `python -m bench.partition`.

Both kinds of tables are made from the register's own in a throwaway cluster, with the same rows and indexes; a
unique index that lacks the car gets it, since PostgreSQL wants the key of the parts in each. Each measure is taken
in turn on both.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psycopg
from sqlalchemy import make_url

from tests.faults.stores import cluster

CARS, PARTS = 50_000, 16
DUE, EVENTS, READINGS = 8, 10, 4  # of a car; readings of an event
TABLES = ("due", "event", "reading")
TIMES = 200
ROWS = {
    "due": f"""(car_id, item_no, item, state, due_on, basis_on, interval_months, calculated_due_on, confidence, rule,
            citation, owner_id, region, mark, number, listed, hazardous)
        SELECT c, i, 'item' || i, 'dated', date '2026-01-01' + (c * 7919 + i * 131) %% 3650, date '2016-01-01', 120,
            date '2026-01-01' + (c * 7919 + i * 131) %% 3650, 'verified', 'rule', '180.509', 1 + c %% 40,
            'region ' || c %% 5, 'ZQ' || chr(65 + c %% 4) || 'X', c, true, c %% 3 = 0
        FROM generate_series(%s::int, %s::int) c, generate_series(1, {DUE}) i""",
    "event": f"""(car_id, happened_on, month_only, items, outcome, opens, facility, inspector, reference, notes,
            form_key, original_id, id, recorded_at, recorded_by, import_id, superseded_at, corrects)
        SELECT c, date '2016-01-01' + i * 300 + c %% 200, false, 'visual;thickness', 'pass', '',
            'Example Shop ' || c %% 9, 'I. Nobody', '', '', NULL, NULL, c * {EVENTS} + i, now(), 'a', NULL, NULL, NULL
        FROM generate_series(%s::int, %s::int) c, generate_series(0, {EVENTS} - 1) i""",
    "reading": f"""(event_id, place, car_id, zone, inches, extent, span_in, apart_in)
        SELECT c * {EVENTS} + i, r, c, 'shell_top', 437500 + r, 'general', NULL, NULL
        FROM generate_series(%s::int, %s::int) c, generate_series(0, {EVENTS} - 1) i,
            generate_series(1, {READINGS}) r""",
}
LIST = """SELECT * FROM {schema}.due WHERE owner_id = %(owner)s AND due_on >= %(day)s
    ORDER BY due_on, mark, number, item_no LIMIT 50"""
ALL = "SELECT * FROM {schema}.due WHERE due_on >= %(day)s ORDER BY due_on, mark, number, item_no LIMIT 50"
CAR = """SELECT e.*, r.* FROM {schema}.event e LEFT JOIN {schema}.reading r ON r.event_id = e.id AND r.car_id = e.car_id
    WHERE e.car_id = %(car)s"""
BY_EVENT = "SELECT * FROM {schema}.event WHERE id = %(event)s"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=CARS)
    parser.add_argument("--parts", type=int, default=PARTS)
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    with cluster() as ours:
        plain = make_url(ours.new_store()).set(drivername="postgresql")
        with psycopg.connect(plain.render_as_string(), autocommit=True) as db:
            for table in TABLES:
                make(db, table, given.parts)
            told = measured(db, given.cars)
    print(f"{given.cars:,} cars, {given.parts} parts")
    for name, (whole, parted) in told.items():
        print(f"| {name} | {whole} | {parted} | {parted / whole:.2f} |")
    if given.json:
        given.json.write_text(json.dumps(told, indent=2) + "\n")
    return 0


def make(db: psycopg.Connection[Any], table: str, parts: int) -> None:
    """The table in both schemas."""
    for schema, more in (("whole", ""), ("parted", "PARTITION BY HASH (car_id)")):
        run(db, f"CREATE SCHEMA IF NOT EXISTS {schema}")
        run(db, f"CREATE TABLE {schema}.{table} (LIKE public.{table}) {more}")
    for at in range(parts):
        run(
            db,
            f"CREATE TABLE parted.{table}_{at} PARTITION OF parted.{table} "
            f"FOR VALUES WITH (MODULUS {parts}, REMAINDER {at})",
        )
    found = db.execute(
        "SELECT indexdef FROM pg_indexes WHERE schemaname = 'public' AND tablename = %s", [table]
    )
    for (made,) in found.fetchall():
        for schema in ("whole", "parted"):
            again = made.replace("public.", f"{schema}.")
            if schema == "parted" and "UNIQUE" in made and "car_id" not in made.partition("(")[2]:
                head, _, rest = again.partition(")")
                again = f"{head}, car_id){rest}"
            run(db, again)


def run(db: psycopg.Connection[Any], statement: str) -> None:
    db.execute(statement.encode())


def measured(db: psycopg.Connection[Any], cars: int) -> dict[str, tuple[float, float]]:
    """Each for the whole tables and for those in parts, in turn."""
    told = {"seconds to insert all rows": (filled(db, "whole", cars), filled(db, "parted", cars))}
    run(db, "ANALYZE")
    asked = {
        "list of one owner": LIST, "list of all": ALL, "events and readings of a car": CAR,
        "one event by its number": BY_EVENT,
    }  # fmt: skip
    for name, query in asked.items():
        told[f"{name}, ms"] = in_turn(
            lambda schema, at, query=query: ask(db, schema, query, at, cars)
        )
    told["one car's due items anew, ms"] = in_turn(lambda schema, at: renew(db, schema, at, cars))
    told["vacuum after a tenth of due was written, s"] = (
        vacuum(db, "whole", cars),
        vacuum(db, "parted", cars),
    )
    told["MB on disk"] = (size(db, "whole"), size(db, "parted"))
    return told


def filled(db: psycopg.Connection[Any], schema: str, cars: int) -> float:
    def fill() -> None:
        for table in TABLES:
            for first in range(1, cars + 1, 5000):
                many = [first, min(cars, first + 4999)]
                db.execute(f"INSERT INTO {schema}.{table} {ROWS[table]}".encode(), many)

    return round(seconds(fill), 2)


def in_turn(work: Callable[[str, int], object]) -> tuple[float, float]:
    """The medians of many, in milliseconds: what slows the machine down slows both."""
    taken: tuple[list[float], list[float]] = ([], [])
    for at in range(TIMES + 5):
        for schema, kept in zip(("whole", "parted"), taken, strict=True):
            kept.append(seconds(lambda schema=schema: work(schema, at)) * 1000)  # type: ignore[misc]  # noqa: B023
    whole, parted = (round(statistics.median(each[5:]), 3) for each in taken)
    return whole, parted


def ask(db: psycopg.Connection[Any], schema: str, query: str, at: int, cars: int) -> None:
    """For different owners, days and cars; parsed and planned each time."""
    car = 1 + at * 7919 % cars
    given = {
        "owner": 1 + at % 40,
        "day": f"{2027 + at % 8}-03-01",
        "car": car,
        "event": car * EVENTS,
    }
    db.execute(query.format(schema=schema).encode(), given, prepare=False).fetchall()


def renew(db: psycopg.Connection[Any], schema: str, at: int, cars: int) -> None:
    """As a change of a car does: its items out, and in again."""
    car = 1 + at * 7919 % cars
    with db.transaction():
        db.execute(f"DELETE FROM {schema}.due WHERE car_id = %s".encode(), [car])
        db.execute(f"INSERT INTO {schema}.due {ROWS['due']}".encode(), [car, car])


def vacuum(db: psycopg.Connection[Any], schema: str, cars: int) -> float:
    tenth = cars // 10
    run(
        db, f"UPDATE {schema}.due SET interval_months = interval_months + 1 WHERE car_id <= {tenth}"
    )
    return round(seconds(lambda: run(db, f"VACUUM {schema}.due")), 2)


def size(db: psycopg.Connection[Any], schema: str) -> float:
    asked = (
        "SELECT sum(pg_total_relation_size(c.oid)) FROM pg_class c "
        "WHERE c.relnamespace = %s::regnamespace AND c.relkind = 'r'"
    )
    found = db.execute(asked, [schema]).fetchone()
    return round(int(found[0]) / 1e6, 1) if found else 0.0


def seconds(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


if __name__ == "__main__":
    sys.exit(main())
