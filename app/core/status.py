"""From a stored state and date to the status on a day."""

from __future__ import annotations

from datetime import date

from app.core.facts import State, Status

_WITHOUT_DATE: dict[str, Status] = {
    "by_event": "by_event", "unknown": "unknown", "not_required": "not_required",
}  # fmt: skip


def days_left(due_on: date | None, day: date) -> int | None:
    return None if due_on is None else (due_on - day).days


def state_on(state: State | str, due_on: date | None, day: date, soon_days: int) -> Status:
    """The status on `day`: the due day itself is still in date, and at most `soon_days` left is soon."""
    if state == "owed":
        return "due_now"
    if due_on is None or state != "dated":
        return _WITHOUT_DATE[state]
    left = (due_on - day).days
    if left < 0:
        return "overdue"
    return "soon" if left <= soon_days else "in_date"
