"""The dated facts of a car as its page shows them: what is in force since when, and what was before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from app.core.words import capitalized, label
from app.pages import fields
from app.pages.forms import Field
from app.store.cars import Histories, Recorded
from app.store.columns import BEGINNING
from app.store.tables import CarName
from app.web.rendering import inches

Lines = Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Past:
    """A row that is not in force: what it said, for which days, who recorded it, and what became of it.

    `replaced` is the moment it was corrected or taken back; without one it was simply followed by a
    later row.
    """

    lines: Lines
    since: date | None
    until: date | None
    recorded_at: datetime
    recorded_by: str
    replaced: datetime | None
    reason: str
    withdrawn: bool
    table: str
    row_id: int

    @property
    def words(self) -> str:
        return "; ".join(f"{label.lower()} {value}" for label, value in self.lines)


@dataclass(frozen=True, slots=True)
class InForce:
    """A row in force: what it says, and where it is, to be withdrawn."""

    lines: Lines
    table: str
    row_id: int


@dataclass(frozen=True, slots=True)
class Section:
    """A kind of fact: the rows in force, and those before them."""

    kind: str
    title: str
    current: Sequence[InForce]
    since: date | None
    recorded: str
    past: Sequence[Past]


# What each kind is called, and where its rows and the fields that explain them are.
KINDS: tuple[tuple[str, str, str, tuple[Field, ...]], ...] = (
    ("name", "Mark and number", "names", fields.NAME),
    ("details", "Specification and tank", "constructions",
     (*fields.SPECIFICATION, *fields.TANK, *fields.MINIMA)),
    ("lading", "Lading", "services", fields.LADING),
    ("lining", "Lining", "linings", fields.LINED),
    ("stencil", "Stencil on the car", "stencils", fields.STENCIL),
    ("approval", "Approved other intervals", "approvals", fields.APPROVAL),
    ("fitting", "Equipment and sheeting", "fittings", fields.FITTED),
    ("owner", "Owner and region", "ownerships", fields.OWNERSHIP),
    ("standing", "Standing", "standings", fields.STANDING),
    ("hold", "Hold", "holds", fields.HOLD),
)  # fmt: skip


_TITLES = {rows.removesuffix("s"): title for _, title, rows, _ in KINDS}


def called(table: str, row: Any) -> str:
    """What a row of a table of facts, an event or a component is called where somebody is asked about it."""
    title = _TITLES.get(table, capitalized(label(table)))
    return f"{title}, recorded on {row.recorded_at:%Y-%m-%d %H:%M} UTC by {row.recorded_by}."


def sections(histories: Histories) -> list[Section]:
    """Every kind of fact, also those of which nothing is recorded."""
    return [
        _section(kind, title, getattr(histories, rows), asked, histories.parties)
        for kind, title, rows, asked in KINDS
    ]


def _section(
    kind: str,
    title: str,
    rows: Sequence[Recorded[Any]],
    asked: Iterable[Field],
    parties: Mapping[int, str],
) -> Section:
    said = {each.row.id: _lines(each.row, asked, parties) for each in rows}
    held = [each.row for each in rows if each.in_force]
    return Section(
        kind=kind,
        title=title,
        current=[InForce(said[row.id], row.__tablename__, row.id) for row in held],
        since=_since(held[0].from_on) if held else None,
        recorded=held[0].recorded_by if held else "",
        past=_past(rows, said),
    )


def _past(rows: Sequence[Recorded[Any]], said: Mapping[int, Lines]) -> list[Past]:
    """Rows not in force, latest first; each held until the next one that still counts."""
    past, until = [], None
    for each in rows:
        row = each.row
        if not each.in_force:
            reason = each.withdrawal.reason if each.withdrawal else ""
            past.append(
                Past(
                    said[row.id], _since(row.from_on), until, row.recorded_at,
                    row.recorded_by, row.superseded_at, reason,
                    each.withdrawal is not None, row.__tablename__, row.id,
                )
            )  # fmt: skip
        if row.superseded_at is None:
            until = row.from_on
    return past


def _lines(row: Any, asked: Iterable[Field], parties: Mapping[int, str]) -> Lines:
    """What the row states, by field; what it does not state is left out."""
    if isinstance(row, CarName):
        return [("Name", f"{row.mark} {row.number}")]
    found = ((each.label, _value(row, each.name, parties)) for each in asked)
    return [(label, value) for label, value in found if value]


def _value(row: Any, name: str, parties: Mapping[int, str]) -> str:
    if hasattr(row, f"{name}_id"):
        return parties.get(getattr(row, f"{name}_id"), "")
    value = getattr(row, name)
    match value:
        case None:
            return ""
        case False if name == "fluorinated_hydrocarbon_only":
            return ""  # so of nearly every tank, and no news
        case bool():
            return "yes" if value else "no"
        case Decimal():
            return inches(value)
        case str():
            return label(value) if name in ("standing", "item", "sheeting_method") else value
    return str(value)


def _since(from_on: date) -> date | None:
    return None if from_on == BEGINNING else from_on
