"""What the pages of the rulebook show: rules by section, what each feeds and governs, and which rulebook it is."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.actions import rulebooks
from app.core.rule import Rule
from app.core.words import capitalized, label
from app.rules.overlay import Difference, Laid, differences, laid
from app.rules.reader import default_rulebook
from app.store import cars
from app.store import rulebooks as stored
from app.store.derived import RulebookEdition
from app.web.rendering import query

# What the sections are about, in our words.
SECTIONS = {
    "173.31": "Filling and offering tank cars",
    "173.319": "Cryogenic cars",
    "179.15": "Pressure relief devices",
    "179.22": "What the letters of a specification say",
    "179.100-6": "Plate of pressure cars",
    "179.101-1": "Pressure classes",
    "179.200-6": "Plate of non-pressure cars",
    "179.202-6": "Class 117 cars",
    "179.301": "Building ton tanks",
    "179.401-1": "Building cryogenic cars",
    "180.503": "What counts as corrosive",
    "180.509": "Qualification: what, how often, and after what",
    "180.511": "What counts as passing",
    "180.515": "Dates on the car",
    "180.519": "Ton tanks and seamless tanks",
    "215.203": "Age",
    "224.107": "Reflective sheeting: from when",
    "224.111": "Reflective sheeting: how long",
    "232.305": "Air brakes",
}
UNDATED = ("by_event", "unknown", "not_required")


@dataclass(frozen=True, slots=True)
class Count:
    """So many cars in service, and where their due items are listed."""

    label: str
    cars: int
    address: str


@dataclass(frozen=True, slots=True)
class Line:
    """A rule with its numbers as the rulebook states them."""

    rule: Rule
    name: str
    numbers: Sequence[tuple[str, str]]
    counts: Sequence[Count]


@dataclass(frozen=True, slots=True)
class Section:
    key: str
    title: str
    lines: Sequence[Line]

    @property
    def anchor(self) -> str:
        return re.sub(r"[^a-z0-9]+", "-", self.key.lower())


@dataclass(frozen=True, slots=True)
class Shown:
    """The rulebook a page is about: an edition that was loaded (None: what holds for all), and whether it holds.

    `under` is what it is compared with; `differs` says in what it states otherwise.
    """

    laid: Laid
    edition: RulebookEdition | None
    owner: str | None
    in_force: bool
    under: Laid
    differs: Sequence[Difference]


def shown(db: Session, edition_id: int | None) -> Shown:
    """Raises NotFound when no such edition was loaded."""
    holding = stored.in_force(db)
    edition_id = holding.get(None) if edition_id is None else edition_id
    if edition_id is None:
        own = laid(())
        return Shown(own, None, None, True, own, ())
    edition = stored.edition_or_raise(db, edition_id)
    under, over = _laid(db, edition, holding)
    return Shown(
        laid=over,
        edition=edition,
        owner=cars.party_names(db)[edition.owner_id] if edition.owner_id else None,
        in_force=holding.get(edition.owner_id) == edition_id,
        under=under,
        differs=differences(under, over),
    )


def _laid(
    db: Session, edition: RulebookEdition, holding: Mapping[int | None, int]
) -> tuple[Laid, Laid]:
    """An owner's programme lies over what holds for all now, another edition over the base it names."""
    if edition.owner_id is None:
        return rulebooks.laid_edition(db, edition)
    for_all: dict[int | None, int] = {None: holding[None]} if None in holding else {}
    under = rulebooks.as_held(db, for_all)
    over = rulebooks.as_held(db, {**for_all, edition.owner_id: edition.id})
    return under.everyone, over.of(edition.owner_id)


def sections(book: Laid, governed: Mapping[str, Mapping[str, int]] | None) -> list[Section]:
    """The rules section by section; without counts when `governed` is None."""
    lines: dict[str, list[Line]] = {}
    for rule in book.rulebook.rules.values():
        counts = _counts(rule, governed.get(rule.id, {})) if governed is not None else ()
        line = Line(rule, capitalized(rule.id.replace("_", " ")), _numbers(book, rule), counts)
        lines.setdefault(_section_of(rule), []).append(line)
    return [Section(key, SECTIONS.get(key, ""), lines[key]) for key in sorted(lines, key=_place)]


def _section_of(rule: Rule) -> str:
    """Where the built-in rulebook has the rule, whatever an edition cites instead."""
    citation = default_rulebook().rules[rule.id].citation
    found = re.search(r"\b\d{3}\.\d+(-\d+)?", citation)
    return found[0] if found else citation.removeprefix("49 CFR ")


def _place(key: str) -> tuple[int, ...]:
    numbers = [int(each) for each in re.findall(r"\d+", key)]
    return (0, *numbers) if key[:3].isdigit() else (1, *numbers)


def _numbers(book: Laid, rule: Rule) -> list[tuple[str, str]]:
    stated = book.document["rules"].get(rule.id, {})
    numbers = [("at most", f"{rule.interval_months} months")] if rule.interval_months else []
    if rule.day:
        numbers.append(("day", rule.day.isoformat()))
    return [
        *numbers,
        *((name.replace("_", " "), value) for name, value in stated.get("limits", {}).items()),
    ]


def _counts(rule: Rule, states: Mapping[str, int]) -> list[Count]:
    """Counts of cars by the state of their item; what has a date stands in one list."""
    dated = sum(cars for state, cars in states.items() if state not in UNDATED)
    address = f"/due{query({'rule': rule.id})}"
    found = [Count("dated", dated, address)] if dated else []
    return found + [
        Count(label(state), states[state], f"/due{query({'rule': rule.id, 'status': state})}")
        for state in UNDATED
        if state in states
    ]
