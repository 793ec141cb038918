"""What no car can be: an unreadable specification, days in the future or before it was built."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

from app.actions.imports.stated import Stated
from app.core.stencil import Unreadable, decode
from app.files.headers import RowFault
from app.rules.reader import default_rulebook

# Subject, field, the column a person knows it by, and whether it may not lie before the car was built.
DAYS = (
    ("construction", "built_on", "built_on", False),
    ("construction", "rebuilt_on", "rebuilt_on", True),
    ("service", "service_from", "service_from", True),
    ("lining", "applied_on", "lining_applied_on", True),
    ("relief_device", "tested_on", "relief_device_tested_on", False),
    ("relief_device", "installed_on", "relief_device_installed_on", False),
    ("fitting", "sheeting_installed_on", "reflective_sheeting_installed_on", True),
    ("stencil", "marked_on", "stencil_marked_on", True),
)


def faults(row: Stated, today: date, stored: list[dict[str, Any]]) -> list[RowFault]:
    """Everything wrong with a row as a whole; `stored` are the constructions known of its car."""
    built = row.about("construction").get("built_on") or (
        stored[-1]["built_on"] if stored else None
    )
    return [*_specification(row), *_days(row, today, built), *_device(row), *_approvals(row)]


def _specification(row: Stated) -> Iterator[RowFault]:
    text = row.about("construction").get("specification")
    if text is None:  # it could not be read
        return
    try:
        decode(text, default_rulebook().stencils)
    except Unreadable as wrong:
        wanted = f"the specification as stenciled; at character {wrong.place}: {wrong.problem}"
        yield RowFault(row.row, "specification", text, wanted)


def _days(row: Stated, today: date, built: date | None) -> Iterator[RowFault]:
    for about, field, column, after_built in DAYS:
        day = row.about(about).get(field)
        if day is None:
            continue
        on: date = getattr(day, "on", day)
        if on > today:
            yield RowFault(row.row, column, on.isoformat(), f"a day not after today, {today}")
        # By the month, since a month that is known alone counts from its first day.
        elif after_built and built and on < built.replace(day=1):
            yield RowFault(
                row.row, column, on.isoformat(), f"a day not before {built}, when the car was built"
            )


def _device(row: Stated) -> Iterator[RowFault]:
    stated = row.about("relief_device")
    if stated.get("kind") == "none" and len(stated) > 1:
        yield RowFault(
            row.row, "relief_device_kind", "none", "no other facts of a relief device beside none"
        )


def _approvals(row: Stated) -> Iterator[RowFault]:
    for about, stated in row.values.items():
        if about.startswith("approval_") and "interval_months" not in stated:
            column = f"{about}_interval_months"
            yield RowFault(row.row, column, "", "the interval of this approval in months")
