"""How an evidence packet writes figures, days, moments, and what a row states: the same each time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

from app.core.thickness import rounded
from app.core.words import capitalized, label

# How a column's name ends that has a unit, and how that is written.
UNITS = {
    "in": "in", "psi": "psi", "psig": "psig", "months": "months",
    "115f": "psig at 115 °F", "105f": "psig at 105 °F", "mil_per_year": "mil a year",
}  # fmt: skip
WRITTEN = {"un": "Identification number", "commodity": "Lading", "standing": "Standing"}
NAMES_OF_OURS = ("standing", "item", "sheeting_method")


def exact(value: Fraction | Decimal | None) -> str | None:
    """A figure to five decimals, rounded half up, without idle zeros: 13/32 is 0.40625."""
    if value is None:
        return None
    return f"{Decimal(repr(rounded(Fraction(value)))).normalize():f}"


def day(value: date | None, month_only: bool = False) -> str | None:
    return value.isoformat()[: 7 if month_only else 10] if value else None


def moment(value: datetime) -> str:
    """To the second, in UTC."""
    return value.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S UTC")


def lines(stated: Mapping[str, Any], parties: Mapping[int, str]) -> list[list[str]]:
    """What a row states, by the words for its columns; what it does not state is left out."""
    found = ((_title(name), _value(name, value, parties)) for name, value in stated.items())
    return [[title, value] for title, value in found if value]


def said(entry: Mapping[str, Any], parts: Mapping[int, str]) -> str:
    """What an entry of field work says, as one line; installations by what they are."""
    return "; ".join(f"{name}: {value}" for name, value in _spoken(entry, parts) if value)


def _spoken(entry: Mapping[str, Any], parts: Mapping[int, str]) -> Iterable[tuple[str, str]]:
    for name, value in entry.items():
        if name.endswith("installation_id"):
            yield _title(name.removesuffix("_installation_id")), parts.get(value, "")
        elif isinstance(value, Mapping):
            yield _title(name), said(value, parts)
        elif name not in ("confirmed", "digest"):
            yield _title(name), _plain(value)


def _title(name: str) -> str:
    """`inside_diameter_in` is "Inside diameter, in"."""
    plain = name.removesuffix("_id").removesuffix("_on")
    if plain in WRITTEN:
        return WRITTEN[plain]
    for ending, unit in UNITS.items():
        if plain.endswith(f"_{ending}"):
            start = plain.removesuffix(f"_{ending}").removesuffix("_psig")
            return f"{capitalized(label(start))}, {unit}"
    return capitalized(label(plain))


def _value(name: str, value: Any, parties: Mapping[int, str]) -> str:
    if name.endswith("owner_id"):
        return parties.get(value, "")
    if isinstance(value, str) and name in NAMES_OF_OURS:
        return label(value)
    return _plain(value)


def _plain(value: Any) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case Decimal():
            return exact(value) or ""
        case str():
            return label(value) if value.isidentifier() and value.islower() else value
        case list() | tuple():
            return ", ".join(map(_plain, value))
    return str(value)
