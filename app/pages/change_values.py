"""What the record of change calls a column and its value: by the labels of the forms, in days, moments and words."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime, tzinfo
from functools import cache
from typing import Any

from app.core.words import label
from app.pages import event_form, fields
from app.pages.forms import Field
from app.store.change_log import canonical

# The fields that state a table's columns, as the page of a car labels them.
FIELDS: Mapping[str, tuple[Field, ...]] = {
    "car_name": fields.NAME,
    "construction": (*fields.SPECIFICATION, *fields.TANK, *fields.MINIMA),
    "service": fields.LADING,
    "lading": fields.LADING,
    "lining": fields.LINED,
    "stencil": fields.STENCIL,
    "approval": fields.APPROVAL,
    "fitting": fields.FITTED,
    "ownership": fields.OWNERSHIP,
    "standing": fields.STANDING,
    "hold": fields.HOLD,
    "component": fields.COMPONENT,
    "installation": (*fields.COMPONENT, *fields.INSTALLED, *fields.DEVICE),
    "event": event_form.FIELDS,
    "reading": event_form.READING_FIELDS,
}
LABELS = {
    (table, each.name): each.label for table, named in FIELDS.items() for each in named
}  # fmt: skip
CALLED: Mapping[str, str] = {
    "from_on": "since",
    "happened_on": "day",
    "removed_on": "taken off",
    "month_only": "only the month is known",
    "installed_month_only": "only the month is known",
    "expires_at": "good until",
    "how": "by",
    "in_place_of_built_in": "in place of the built-in steps",
    "kept_by": "looked after by",
    "look_at": "look at",
    "sha256": "digest of the file",
    "spot": "where",
}
# Columns that hold names of ours.
OURS = frozenset((
    "kind", "standing", "outcome", "extent", "zone", "role", "step", "how", "second", "item",
    "items", "opens", "sheeting_method", "table_name",
))  # fmt: skip
MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d")
UNIT = re.compile(r", (psig|psi|in|months|mil a year)$")
BEGINNING = "0001-01-01"
LONG = 120
Names = Mapping[tuple[str, str], str]


def is_party(column: str) -> bool:
    return column in ("owner_id", "shop_id", "party_id", "kept_by") or column.endswith("_owner_id")


def is_moment(value: Any) -> bool:
    return isinstance(value, str) and MOMENT.match(value) is not None


def column(table: str, name: str) -> str:
    """What a column is called, to stand before its value, without its unit."""
    return UNIT.sub("", _labelled(table, name))


def value(table: str, name: str, held: Any, names: Names, zone: tzinfo) -> str:
    """A value as it stands in an entry, in words, with its unit."""
    if held is None or held in ("", []):
        return "nothing"
    if is_party(name):
        return company(held, names)
    if isinstance(held, bool):
        return "yes" if held else "no"
    if held == BEGINNING:
        return "the beginning"
    if is_moment(held):
        return f"{datetime.fromisoformat(held).astimezone(zone):%Y-%m-%d %H:%M}"
    unit = UNIT.search(_labelled(table, name))
    return _text(name, held) + (f" {unit[1]}" if unit else "")


def company(held: Any, names: Names) -> str:
    """A party's name; one that the viewer does not know of has none."""
    return names.get(("party", str(held)), "another company")


@cache
def _labelled(table: str, name: str) -> str:
    bare = name.removesuffix("_id")
    found = LABELS.get((table, bare)) or CALLED.get(name)
    if found is None:
        found = label(re.sub("_(at|on)$", "", bare))
    # A-end and B-end keep their capitals.
    return found if found[1:2] in "- " or found[1:2].isupper() else found[:1].lower() + found[1:]


def _text(name: str, held: Any) -> str:
    if isinstance(held, list):
        return ", ".join(_one(each) for each in held)
    if name in OURS:
        return ", ".join(label(each) for each in str(held).split(";"))
    text = canonical(held) if isinstance(held, dict) else str(held)
    return text if len(text) <= LONG else f"{text[:LONG]}…"


def _one(held: Any) -> str:
    """Of a list; what has a name and a value stands there as a list of the two."""
    return " ".join(label(str(each)) for each in (held if isinstance(held, list) else (held,)))
