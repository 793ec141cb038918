"""What the server's store holds after tablets have sent, asked in SQL and not through the program."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlalchemy import Row, create_engine, text

from tests.fixtures.server import Server

ENTRIES = """select report.key, entry.place, entry.key, entry.kind
    from field_entry entry join report on report.id = report_id order by report.id, entry.id"""
PHOTOGRAPHS = """select report.key, sent_sha256, sha256
    from photograph join report on report.id = report_id order by report.id, photograph.id"""
EVENTS = """select car_id, items, outcome, inspector, facility, happened_on
    from event where recorded_by like 'Inspector%' order by car_id, id"""
# Inches are kept as whole millionths.
READINGS = """select event.car_id, reading.inches / 1000000.0
    from reading join event on event.id = event_id order by event.car_id, reading.place"""
PARTS = """select installation.car_id, component.serial, installed_on, removed_on
    from installation join component on component.id = component_id
    left join removal on installation_id = installation.id
    where component.kind = 'bottom_outlet' order by installation.car_id, installation.id"""


def asked(server: Server, question: str) -> Sequence[Row[Any]]:
    engine = create_engine(server.database_url)
    with engine.connect() as db:
        found = db.execute(text(question)).all()
    engine.dispose()
    return found


def cars(server: Server) -> list[int]:
    return [row[0] for row in asked(server, "select id from car order by id")]


def by_first(rows: Sequence[Row[Any]]) -> dict[Any, list[tuple[Any, ...]]]:
    """The rest of each row under what it begins with: a report's key, or a car."""
    found: dict[Any, list[tuple[Any, ...]]] = {}
    for first, *rest in rows:
        found.setdefault(first, []).append(tuple(rest))
    return found


def dues(server: Server) -> dict[int, dict[str, tuple[str, date | None]]]:
    """How each due item of each car stands, and the day on which it falls due."""
    found = by_first(asked(server, "select car_id, item, state, due_on from due"))
    return {car: {item: (state, on) for item, state, on in rows} for car, rows in found.items()}
