"""What an evidence packet says of the directives that are about a car: each with its terms, finds and closings."""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from app.actions.evidence_record import recorded
from app.actions.evidence_words import day
from app.core.directive_words import FOUND, ORDERED_BY, OUTCOMES, why_in_words
from app.core.orders import due_day
from app.core.status import days_left, state_on
from app.core.words import label
from app.store import car_as_known
from app.store.asked import Standpoint
from app.store.car_as_known import DirectiveKnown, MatchKnown
from app.store.directives import DirectiveClosing, DirectiveTerm
from app.store.tables import Withdrawal

Told = dict[str, Any]
THE_CAR = "The car itself"


def directives(db: Session, car_id: int, at: Standpoint, soon_days: int) -> list[Told]:
    """Every directive that was about the car by then, open, closed or withdrawn, the first given first."""
    found = car_as_known.directives(db, car_id, at)
    return [_directive(each, at.as_of, soon_days) for each in found]


def _directive(known: DirectiveKnown, today: date, soon_days: int) -> Told:
    row = known.row
    return {
        "directive": row.id,
        "name": row.name,
        "ordered_by": ORDERED_BY[row.ordered_by],
        "orderer": row.orderer,
        "number": row.number,
        "title": row.title,
        "what": row.what,
        "caution": row.caution,
        "ordered_on": day(row.ordered_on),
        "forbids_loading": known.term.forbids_loading,
        "in_force": row.superseded_at is None,
        "terms": [_term(each) for each in known.terms],
        "matches": [_match(each, known, today, soon_days) for each in known.matches],
        **recorded(row, known.withdrawal),
    }


def _term(row: DirectiveTerm) -> Told:
    return {
        "due_on": day(row.due_on),
        "due_days": row.due_days,
        "forbids_loading": row.forbids_loading,
        "because": row.reason,
        "in_force": row.superseded_at is None,
        **recorded(row, None),
    }


def _match(match: MatchKnown, known: DirectiveKnown, today: date, soon_days: int) -> Told:
    row = match.row
    due_on = due_day(known.term.due_on, known.term.due_days, row.found_on)
    return {
        "about": row.about or THE_CAR,
        "component": row.component_id,
        "by_hand": row.by_hand,
        "found": row.found,
        "found_word": FOUND[row.found],
        "found_on": day(row.found_on),
        "why": why_in_words(row.why),
        "due_on": day(due_on),
        "days_left": days_left(due_on, today),
        **_state(match, known, due_on, today, soon_days),
        "closings": [_closing(*each) for each in match.closings],
        **recorded(row, None),
    }


def _state(
    match: MatchKnown, known: DirectiveKnown, due_on: date, today: date, soon_days: int
) -> Told:
    """Whether it is open; `status` says of an open one how its due day stands."""
    if match.closed or known.row.superseded_at is not None:
        state = "closed" if match.closed else "withdrawn"
        return {"state": state, "status": state, "state_word": state}
    status = state_on("dated", due_on, today, soon_days)
    return {"state": "open", "status": status, "state_word": f"open, {label(status)}"}


def _closing(row: DirectiveClosing, withdrawal: Withdrawal | None) -> Told:
    return {
        "done_on": day(row.done_on),
        "outcome": row.outcome,
        "outcome_word": OUTCOMES[row.outcome],
        "reference": row.reference,
        "finding": row.finding,
        "in_force": row.superseded_at is None,
        **recorded(row, withdrawal),
    }
