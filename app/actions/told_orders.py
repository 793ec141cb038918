"""Directives told with a hand-over: what goes along with a car, what is kept of them here, and deciding about one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sqlalchemy.orm import Session

from app.actions.checks import Faults, tidy
from app.actions.stamp import Stamp
from app.core.orders import due_day
from app.files.hand_overs import StatedOrder
from app.store import directive_list, told_orders
from app.store.directive_list import MatchFilter
from app.store.gathering import note
from app.store.handing_over import HandOver
from app.store.told_orders import ANSWERS, ToldOrder, ToldOrderAnswer

LONGEST_REASON = 10_000


def stated(db: Session, made: HandOver) -> Iterator[StatedOrder]:
    """The directives that a car was under when it was handed over, those among them that came with it itself."""
    for order, whose, match, term, closing in told_orders.of_hand_over(db, made):
        yield StatedOrder(
            company=whose, ordered_by=order.ordered_by, orderer=order.orderer,
            number=order.number, title=order.title, what=order.what, caution=order.caution,
            ordered_on=order.ordered_on,
            due_on=due_day(term.due_on, term.due_days, match.found_on),
            forbids_loading=term.forbids_loading, about=match.about, by_hand=match.by_hand,
            closed_on=closing and closing.done_on, outcome=closing.outcome if closing else "",
            reference=closing.reference if closing else "",
            finding=closing.finding if closing else "",
        )  # fmt: skip
    for told, answer in told_orders.told_before(db, made):
        fields = {name: getattr(told, name) for name in StatedOrder.model_fields}
        said = f"{answer.answer}, by {answer.recorded_by}: {answer.reason}" if answer else ""
        yield StatedOrder(**fields | {"said": "; ".join(filter(None, (told.said, said)))})


def keep(
    db: Session, orders: Sequence[StatedOrder], car_id: int, import_id: int, stamp: Stamp
) -> None:
    """Keep what a file told, each as it was stated."""
    db.add_all(
        ToldOrder(
            car_id=car_id, import_id=import_id, recorded_at=stamp.at, recorded_by=stamp.by,
            **each.model_dump(),
        )
        for each in orders
    )  # fmt: skip
    db.flush()


def answer(
    db: Session, told_order_id: int, wanted: str, reason: str, stamp: Stamp
) -> ToldOrderAnswer:
    """Decide about a directive that came with a car; another answer may follow, and counts instead.

    Raises NotFound for one of another's car, Refused with faults for `answer` and `reason`.
    """
    told = told_orders.one_or_raise(db, told_order_id)
    faults = Faults()
    faults.one_of("answer", wanted, ANSWERS)
    if not 1 <= len(reason.strip()) <= LONGEST_REASON:
        faults.add(
            "reason", f"say why, and where the proof is, in 1 to {LONGEST_REASON} characters"
        )
    if wanted == "issued" and not _is_under(db, told.row, stamp):
        faults.add(
            "answer",
            f"no directive {told.row.name} of this register is about {told.car}: issue it first",
        )
    faults.refuse()
    note(db, "told_order.answered", ("car", told.row.car_id))
    made = ToldOrderAnswer(
        told_order_id=told_order_id, answer=wanted, reason=reason.strip(), recorded_at=stamp.at,
        recorded_by=stamp.by,
    )  # fmt: skip
    db.add(made)
    db.flush()
    return made


def _is_under(db: Session, told: ToldOrder, stamp: Stamp) -> bool:
    """Whether a directive of the same name that is in force here is about the car."""
    name = tidy(told.name).casefold()
    found = directive_list.of_car(db, told.car_id, MatchFilter(stamp.today))
    return any(row.name.casefold() == name for row, _ in found)
