"""The calculator's whole answer for a car of the register, however many relief devices it has."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date

from app.actions.due import items_of, urgency
from app.core.due import due_dates, next_due
from app.core.facts import Answer, Loading, Reason
from app.core.rule import Rulebook
from app.store.facts import CarRecord

# From the worst on.
VERDICTS = ("may_not_load", "check", "may_load")


def whole_answer(record: CarRecord, day: date, rulebook: Rulebook) -> Answer:
    """Asked once for each relief device.

    The one that comes first speaks in the items; any of them can keep the car from being loaded.
    """
    places = range(len(record.relief_devices))
    if len(places) < 2:
        return due_dates(record.facts(day), rulebook)
    answers = [due_dates(record.facts(day, place), rulebook) for place in places]
    items = items_of(record, day, rulebook)
    return replace(
        answers[0],
        items=items,
        next=next_due(items),
        loading=worst([answer.loading for answer in answers]),
        warnings=once_each(warning for answer in answers for warning in answer.warnings),
    )


def first_device(record: CarRecord, day: date, rulebook: Rulebook) -> int | None:
    """The place of the relief device that comes first; None when the car has none recorded."""
    items = [
        (urgency(item), place)
        for place in range(len(record.relief_devices))
        if (item := due_dates(record.facts(day, place), rulebook).item("relief_device"))
    ]
    return min(items)[1] if items else None


def worst(answers: Sequence[Loading]) -> Loading:
    """The worst verdict, with the reasons of all that gave it."""
    verdict = min((answer.verdict for answer in answers), key=VERDICTS.index)
    agreeing = [answer for answer in answers if answer.verdict == verdict]
    reasons = once_each(reason for answer in agreeing for reason in answer.reasons)
    return replace(agreeing[0], reasons=reasons)


def once_each(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """In the order of their first mention."""
    return tuple(dict.fromkeys(reasons))
