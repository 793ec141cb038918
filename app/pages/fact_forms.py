"""The dated facts of a car that a page can record: the form of each, and what it does."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from app.actions import cars as actions
from app.actions import changes
from app.actions.stamp import Stamp
from app.pages import fields
from app.pages.fields import Group, since
from app.pages.forms import Field
from app.store.columns import CarFact


@dataclass(frozen=True, slots=True)
class Fact:
    """A kind of fact: its form, the row in force that fills it, and the action that records it.

    `keeps_from` fills in the day from which the row in force holds, so that recording it again mends
    it; the others begin something new, from today unless another day is typed. Without `fills` the
    form starts empty, since what is new has nothing in common with what was.
    """

    title: str
    lead: str
    groups: tuple[Group, ...]
    make: Callable[..., Any]
    act: Callable[[Session, int, Any, Stamp], CarFact]
    rows: str | None
    done: str
    keeps_from: bool = False
    fills: bool = True
    caution: str = ""

    @property
    def fields(self) -> tuple[Field, ...]:
        return tuple(each for group in self.groups for each in group.fields)


TANK_GROUPS = (
    Group("Specification", fields.SPECIFICATION),
    Group("Tank", fields.TANK),
    Group("The owner’s design minimum", fields.MINIMA),
)
SHOP_DECIDES = (
    "A wrong fact here makes a wrong date. Take it from the certificate of construction or the "
    "owner’s records, and have a second person look."
)
FACTS: Mapping[str, Fact] = {
    "lading": Fact(
        "Put into another lading",
        "What the car carries from a day on. It may shorten intervals, so the dates are worked out anew.",
        (Group("Lading", fields.LADING), Group("When", (since("the car is in this lading"),))),
        changes.NewService,
        actions.put_into_service,
        "services",
        "The lading was recorded.",
        fills=False,
        caution="A car may be loaded only with what its specification is authorised for (49 CFR part "
        "173); that is not checked here.",
    ),
    "lining": Fact(
        "Lining",
        "What is known of the lining or coating. Its application on a day is better recorded as an event.",
        (Group("Lining", fields.LINED), Group("When", (since("this holds"),))),
        changes.NewLining,
        actions.change_lining,
        "linings",
        "The lining was recorded.",
        keeps_from=True,
    ),
    "stencil": Fact(
        "Stencil on the car",
        "The due dates painted on the car, as they stand there. They control until a later inspection.",
        (
            Group("Due dates as painted", fields.STENCIL),
            Group("When", (since("they stand there"),)),
        ),
        changes.NewStencil,
        actions.mark_stencil,
        "stencils",
        "The stencil was recorded.",
    ),
    "approval": Fact(
        "Approved other interval",
        "An interval approved under 49 CFR 180.509(l). It changes dates only once it is stenciled.",
        (Group("Approval", fields.APPROVAL), Group("When", (since("it holds"),))),
        changes.NewApproval,
        actions.change_approval,
        None,
        "The approval was recorded.",
    ),
    "fitting": Fact(
        "Equipment and sheeting",
        "The owner’s interval for service equipment, the reflective sheeting, and whether there is a relief device.",
        (Group("Equipment", fields.FITTED), Group("When", (since("this holds"),))),
        changes.NewFitting,
        actions.change_fitting,
        "fittings",
        "It was recorded.",
        keeps_from=True,
    ),
    "owner": Fact(
        "Owner and region",
        "Who answers for the car, its lining and its service equipment, and where it is looked after.",
        (Group("Owner", fields.OWNERSHIP), Group("When", (since("this holds"),))),
        changes.NewOwnership,
        actions.change_ownership,
        "ownerships",
        "The owner was recorded.",
    ),
    "standing": Fact(
        "Standing",
        "Take the car out of service, store, sell or scrap it, or put it back. Its record stays whole.",
        (Group("Standing", fields.STANDING), Group("When", (since("this holds"),))),
        changes.NewStanding,
        actions.change_standing,
        "standings",
        "The standing was recorded.",
        fills=False,
    ),
    "hold": Fact(
        "Hold",
        "Stop the car from being loaded, whatever its dates say, or release it again. Its due dates stay as they are.",
        (Group("Hold", fields.HOLD), Group("When", (since("this holds"),))),
        changes.NewHold,
        actions.hold_or_release,
        "holds",
        "It was recorded.",
        fills=False,
    ),
    "name": Fact(
        "Re-mark",
        "Give the car another mark and number. It stays the same car, with its whole history.",
        (Group("New mark and number", fields.NAME), Group("When", (since("it bears them"),))),
        changes.NewName,
        actions.re_mark,
        "names",
        "The car was re-marked.",
        fills=False,
    ),
    "details": Fact(
        "Specification and tank",
        "Mend or complete what is on record. For work that changed the car, convert it instead.",
        (*TANK_GROUPS, Group("When", (since("this holds"),))),
        changes.CarDetails,
        actions.change_construction,
        "constructions",
        "Specification and tank were recorded.",
        keeps_from=True,
        caution=SHOP_DECIDES,
    ),
    "convert": Fact(
        "Convert",
        "The car was changed to another specification on a day. What it was before stays in its history.",
        (*TANK_GROUPS, Group("When", (since("it is so", needed=True),))),
        changes.CarDetails,
        actions.change_construction,
        "constructions",
        "The conversion was recorded.",
        caution=SHOP_DECIDES,
    ),
}
