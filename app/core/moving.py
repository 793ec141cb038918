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
    """For a car that may not be loaded: when it was filled before or holds residue, and to a shop.

    49 CFR 173.31(a)(3) forbids filling an overdue car and then offering it; of one that was filled
    while in date it says nothing. Empty where the car may be loaded.
    """
    if loading.verdict != "may_not_load":
        return ()
    filling, offering, approval = (
        rulebook.rule(name) for name in ("filling", "before_offering", "movement_approval")
    )
    return (
        Moving(
            "loaded",
            (
                Reason(
                    f"{filling.text}. Of a car that was filled while in date, or holds residue, it says nothing",
                    filling.citation,
                ),
                Reason(offering.text, offering.citation),
            ),
        ),
        Moving("to_shop", (Reason(approval.text, approval.citation),)),
    )
