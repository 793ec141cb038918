"""A car with several relief devices: asked one by one, answered as one car."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from app.core.due import due_dates, next_due
from app.core.facts import Answer, Due, Facts, Loading, Reason
from app.core.rule import Rulebook

ITEM = "relief_device"
_VERDICTS = ("may_not_load", "check", "may_load")
# What is unknown counts as sooner than any date.
_STATES = ("owed", "unknown", "dated", "by_event", "not_required")


@dataclass(frozen=True, slots=True)
class Whole:
    """The answer for the car; each device's own due item, in their order; the place of the one that comes first."""

    answer: Answer
    devices: tuple[Due | None, ...]
    first: int | None


def whole_answer(car: Facts, devices: Sequence[tuple[str, Facts]], rulebook: Rulebook) -> Whole:
    """`car` is asked with all its events; `devices` are label and question of each relief device.

    The device that comes first speaks in the items; any of them can keep the car from being loaded.
    """
    answer = due_dates(car, rulebook)
    if len(devices) < 2:
        return Whole(answer, (answer.item(ITEM),) * len(devices), 0 if devices else None)
    answers = [due_dates(facts, rulebook) for _, facts in devices]
    own = tuple(one.item(ITEM) for one in answers)
    places = [place for place, due in enumerate(own) if due]
    first = min(places, key=lambda place: urgency(own[place]), default=None)
    if first is None:
        return Whole(answer, own, None)
    items = _with_first(answer.items, own[first], devices[first][0], len(devices))
    together = replace(
        answer,
        items=items,
        next=next_due(items),
        loading=_worst([one.loading for one in answers]),
        warnings=_once_each(warning for one in answers for warning in one.warnings),
    )
    return Whole(together, own, first)


def urgency(due: Due | None) -> tuple[int, date]:
    """Sorts by what comes first: owed, then unknown, then by date."""
    if due is None:
        return len(_STATES), date.max
    return _STATES.index(due.state), due.due_on or date.max


def _with_first(items: Iterable[Due], first: Due | None, label: str, of: int) -> tuple[Due, ...]:
    told = Reason(f"Of {of} relief devices on the car this one comes first: {label}")
    return tuple(
        replace(first, reasons=(*first.reasons, told)) if due.item == ITEM and first else due
        for due in items
    )


def _worst(answers: Sequence[Loading]) -> Loading:
    """The worst verdict, with the reasons of all that gave it."""
    verdict = min((answer.verdict for answer in answers), key=_VERDICTS.index)
    agreeing = [answer for answer in answers if answer.verdict == verdict]
    reasons = _once_each(reason for answer in agreeing for reason in answer.reasons)
    return replace(agreeing[0], reasons=reasons)


def _once_each(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    return tuple(dict.fromkeys(reasons))
