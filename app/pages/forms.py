"""Forms: what a field is called, how it is read, and what is shown again when something is wrong.

A field is read by the same parsers as a cell of a file, so that a page and a file take the same and
refuse the same. Nothing typed is ever lost: a form is shown again from what was posted.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Any, Literal
from uuid import uuid4

from app import web
from app.core.measure import Stated
from app.errors import Fault
from app.files import cells
from app.files.cells import Cell

Control = Literal["line", "day", "number", "choice", "notes", "tick", "suggest"]
Choice = tuple[str, str]
Typed = Mapping[str, Sequence[str]]
Measure = Literal["length", "pressure"]


@dataclass(frozen=True, slots=True)
class Field:
    """One field: `read` turns what was typed into a value, or raises ValueError with a sentence.

    An empty field is None, unless it is `needed`; then its absence is a fault.
    """

    name: str
    label: str
    read: Callable[[Cell], Any]
    hint: str = ""
    control: Control = "line"
    choices: tuple[Choice, ...] = ()
    needed: bool = False
    measure: Measure | None = None


# A form says in which unit a number without one is meant, so that nothing depends on what a person prefers by the
# time it is sent: by these names, with the unit that its fields are labelled in otherwise.
UNITS: Mapping[Measure, str] = {"length": "length_unit", "pressure": "pressure_unit"}
OTHERWISE: Mapping[Measure, str] = {"length": "mm", "pressure": "kPa"}
LABELS: Mapping[Measure, tuple[tuple[str, str], ...]] = {
    "length": (("Inches", "Millimetres"), (", in", ", mm")),
    "pressure": ((", psig", ", kPa"),),
}
BARE = re.compile(r"[0-9.,/+ -]+")
# Of the number of a row in a form; what has more was not sent by one.
MOST_ROW_DIGITS = 3


@dataclass(frozen=True, slots=True)
class Entries:
    """What a form shows: what stands in its fields, and what is wrong with which."""

    typed: Typed = field(default_factory=dict)
    problems: Mapping[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str:
        return next(iter(self.typed.get(name, ())), "")

    def chosen(self, name: str) -> Sequence[str]:
        return self.typed.get(name, ())

    def problem(self, name: str) -> str:
        return self.problems.get(name, "")

    def rows(self, name: str) -> range:
        """The numbers of the rows of a repeated group, such as `readings.0.zone`."""
        places = (key.split(".")[1] for key in self.typed if key.startswith(f"{name}."))
        numbers = (
            int(place) for place in places if place.isdecimal() and len(place) <= MOST_ROW_DIGITS
        )
        return range(1 + max(numbers, default=-1))

    def wrong(self, problems: Mapping[str, str]) -> Entries:
        """The same form with these problems as well; the first said about a field stays."""
        return Entries(self.typed, {**problems, **self.problems})

    def more(self, typed: Mapping[str, str]) -> Entries:
        """The same form with these fields filled where nothing stands in them yet."""
        filled = {name: [value] for name, value in typed.items() if name not in self.typed}
        return Entries({**self.typed, **filled}, self.problems)


def typed(posted: web.Sent) -> Typed:
    """All that was posted, every value of every field."""
    return dict(posted)


def filled(values: Mapping[str, Any]) -> Entries:
    """A form that shows what is on record, to be changed."""
    return Entries({name: as_typed(value) for name, value in values.items()})


def as_typed(value: Any) -> list[str]:
    """A value as a person would type it into its field."""
    match value:
        case None:
            return []
        case bool():
            return ["yes" if value else "no"]
        case date():
            return [value.isoformat()]
        case Decimal():
            return [f"{value:f}"]
        case Stated():
            return [str(value)]
        case list() | tuple():
            return [str(each) for each in value]
    return [str(value)]


def read(
    fields: Iterable[Field], posted: Typed, prefix: str = ""
) -> tuple[dict[str, Any], Entries]:
    """The values by field name, and the form; when it has no problems, no value is missing."""
    entries = Entries(posted)
    values: dict[str, Any] = {}
    problems: dict[str, str] = {}
    for each in fields:
        try:
            values[each.name] = _value(each, _with_unit(each, entries, prefix))
        except ValueError as wrong:
            problems[prefix + each.name] = as_sentence(str(wrong))
    return values, entries.wrong(problems)


def _with_unit(each: Field, entries: Entries, prefix: str) -> str:
    text = entries.text(prefix + each.name)
    if each.measure and _otherwise(each.measure, entries) and BARE.fullmatch(text.strip()):
        return f"{text} {OTHERWISE[each.measure]}"
    return text


def _otherwise(measure: Measure, entries: Entries) -> bool:
    return entries.text(UNITS[measure]) == OTHERWISE[measure]


def in_its_unit(each: Field, entries: Entries) -> Field:
    """The field labelled in the unit in which the form takes a number without one."""
    if each.measure is None or not _otherwise(each.measure, entries):
        return each
    label = each.label
    for ours, other in LABELS[each.measure]:
        label = label.replace(ours, other)
    return replace(each, label=label)


def _value(each: Field, text: str) -> Any:
    if not cells.blank(text):
        return each.read(text)
    if each.needed:
        raise ValueError("nothing was entered; this is needed")
    return None


def one_of(choices: Sequence[Choice]) -> Callable[[Cell], str]:
    """A reader that takes these choices only, by their values."""
    return cells.one_of([value for value, _ in choices], "one of the choices")


def as_sentence(problem: str) -> str:
    """A parser's words as a sentence: a capital at the front, a stop at the end."""
    stop = "" if problem.endswith((".", "?", "!")) else "."
    return f"{problem[:1].upper()}{problem[1:]}{stop}"


def labels(fields: Iterable[Field], prefix: str = "") -> dict[str, str]:
    """What each field is called, for the list of what is wrong."""
    return {prefix + each.name: each.label for each in fields}


def beside(
    faults: Iterable[Fault], names: Iterable[str], renamed: Mapping[str, str] | None = None
) -> dict[str, str]:
    """Faults of an action beside the fields they are about.

    `renamed` gives the field for a fault's path where they differ; what was recorded meanwhile is
    ticked as read on every form that changes a car; what belongs to none of `names`
    stands over the form, under the empty name.
    """
    known, other = {*names, "meanwhile"}, renamed or {}
    problems: dict[str, str] = {}
    for fault in faults:
        path = other.get(fault.path, fault.path)
        name = path if path in known else ""
        problem = as_sentence(fault.problem)
        problems[name] = f"{problems[name]} {problem}" if name in problems else problem
    return problems


def new_form_key() -> str:
    """A key that makes a form sent twice one change."""
    return uuid4().hex


# More digits than any number of a row has; Python reads no number of some thousands.
MOST_DIGITS = 15


def whole(text: str) -> int | None:
    """A number without sign or fraction, as a form or an address sends it; None where it is none."""
    text = text.strip()
    return int(text) if text.isdecimal() and len(text) <= MOST_DIGITS else None
