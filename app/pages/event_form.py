"""The form of an inspection or a change: what it lists, how it is read, how its readings stand."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from app.actions.changes import NewEvent, NewReading
from app.actions.readings import slip
from app.core.facts import (
    CHANGES,
    EVENT_ITEMS,
    SHELL_AND_HEAD_ZONES,
    ZONES,
    Car,
    Event,
    Extent,
    Reading,
    Tank,
    ZoneThickness,
)
from app.core.measure import exact, exact_or_none
from app.core.rule import Rulebook
from app.core.showing import Length
from app.core.stencil import Specification, Unreadable, decode
from app.core.thickness import all_lines, zones_shown
from app.errors import Fault
from app.files import cells, days, measures
from app.files.cells import Cell
from app.files.drawings import margin_in_words
from app.pages import forms
from app.pages.fields import COLUMNS, spoken
from app.pages.forms import Choice, Entries, Field, Typed
from app.store.events import EventShown, LastReading, inspected

OUTCOMES: tuple[Choice, ...] = (("pass", "Passed"), ("fail", "Failed"))
EXTENTS: tuple[Choice, ...] = (("general", "General"), ("local", "Local"))
SPARE_ROWS = 2


def _told(column: str, label: str, control: forms.Control = "line") -> Field:
    found = COLUMNS["events", column]
    return Field(found.field, label, found.read, found.says, control)


FIELDS = (
    Field(
        "happened_on",
        "Day",
        days.day_or_month,
        "Or the month, such as 2026-11, when no more is known",
        "day",
        (),
        True,
    ),
    _told("facility", "Facility"),
    _told("inspector", "Inspector"),
    _told("reference", "Report number"),
    _told("notes", "Notes", "notes"),
)


def _measured_as(name: str, label: str, read: Callable[[Cell], Decimal]) -> Field:
    return Field(name, label, measures.or_stated(read, "mm"), measure="length")


# Inches of any size are taken here: the action asks about an unlikely one, to be confirmed.
READING_FIELDS = (
    Field("zone", "Zone", measures.zone, "", "choice", spoken(ZONES), False),
    _measured_as(
        "inches", "Inches", measures.above_zero("a thickness such as 0.406, 13/32 or 10.3 mm")
    ),
    Field("extent", "Extent", forms.one_of(EXTENTS), "", "choice", EXTENTS, True),
    _measured_as("span_in", "Spans, in", measures.zero_or_more("a span such as 6 or 150 mm")),
    _measured_as(
        "apart_in", "From the next, in", measures.zero_or_more("a distance such as 20 or 510 mm")
    ),
)


@dataclass(frozen=True, slots=True)
class Verdict:
    """How one reading stands against its lines, or what keeps it from being judged."""

    problem: str
    zone: ZoneThickness | None = None
    margin: str = ""
    odd: bool = False


@dataclass(frozen=True, slots=True)
class EventForm:
    """What the template of the form shows; `newest` is the event to correct instead of this one."""

    title: str
    lead: str
    action: str
    button: str
    entries: Entries
    inspections: tuple[Choice, ...]
    verdicts: Mapping[int, Verdict]
    fields: tuple[Field, ...] = FIELDS
    newest: int | None = None
    with_readings: bool = True
    with_changes: bool = True
    last: Mapping[str, LastReading] = field(default_factory=dict)

    change_names = CHANGES
    outcomes = OUTCOMES

    @property
    def changes(self) -> tuple[Choice, ...]:
        return spoken(CHANGES) if self.with_changes else ()

    @property
    def reading_fields(self) -> tuple[Field, ...]:
        shown = READING_FIELDS if self.with_readings else ()
        return tuple(forms.in_its_unit(each, self.entries) for each in shown)

    @property
    def length_unit(self) -> str:
        """In which a number without a unit is taken."""
        return self.entries.text("length_unit") or "in"

    @property
    def rows(self) -> int:
        return len(self.entries.rows("readings"))

    @property
    def unlikely(self) -> bool:
        """Whether a reading must be confirmed."""
        return any(verdict.odd for verdict in self.verdicts.values())

    @property
    def labels(self) -> dict[str, str]:
        named = {"names": "Which cars", "items": "What was inspected or done"}
        for row in range(self.rows):
            prefix = f"readings.{row}."
            named |= {
                name: f"Reading {row + 1}, {label.lower()}"
                for name, label in forms.labels(self.reading_fields, prefix).items()
            }
        return named | forms.labels(self.fields)


def blank(unit: Length = "in") -> Entries:
    """A new form: passed, with a row for each zone of shell and heads, numbers alone taken in the unit."""
    typed = {"outcome": ["pass"], "form_key": [forms.new_form_key()], "length_unit": [str(unit)]}
    for row, zone in enumerate(SHELL_AND_HEAD_ZONES):
        typed |= {f"readings.{row}.zone": [zone], f"readings.{row}.extent": ["general"]}
    return more_rows(Entries(typed))


def blank_for_many() -> Entries:
    """A new form without readings."""
    return Entries({"outcome": ["pass"], "form_key": [forms.new_form_key()]})


def more_rows(entries: Entries) -> Entries:
    """The form with spare rows for readings behind those there are."""
    first = len(entries.rows("readings"))
    spare = {f"readings.{row}.extent": "general" for row in range(first, first + SPARE_ROWS)}
    return entries.more(spare)


def of_event(event: EventShown) -> Entries:
    """The form filled with what was recorded, to be corrected."""
    row = event.row
    values: dict[str, Any] = {
        "happened_on": f"{row.happened_on:%Y-%m}" if row.month_only else row.happened_on,
        "items": event.items,
        "opens": event.opens,
        "outcome": row.outcome,
        "form_key": forms.new_form_key(),
    }
    values |= {name: getattr(row, name) for name in ("facility", "inspector", "reference", "notes")}
    for place, reading in enumerate(event.readings):
        names = (each.name for each in READING_FIELDS)
        values |= {f"readings.{place}.{name}": reading.as_stated(name) for name in names}
    return more_rows(forms.filled(values))


def read_event(typed: Typed) -> tuple[NewEvent | None, Entries]:
    """The event that was typed; None, and the form with its problems, when it cannot be taken."""
    values, entries = forms.read(FIELDS, typed)
    items = tuple(item for item in (*EVENT_ITEMS, *CHANGES) if item in entries.chosen("items"))
    if not items:
        entries = entries.wrong({"items": "Nothing is ticked; want an inspection or a change."})
    readings, entries = _readings(entries)
    if entries.problems:
        return None, entries
    happened: days.Day = values.pop("happened_on")
    # The form asks for it only where something was inspected.
    failed = entries.text("outcome") == "fail" and bool(inspected(items))
    event = NewEvent(
        happened_on=happened.on,
        month_only=happened.month_only,
        items=items,
        outcome="fail" if failed else "pass",
        opens=tuple(item for item in EVENT_ITEMS if item in entries.chosen("opens")),
        readings=tuple(readings),
        form_key=entries.text("form_key") or None,
        **{name: value or "" for name, value in values.items()},
    )
    return event, entries


def _measured(entries: Entries) -> list[int]:
    """The rows in which inches stand; the others are left out."""
    rows = entries.rows("readings")
    return [row for row in rows if not cells.blank(entries.text(f"readings.{row}.inches"))]


def _readings(entries: Entries) -> tuple[list[NewReading], Entries]:
    found: list[NewReading] = []
    confirmed = entries.text("confirmed") == "yes"
    for row in _measured(entries):
        prefix = f"readings.{row}."
        values, read = forms.read(READING_FIELDS, entries.typed, prefix)
        if cells.blank(entries.text(prefix + "zone")):
            read = read.wrong({prefix + "zone": "No zone is chosen; want where it was measured."})
        entries = entries.wrong(read.problems)
        if not read.problems:
            found.append(NewReading(**values, confirmed=confirmed))
    return found, entries


def beside(faults: Iterable[Fault], entries: Entries) -> Entries:
    """The form with the action's faults beside their fields; it counts the readings, not the rows.

    Nothing was recorded, so the form gets a new key: sent again, it means to record.
    """
    rows = _measured(entries)
    names = [each.name for each in READING_FIELDS]
    renamed = {
        f"readings.{place}.{name}": f"readings.{row}.{name}"
        for place, row in enumerate(rows)
        for name in names
    }
    renamed |= {f"readings.{place}": f"readings.{row}.inches" for place, row in enumerate(rows)}
    renamed |= {"on": "happened_on"}
    known = {"items", "outcome", *(each.name for each in FIELDS), *renamed.values()}
    again = Entries({**entries.typed, "form_key": [forms.new_form_key()]}, entries.problems)
    return again.wrong(forms.beside(faults, known, renamed))


@dataclass(frozen=True, slots=True)
class Judge:
    """The tank that readings are judged against, and the last ones; `spec` is None where it cannot be read.

    With `only` a person answers for these items alone, and measures no tank.
    """

    spec: Specification | None
    tank: Tank
    rulebook: Rulebook
    design: Mapping[str, Decimal]
    last: Mapping[str, LastReading]
    only: frozenset[str] | None = None

    @classmethod
    def of(
        cls,
        car: Car,
        rulebook: Rulebook,
        design: Mapping[str, Decimal],
        last: Mapping[str, LastReading],
        only: frozenset[str] | None = None,
    ) -> Judge:
        try:
            spec = decode(car.specification, rulebook.stencils)
        except Unreadable:
            spec = None
        return cls(spec, car.tank, rulebook, design, last, only)

    @property
    def inspections(self) -> tuple[Choice, ...]:
        """What can be inspected on a car of this class."""
        asked = [item for item in EVENT_ITEMS if self.only is None or item in self.only]
        if self.spec is not None:
            items = self.rulebook.regime_items[self.spec.regime]
            asked = [item for item in asked if item in items]
        return spoken(tuple(asked))

    @property
    def judges(self) -> bool:
        return self.only is None and self.spec is not None and self.spec.regime == "fusion_welded"

    def verdicts(self, entries: Entries) -> dict[int, Verdict]:
        """By row of the form, for the rows with inches."""
        judged = {row: self.verdict(entries, row) for row in _measured(entries)}
        return {row: verdict for row, verdict in judged.items() if verdict is not None}

    def verdict(self, entries: Entries, row: int) -> Verdict | None:
        """How the reading in this row stands; None while it has no inches."""
        values, read = forms.read(READING_FIELDS, entries.typed, f"readings.{row}.")
        if read.problems:
            return Verdict(next(iter(read.problems.values())))
        if values["inches"] is None:
            return None
        if values["zone"] is None:
            return Verdict("Choose the zone.")
        if self.spec is None:
            return Verdict("The specification cannot be read, so there are no lines.")
        odd = slip(NewReading(**values), self.design.get(values["zone"]))
        if odd:
            return Verdict(forms.as_sentence(odd), odd=True)
        zone = self._zone(self.spec, _reading(values))
        return Verdict("", zone, margin_in_words(zone))

    def _zone(self, spec: Specification, reading: Reading) -> ZoneThickness:
        event = Event(date.min, ("thickness",), readings=(reading,))
        shown = zones_shown(all_lines(spec, self.tank, self.rulebook), (event,), self.rulebook)
        return next(zone for zone in shown if zone.zone == reading.zone)


def _reading(values: Mapping[str, Any]) -> Reading:
    extent: Extent = "local" if values["extent"] == "local" else "general"
    span, apart = (exact_or_none(values[name]) for name in ("span_in", "apart_in"))
    return Reading(values["zone"], exact(values["inches"]), extent, span, apart)
