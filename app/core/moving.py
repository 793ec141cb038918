"""May a car that must not be filled be moved: what the rule text leaves open, apart from whether it may be loaded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from app.core.facts import Loading, Reason
from app.core.rule import Rulebook

Situation = Literal["loaded", "to_shop"]

OPEN = (
    "Open in the rule text. This is no permission: whoever offers the car asks its owner and, where there is doubt, "
    "whoever approves its movement."
)


@dataclass(frozen=True, slots=True)
class Moving:
    """What is known of moving the car in a situation, and where that comes from; never a yes."""

    situation: Situation
    reasons: tuple[Reason, ...]


def moving(loading: Loading, rulebook: Rulebook) -> tuple[Moving, ...]:
    """For an overdue car when it was filled before or holds residue, for it and a condemned one to a shop.

    49 CFR 173.31(a)(3) forbids filling an overdue car and then offering it; of one that was filled
    while in date it says nothing. Empty for a car that is neither.
    """
    cited = {reason.citation for reason in loading.reasons if reason.part != "mechanical"}
    forbids = loading.verdict == "may_not_load"
    overdue = forbids and rulebook.rule("filling").citation in cited
    condemned = forbids and rulebook.rule("condemned").citation in cited
    told = []
    if overdue:
        told.append(Moving("loaded", _filled_before(rulebook)))
    if overdue or condemned:
        told.append(Moving("to_shop", _to_a_shop(rulebook)))
    return tuple(told)


def _filled_before(rulebook: Rulebook) -> tuple[Reason, ...]:
    filling, offering = rulebook.rule("filling"), rulebook.rule("before_offering")
    nothing = "Of a car that was filled while in date, or holds residue, it says nothing"
    return (
        Reason(f"{filling.text}. {nothing}", filling.citation),
        offering.reason,
    )


def _to_a_shop(rulebook: Rulebook) -> tuple[Reason, ...]:
    return (rulebook.rule("movement_approval").reason,)
