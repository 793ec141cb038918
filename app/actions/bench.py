"""Judging a relief device's setting and bench test as they are entered or brought in."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from app.actions.changes import NewInstallation
from app.actions.checks import Faults
from app.core.measure import Amount, exact_or_none
from app.core.relief import Bench, Judged, bench_checks, in_words
from app.core.rule import Rulebook
from app.core.stencil import Unreadable, decode
from app.store.tables import RELIEF_KINDS, Car

VALUES = ("set_psig", "found_psig", "left_psig", "vapor_tight_psig")


def judged(
    specification: str,
    built_on: date | None,
    kind: str,
    values: Mapping[str, Amount | None],
    rulebook: Rulebook,
) -> tuple[Judged, ...]:
    """Each pressure against its range; nothing for what is no relief device or for an unreadable stencil.

    `kind` is a component's; `values` are its pressures by the names of `VALUES`.
    """
    if kind not in RELIEF_KINDS:
        return ()
    try:
        spec = decode(specification, rulebook.stencils)
    except Unreadable:
        return ()
    measured = {name: exact_or_none(values.get(name)) for name in VALUES}
    return bench_checks(spec, built_on, Bench(RELIEF_KINDS[kind], **measured), rulebook)


def ask_about_left(faults: Faults, car: Car, new: NewInstallation, rulebook: Rulebook) -> None:
    """A device is not left outside its tolerance: ask, unless a person has looked again."""
    if new.confirmed:
        return
    values: dict[str, Any] = {name: getattr(new, name) for name in VALUES}
    for each in judged(car.specification, car.built_on, new.component.kind, values, rulebook):
        if each.measure == "left" and each.verdict == "outside":
            faults.add("left_psig", f"{in_words(each)}. If it was left so, confirm it")
