"""The answer as plain JSON values, in the shape that every face of the calculator gives."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from fractions import Fraction
from typing import Any

from app.core.facts import Answer, Due, Loading, Reason, ZoneThickness
from app.core.status import days_left, state_on
from app.core.thickness import rounded


def answer_as_json(answer: Answer) -> dict[str, Any]:
    """An Answer as the response: dates as YYYY-MM-DD, inches rounded half up to five decimals."""
    facts = answer.facts
    return {
        "car": facts.car.name,
        "as_of": facts.as_of.isoformat(),
        "rulebook": {"id": answer.rulebook_id, "edition": answer.rulebook_edition},
        "items": [due_as_json(due, facts.as_of, facts.settings.soon_days) for due in answer.items],
        "next": _next(answer.next),
        "thickness": [zone_as_json(zone) for zone in answer.thickness],
        "loading": loading_as_json(answer.loading),
        "warnings": [_warning(each) for each in answer.warnings],
    }


def due_as_json(due: Due, as_of: date, soon_days: int) -> dict[str, Any]:
    return {
        "item": due.item,
        "status": state_on(due.state, due.due_on, as_of, soon_days),
        "due_on": _day(due.due_on),
        "days_left": days_left(due.due_on, as_of),
        "basis_on": _day(due.basis_on),
        "interval_months": due.interval_months,
        "calculated_due_on": _day(due.calculated_due_on),
        "confidence": due.confidence,
        "reasons": reasons_as_json(due.reasons),
    }


def zone_as_json(zone: ZoneThickness) -> dict[str, Any]:
    return {
        "zone": zone.zone,
        "required_in": _inches(zone.required_in),
        "line_c_in": _inches(zone.line_c_in),
        "line_d_in": _inches(zone.line_d_in),
        "line_e_in": _inches(zone.line_e_in),
        "reading_in": _inches(zone.reading_in),
        "measured_on": _day(zone.measured_on),
        "extent": zone.extent,
        "verdict": zone.verdict,
        "reasons": reasons_as_json(zone.reasons),
    }


def loading_as_json(loading: Loading) -> dict[str, Any]:
    return {
        "verdict": loading.verdict,
        "reasons": reasons_as_json(loading.reasons),
        "caution": loading.caution,
    }


def reasons_as_json(reasons: Iterable[Reason]) -> list[dict[str, str | None]]:
    return [{"text": reason.text, "citation": reason.citation} for reason in reasons]


def _warning(warning: Reason) -> dict[str, str | None]:
    """As a fault is told: the field before the sentence, where it is about one."""
    text = f"{warning.path}: {warning.text}" if warning.path else warning.text
    return {"text": text, "citation": warning.citation}


def _next(due: Due | None) -> dict[str, Any] | None:
    return None if due is None else {"item": due.item, "due_on": _day(due.due_on)}


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _inches(value: Fraction | None) -> float | None:
    return None if value is None else rounded(value)
