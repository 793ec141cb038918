"""What each kind of dated fact is held to."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from typing import Any

from app.actions.changes import (
    CarDetails,
    NewApproval,
    NewFitting,
    NewHold,
    NewLading,
    NewLining,
    NewName,
    NewOwnership,
    NewService,
    NewStanding,
    NewStencil,
)
from app.actions.checks import Faults
from app.actions.stamp import Stamp
from app.core.facts import SHELL_AND_HEAD_ZONES, STENCILED_ITEMS
from app.rules.reader import default_rulebook
from app.store.tables import STANDINGS

Change = (
    NewName | NewOwnership | NewStanding | CarDetails | NewService | NewLining | NewFitting
    | NewStencil | NewApproval | NewHold
)  # fmt: skip
UN_NUMBER = re.compile(r"(UN|NA)\d{4}\Z")
PAINTED = ("YYYY", "YYYY-MM", "YYYY-MM-DD")
ABOVE_ZERO = (
    "tensile_psi", "inside_diameter_in", "joint_efficiency",
    *(f"required_{zone}_in" for zone in SHELL_AND_HEAD_ZONES),
)  # fmt: skip


def check(faults: Faults, path: str, stated: Change, stamp: Stamp, built_on: date | None) -> None:
    """Add whatever is wrong with a fact of a car built on that day; `path` stands before each field."""
    built = stated.built_on if isinstance(stated, CarDetails) else built_on
    faults.plain(path, stated)
    faults.day(f"{path}from_on", stated.from_on, stamp, built)
    for field in ("rebuilt_on", "applied_on", "sheeting_installed_on", "marked_on"):
        faults.day(f"{path}{field}", getattr(stated, field, None), stamp, built)
    for field in (
        "owner_interval_months", "service_equipment_interval_months", "interval_months",
    ):  # fmt: skip
        faults.months(f"{path}{field}", getattr(stated, field, None))
    CHECKS[type(stated)](faults, path, stated, stamp)


def _name(faults: Faults, path: str, stated: NewName, stamp: Stamp) -> None:
    faults.name(path, stated.mark, stated.number)


def _ownership(faults: Faults, path: str, stated: NewOwnership, stamp: Stamp) -> None:
    if not stated.owner.strip():
        faults.add(f"{path}owner", "say who owns the car")


def _standing(faults: Faults, path: str, stated: NewStanding, stamp: Stamp) -> None:
    faults.one_of(f"{path}standing", stated.standing, STANDINGS)


def _hold(faults: Faults, path: str, stated: NewHold, stamp: Stamp) -> None:
    if not stated.reason:
        faults.add(f"{path}reason", "say why")


def _details(faults: Faults, path: str, stated: CarDetails, stamp: Stamp) -> None:
    faults.specification(f"{path}specification", stated.specification)
    faults.day(f"{path}built_on", stated.built_on, stamp)
    faults.one_of(f"{path}material", stated.material, tuple(default_rulebook().materials))
    faults.one_of(f"{path}head_shape", stated.head_shape, ("2:1", "3:1"))
    for field in ABOVE_ZERO:
        if getattr(stated, field) == 0:
            faults.add(f"{path}{field}", "must be above 0, got 0")
    if stated.joint_efficiency is not None and stated.joint_efficiency > 1:
        faults.add(f"{path}joint_efficiency", f"must be at most 1, got {stated.joint_efficiency}")


def check_lading(faults: Faults, path: str, stated: NewService | NewLading) -> None:
    """What a car's service and the list of ladings have in common."""
    if stated.un is not None and not UN_NUMBER.match(stated.un):
        faults.add(f"{path}un", f"{stated.un!r} is no UN number; want UN or NA and four digits")
    faults.one_of(f"{path}packing_group", stated.packing_group, ("I", "II", "III"))
    if stated.hazard_class is not None and len(stated.hazard_class) > 10:
        faults.add(f"{path}hazard_class", "is longer than 10 characters")


def _service(faults: Faults, path: str, stated: NewService, stamp: Stamp) -> None:
    if not stated.commodity.strip():
        faults.add(f"{path}commodity", "say what the car carries")
    check_lading(faults, path, stated)


def _lining(faults: Faults, path: str, stated: NewLining, stamp: Stamp) -> None:
    if stated.kind is not None and len(stated.kind) > 80:
        faults.add(f"{path}kind", "is longer than 80 characters")


def _fitting(faults: Faults, path: str, stated: NewFitting, stamp: Stamp) -> None:
    faults.one_of(f"{path}sheeting_method", stated.sheeting_method, ("replacement", "comparator"))


def _stencil(faults: Faults, path: str, stated: NewStencil, stamp: Stamp) -> None:
    for item in STENCILED_ITEMS:
        painted = getattr(stated, item)
        if painted is not None and not is_painted_date(painted):
            faults.add(f"{path}{item}", f"{painted!r} is no date; want {', '.join(PAINTED)}")


def is_painted_date(text: str) -> bool:
    """A day, a month or a year as it can stand on a car."""
    if not re.fullmatch(r"\d{4}(-\d{2}){0,2}", text):
        return False
    try:
        date.fromisoformat((text + "-01-01")[: len("YYYY-MM-DD")])
    except ValueError:
        return False
    return True


def _approval(faults: Faults, path: str, stated: NewApproval, stamp: Stamp) -> None:
    faults.one_of(f"{path}item", stated.item, STENCILED_ITEMS)


CHECKS: dict[type[Any], Callable[[Faults, str, Any, Stamp], None]] = {
    NewName: _name,
    NewOwnership: _ownership,
    NewStanding: _standing,
    NewHold: _hold,
    CarDetails: _details,
    NewService: _service,
    NewLining: _lining,
    NewFitting: _fitting,
    NewStencil: _stencil,
    NewApproval: _approval,
}
