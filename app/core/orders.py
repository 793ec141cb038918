"""Directives: the due item of a car that somebody ordered to be checked, and what that says of its loading.

No rule of ours: an order says itself what is to be done and by when, and is its own citation.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from app.core.calendar_item import Dated
from app.core.facts import Due, Order, Reason
from app.core.findings import Findings

ITEM = "directive"


def due_day(fixed: date | None, days: int | None, found_on: date) -> date:
    """The last day for what was found on a day: the one that the order names, else so many days later."""
    return fixed or found_on + timedelta(days=days or 0)


def directive(found: Findings) -> Dated | None:
    """The soonest open order, the reasons naming each; none on a car without an order."""
    orders = found.case.car.orders
    if not orders:
        return None
    first = soonest(orders)
    reasons = (_told(first), *(_told(each) for each in orders if each is not first))
    due = Due(ITEM, "dated", first.due_on, calculated_due_on=first.due_on, reasons=reasons)
    return Dated(due)


def soonest(orders: Iterable[Order]) -> Order:
    """The order that falls due first; among equals the earlier."""
    return min(orders, key=lambda order: order.due_on)


def forbidding(orders: Iterable[Order], day: date) -> tuple[Reason, ...]:
    """Past orders that say that the car is not loaded until they are closed."""
    return tuple(_past(each) for each in orders if _is_past(each, day) and each.forbids_loading)


def doubtful(orders: Iterable[Order], day: date) -> tuple[Reason, ...]:
    """Past orders that say nothing of loading: somebody is to look first."""
    return tuple(_past(each) for each in orders if _is_past(each, day) and not each.forbids_loading)


def open_yet(orders: Iterable[Order], day: date) -> tuple[Reason, ...]:
    """Orders that are open and in time: told, and no hindrance."""
    return tuple(
        Reason(f"An open directive, {_named(each)}, is due {each.due_on}", each.name)
        for each in orders if not _is_past(each, day)
    )  # fmt: skip


def undecided(told: Iterable[Order], day: date) -> tuple[Reason, ...]:
    """What came with the car and is past there: somebody is to decide about it before the car is loaded."""
    return tuple(
        Reason(
            f"The directive {_named(each)} came with the car, was to be closed by {each.due_on}, and nobody has "
            f"decided about it here",
            each.name,
        )
        for each in told if _is_past(each, day)
    )  # fmt: skip


def undecided_yet(told: Iterable[Order], day: date) -> tuple[Reason, ...]:
    """What came with the car and is in time: told, and no hindrance."""
    return tuple(
        Reason(
            f"A directive that came with the car, {_named(each)}, is due {each.due_on}; nobody has decided about it",
            each.name,
        )
        for each in told if not _is_past(each, day)
    )  # fmt: skip


def _is_past(order: Order, day: date) -> bool:
    return day > order.due_on


def _past(order: Order) -> Reason:
    what = "forbids loading until it is closed" if order.forbids_loading else "is not closed"
    return Reason(
        f"The directive {_named(order)} is overdue since {order.due_on} and {what}", order.name
    )


def _told(order: Order) -> Reason:
    forbids = "; once overdue it forbids loading" if order.forbids_loading else ""
    return Reason(f"{_named(order)}, due {order.due_on}{forbids}", order.name, "asks")


def _named(order: Order) -> str:
    """What it is about; its name stands beside that, as the citation."""
    about = f" ({order.about})" if order.about else ""
    return f"{order.title}{about}"
