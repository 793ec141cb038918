"""A line of the morning list, and what closes it: a visit, the fact that lacks, the form on which it is recorded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from app.core.facts import EVENT_ITEMS
from app.core.orders import ITEM as ORDERED
from app.store import aside as set_aside
from app.store import visiting, watching
from app.store.due import DueListRow
from app.store.visiting import VisitShown
from app.store.watch import DueSeen

BUILT = ("State its tank and when it was built", "/facts/details")
# The fact whose lack leaves an item without a date, by where on the car it is stated; None where only the work does;
# else when the car was built.
LACKING: Mapping[str, tuple[str, str] | None] = {
    "leakage": None,
    "lining": ("State its lining", "/facts/lining"),
    "reflective_sheeting": ("State its sheeting", "/facts/fitting"),
    "relief_device": ("State its device, or the day of its test", "#components-title"),
    "rupture_disc": ("State its device, or the day of its test", "#components-title"),
}
OUT_OF_SERVICE = ("Take it out of service", "/facts/standing")


@dataclass(frozen=True, slots=True)
class Link:
    """What closes a line, and where that is done."""

    label: str
    address: str


@dataclass(frozen=True, slots=True)
class Line:
    """A due item, what closes it, and what set it aside where that is shown."""

    row: DueListRow
    closes: Sequence[Link]
    aside: DueSeen | None = None


def lines(
    db: Session, rows: Sequence[DueListRow], today: date, *, aside: bool = True
) -> list[Line]:
    """These rows as lines; without `aside` none of them is set aside."""
    keys = sorted({each.car_id for each in rows})
    visits, own = visiting.working_on(db, keys), watching.own_cars(db, keys)
    seen = set_aside.latest(db, keys, today) if aside else {}
    found = []
    for row in rows:
        key = (row.car_id, row.item)
        links = closing(row, visits.get(key), row.car_id in own)
        found.append(Line(row, links, seen.get(key)))
    return found


def closing(row: DueListRow, visit: VisitShown | None, own: bool) -> list[Link]:
    """Where to go for what closes a due item; facts are stated by whose the car is."""
    links = [Link(_told(visit), f"/visits/{visit.id}")] if visit else []
    car = f"/cars/{row.car_id}"
    if row.item == ORDERED:
        return [*links, Link("See its directives, to close them", f"{car}#directives")]
    inspected = row.item in EVENT_ITEMS
    if own:
        form = LACKING.get(row.item, BUILT) if row.status == "unknown" else None
        form = form or (None if inspected else OUT_OF_SERVICE)
        links += [Link(form[0], car + form[1])] if form else []
    if inspected:
        links.append(Link("Record it done", f"{car}/events/new?item={row.item}"))
    return links


def _told(visit: VisitShown) -> str:
    if visit.open:
        return f"At {visit.shop}" if visit.state == "in_shop" else f"On its way to {visit.shop}"
    month = f", {visit.month:%Y-%m}" if visit.month else ""
    return f"Planned at {visit.shop}{month}"
