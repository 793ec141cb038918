"""The directive of the demo, plainly invented: relief valves of one lot, frozen, some seen to, one swapped since."""

from __future__ import annotations

from datetime import date, timedelta

from sqlalchemy.orm import Session

from app.actions import components, directives
from app.actions.changes import NewComponent, NewInstallation
from app.actions.directives import NewClosing, NewDirective, Term
from app.actions.stamp import Stamp
from app.store import cars as register
from app.store import components as mounted
from app.store import directive_list
from app.store.directive_list import MatchFilter
from app.store.directives import Directive
from seed_demo.shapes import TOUR_MARK, Days
from seed_demo.tour_directive import FROZEN, LOT

ORDERER, NUMBER = "Example Rail Authority (invented)", "EX-17"
CLOSED = 6


def order(db: Session, party_id: int, stamp: Stamp) -> Directive:
    """Freeze it, close a few of its matches, and move a valve afterwards, from tour car 213 to 214."""
    days = Days(stamp.today)
    new = NewDirective(
        party_id=party_id, ordered_by="authority", orderer=ORDERER, number=NUMBER,
        title=f"Relief valves of lot {LOT} (invented)",
        what="Look at the spring of each valve of the lot for cracks (invented).",
        caution="A loaded valve can open without warning: bench work only, by the shop’s own procedure.",
        ordered_on=days.day(0, 20), as_of=days.day(FROZEN),
        term=Term(due_on=stamp.today + timedelta(days=45), forbids_loading=True),
        condition={"kind": "relief_valve", "lot": LOT}, takes_by_hand=False,
    )  # fmt: skip
    made = directives.freeze(db, new, stamp)
    found = directive_list.matches_of(db, made.id, MatchFilter(stamp.today))
    some = [each.row.id for each in found if each.mark != TOUR_MARK][:CLOSED]
    closing = NewClosing(days.day(0, 2), "nothing_found", "Report EX-900 (invented)")
    directives.close(db, some, closing, stamp)
    _move(db, 213, 214, days.day(0, 1), stamp)
    return made


def _move(db: Session, one: int, other: int, on: date, stamp: Stamp) -> None:
    [valve] = mounted.on_car(db, _car(db, one), on)
    words = {
        name: getattr(valve.component, name) for name in ("kind", "maker", "model", "lot", "serial")
    }
    tested = {name: getattr(valve.installation, name) for name in ("set_psig", "tested_on")}
    components.remove(db, valve.installation.id, on, stamp)
    put_on = NewInstallation(NewComponent(**words), valve.installation.position, on, **tested)
    components.install(db, _car(db, other), put_on, stamp)


def _car(db: Session, number: int) -> int:
    car = register.by_name(db, TOUR_MARK, number)
    if car is None:
        raise LookupError(f"the tour lacks car {number}")
    return car.id
