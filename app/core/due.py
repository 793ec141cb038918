"""The one question of the calculator: what must be done to this car next, by when, why, and may it be loaded?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from app.core.calendar_item import Dated
from app.core.facts import Answer, Due, Facts, Reason
from app.core.findings import Findings
from app.core.known import Case, case_of
from app.core.lading import corrosive
from app.core.lining import lined
from app.core.loading import loading
from app.core.orders import directive
from app.core.owed import CHOOSING, opens_nothing, owed
from app.core.regimes import BY_REGIME
from app.core.rule import Rulebook
from app.core.status import days_left, state_on
from app.core.thickness import Lines, all_lines, zones_shown
from app.core.words import words

__all__ = ["days_left", "due_dates", "next_due", "state_on"]


def due_dates(facts: Facts, rulebook: Rulebook) -> Answer:
    """Every due item of the car's regime with its reasons, the thickness verdicts and the loading answer.

    Raises stencil.Unreadable when the specification cannot be read.
    """
    case = case_of(facts, rulebook)
    found = _findings(case)
    asked = (*BY_REGIME[case.spec.regime], directive)
    results = [result for function in asked if (result := function(found))]
    items = tuple(result.due for result in results)
    stale = [result.stale_stencil for result in results if result.stale_stencil]
    return Answer(
        facts=facts,
        rulebook_id=rulebook.id,
        rulebook_edition=rulebook.edition,
        items=items,
        next=next_due(items),
        thickness=found.zones,
        loading=loading(case, items, found.zones, stale),
        warnings=_warnings(found, results),
    )


def next_due(items: Sequence[Due]) -> Due | None:
    """The earliest of what is due now, else of what is dated; ties go to the earlier item."""
    for state in ("owed", "dated"):
        dates = [due for due in items if due.state == state and due.due_on]
        if dates:
            return min(dates, key=lambda due: due.due_on or date.max)
    return None


def _findings(case: Case) -> Findings:
    lines: Mapping[str, Lines] = {}
    if case.spec.regime == "fusion_welded":
        lines = all_lines(case.spec, case.car.tank, case.rulebook)
    zones = zones_shown(lines, case.events, case.rulebook) if lines else ()
    rulebook = case.rulebook
    return Findings(
        case, owed(case), lined(case), corrosive(case.car.service, rulebook), lines, zones
    )  # fmt: skip


def _warnings(found: Findings, results: Iterable[Dated]) -> tuple[Reason, ...]:
    case = found.case
    told = list(case.warnings)
    told += found.corrosive.warnings
    told += [warning for result in results for warning in result.warnings]
    told += _local_repairs(case) + _idle_opens(case) + _nothing_opened(case)
    return tuple(told)


def _local_repairs(case: Case) -> list[Reason]:
    rule = case.rulebook.rule("local_repair")
    return [
        Reason(f"Lining repaired locally on {event.on}: {rule.text}", rule.citation)
        for event in case.changes("lining_repaired_locally")
    ]


def _idle_opens(case: Case) -> list[Reason]:
    """`opens` says something only beside the changes that choose what they open."""
    return [
        Reason(
            f"The event on {event.on} says what it opens, but nothing in it opens items by choice: left out"
        )
        for event in case.events
        if event.opens and not CHOOSING.intersection(event.items)
    ]


def _nothing_opened(case: Case) -> list[Reason]:
    """What the rule opens is for fusion-welded tanks; on another the choice is a person's."""
    return [
        Reason(
            f"The event on {event.on} ({', '.join(words(name) for name in event.items if name in CHOOSING)}) "
            "opens nothing that this car has, so nothing is due now by it: say which of its items are to be inspected",
            case.rulebook.rule(next(name for name in event.items if name in CHOOSING)).citation,
        )
        for event in opens_nothing(case)
    ]
