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

# Sections of a page: what each is about in our words, and the citations that begin so.
GROUPS = (
    ("173.31: filling and offering tank cars, last days of service", ("173.31",)),
    ("173.319: cryogenic cars", ("173.319",)),
    ("179.15, 179.301 and 179.401: pressure relief devices", ("179.15", "179.301", "179.401-1")),
    ("Part 179: specifications and plate", ("179.", "85 FR")),
    ("180.503 and Appendix D: ladings corrosive to the tank", ("180.503", "part 180, Appendix D")),
    ("180.509: qualification, how often and after what", ("180.509",)),
    ("180.511: what counts as passing", ("180.511",)),
    ("180.515: dates shown on the car", ("180.515",)),
    ("180.519: ton tanks", ("180.519",)),
    ("Part 215: age", ("215.",)),
    ("Part 224: reflective sheeting", ("224.",)),
    ("Part 232: air brakes", ("232.",)),
)
ELSEWHERE = "Elsewhere"
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
    title: str
    lines: Sequence[Line]

    @property
    def anchor(self) -> str:
        return re.sub(r"[^a-z0-9]+", "-", self.title.split(":")[0].lower())


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
    titles = [*(title for title, _ in GROUPS), ELSEWHERE]
    return [Section(title, lines[title]) for title in titles if title in lines]


def _section_of(rule: Rule) -> str:
    """Where the built-in rulebook has the rule, whatever an edition cites instead."""
    cited = default_rulebook().rules[rule.id].citation.removeprefix("49 CFR ")
    exact = re.match(r"\d+\.\d+(-\d+)?", cited)
    for title, beginnings in GROUPS:
        if any(
            exact[0] == each if exact and not each.endswith(".") else cited.startswith(each)
            for each in beginnings
        ):
            return title
    return ELSEWHERE


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
