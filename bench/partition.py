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
            told = {schema: measured(db, schema, given.cars) for schema in ("whole", "parted")}
    print(f"{given.cars:,} cars, {given.parts} parts")
    for name, of_whole in told["whole"].items():
        of_parts = told["parted"][name]
        print(f"| {name} | {of_whole} | {of_parts} | {of_parts / of_whole:.2f} |")
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


def measured(db: psycopg.Connection[Any], schema: str, cars: int) -> dict[str, float]:
    told = {"seconds to insert all rows": filled(db, schema, cars)}
    run(db, f"ANALYZE {schema}.due, {schema}.event, {schema}.reading")
    asked = {
        "list of one owner": LIST, "list of all": ALL, "events and readings of a car": CAR,
        "one event by its number": BY_EVENT,
    }  # fmt: skip
    for name, query in asked.items():
        told[f"{name}, ms"] = timed(db, query.format(schema=schema), cars)
    told["one car's due items anew, ms"] = renewed(db, schema, cars)
    run(
        db,
        f"UPDATE {schema}.due SET interval_months = interval_months + 1 WHERE car_id <= {cars // 10}",
    )
    told["vacuum after a tenth of due was written, s"] = seconds(
        lambda: run(db, f"VACUUM {schema}.due")
    )
    size = (
        "SELECT sum(pg_total_relation_size(c.oid)) FROM pg_class c "
        "WHERE c.relnamespace = %s::regnamespace AND c.relkind = 'r'"
    )
    told["MB on disk"] = round(int(db.execute(size, [schema]).fetchone()[0]) / 1e6, 1)  # type: ignore[index]
    return told


def filled(db: psycopg.Connection[Any], schema: str, cars: int) -> float:
    def fill() -> None:
        for table in TABLES:
            for first in range(1, cars + 1, 5000):
                many = [first, min(cars, first + 4999)]
                db.execute(f"INSERT INTO {schema}.{table} {ROWS[table]}".encode(), many)

    return seconds(fill)


def timed(db: psycopg.Connection[Any], query: str, cars: int) -> float:
    """The median of many, for different owners, days and cars; parsed and planned each time."""
    taken = []
    for at in range(TIMES + 5):
        car = 1 + at * 7919 % cars
        given = {
            "owner": 1 + at % 40,
            "day": f"{2027 + at % 8}-03-01",
            "car": car,
            "event": car * EVENTS,
        }
        began = time.perf_counter()
        db.execute(query.encode(), given, prepare=False).fetchall()
        taken.append(time.perf_counter() - began)
    return round(statistics.median(taken[5:]) * 1000, 3)


def renewed(db: psycopg.Connection[Any], schema: str, cars: int) -> float:
    """As a change of a car does: its items out, and in again."""
    taken = []
    for at in range(TIMES):
        car = 1 + at * 7919 % cars
        began = time.perf_counter()
        with db.transaction():
            db.execute(f"DELETE FROM {schema}.due WHERE car_id = %s".encode(), [car])
            db.execute(f"INSERT INTO {schema}.due {ROWS['due']}".encode(), [car, car])
        taken.append(time.perf_counter() - began)
    return round(statistics.median(taken) * 1000, 3)


def seconds(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return round(time.perf_counter() - began, 2)


if __name__ == "__main__":
    sys.exit(main())
