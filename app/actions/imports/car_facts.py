"""What a row of the cars file says beyond what is stored, as the dated facts to be added.

Cells that are empty say nothing. A fact that only fills in what was unknown holds as long as the fact
it completes; one that contradicts it holds from the day the row names for it, or else from today.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from app.actions.imports.stated import Stated
from app.core.facts import STENCILED_ITEMS
from app.files.columns import COLUMNS
from app.store.columns import BEGINNING, CarFact, Recorded
from app.store.intake import table_of
from app.store.tables import (
    Construction,
    Fitting,
    LiningFact,
    Ownership,
    ServiceFact,
    StencilFact,
)

Told = tuple[str, Any, Any]
FACTS: dict[str, type[CarFact]] = {
    "construction": Construction,
    "ownership": Ownership,
    "service": ServiceFact,
    "lining": LiningFact,
    "fitting": Fitting,
    "stencil": StencilFact,
}
# The field of a fact that names the day from which a new statement of it holds.
NATURAL_DAY = {"lining": "applied_on", "stencil": "marked_on"}
RECORDING = {"car_id", "from_on", *Recorded.__annotations__}


@dataclass(frozen=True, slots=True)
class Beyond:
    """A row to be added, and what it changes as (what, was, will be)."""

    row: dict[str, Any]
    told: list[Told]


def _unsaid(table: type[CarFact]) -> dict[str, Any]:
    """What a fact says when nothing is stated, by field."""
    return {
        column.name: column.default.arg if column.default is not None else None  # type: ignore[attr-defined]
        for column in table_of(table).columns
        if column.name not in RECORDING
    }


UNSAID = {about: _unsaid(table) for about, table in FACTS.items()}
UNSAID["service"]["commodity"] = ""
UNSAID["lining"]["lined"] = False
COLUMN_OF = {(column.about, column.field): column.name for column in COLUMNS["cars"]}


def stated(row: Stated, about: str) -> dict[str, Any]:
    """The fields a row states of one fact; for a lading with the day it was put in, as `from_on`."""
    values = dict(row.about(about))
    if "service_from" in values:
        values["from_on"] = values.pop("service_from")
    if about == "lining" and values:
        values["lined"] = True
    if about == "fitting" and row.about("relief_device").get("kind") == "none":
        values["has_relief_device"] = False
    return values


def beyond(
    about: str, values: dict[str, Any], stored: list[dict[str, Any]], today: date
) -> Beyond | None:
    """The fact to add so that `values` hold, or None when they are stored already."""
    stated_day: date | None = values.pop("from_on", None)
    rows = [row for row in stored if row["from_on"] <= (stated_day or today)]
    current = rows[-1] if rows else None
    before = current or UNSAID[about]
    new = {field: value for field, value in values.items() if before[field] != value}
    told: list[Told] = [
        (COLUMN_OF.get((about, field), field), before[field], value) for field, value in new.items()
    ]
    if stated_day and (current is None or current["from_on"] != stated_day):
        told.append(("service_from", current["from_on"] if current else None, stated_day))
    if not told:
        return None
    from_on = stated_day or _day(about, new, current, today)
    return Beyond(_base(about, new, current) | values | {"from_on": from_on}, told)


def _base(about: str, new: dict[str, Any], current: dict[str, Any] | None) -> dict[str, Any]:
    """What holds of the fields that the row does not state."""
    # Of another lading, the number, class and rate of the one before say nothing.
    if current is None or (about == "service" and "commodity" in new and current["commodity"]):
        return UNSAID[about]
    kept = {field: current[field] for field in UNSAID[about]}
    if about == "lining" and "applied_on" in new and current["applied_on"]:
        kept["documented"] = False  # what supports a long interval belongs to the lining before
    return kept


def _day(about: str, new: dict[str, Any], current: dict[str, Any] | None, today: date) -> date:
    if current is None:
        return BEGINNING
    earliest: date = current["from_on"]
    if all(current[field] is None or current[field] == "" for field in new):
        return earliest
    natural: date = new.get(NATURAL_DAY.get(about, ""), today)
    return max(natural, earliest)


def approvals(row: Stated) -> Iterator[dict[str, Any]]:
    """The approvals a row states, as fields of their table."""
    for item in STENCILED_ITEMS:
        values = row.about(f"approval_{item}")
        if values:
            unsaid = {"item": item, "reference": "", "stenciled": False}
            yield unsaid | values


def new_approvals(row: Stated, stored: list[dict[str, Any]], today: date) -> Iterator[Beyond]:
    """The approvals a row states that are not stored so; known by item and reference."""
    held = {(each["item"], each["reference"]): each for each in stored if each["from_on"] <= today}
    for approval in approvals(row):
        about = f"approval_{approval['item']}"
        current = held.get((approval["item"], approval["reference"]))
        said = row.about(about) if current else approval
        before = current or {"interval_months": None, "stenciled": False}
        told: list[Told] = [
            (f"{about}_{field}", before[field], said[field])
            for field in ("interval_months", "stenciled")
            if field in said and before[field] != said[field]
        ]
        if told:
            kept = approval | {"stenciled": said.get("stenciled", before["stenciled"])}
            yield Beyond(kept | {"from_on": today if current else BEGINNING}, told)
