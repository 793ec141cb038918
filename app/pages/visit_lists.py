"""Visits to shops in lists: planned, on the way, in the shop, lately released; as files and as a calendar."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.core.months import month_end
from app.core.words import words
from app.errors import Fault, Refused
from app.files import calendars, lists_out
from app.files.tables_out import Value
from app.pages.exports import Table, as_asked, download
from app.pages.filters import Asked
from app.store import visit_lists, visit_work
from app.store.visit_lists import VisitFilter
from app.store.visit_work import WorkShown
from app.store.visiting import VisitShown
from app.web import signing

router = APIRouter()

NAMES = ("shop", "state", "month")
# Rows of a part of the page; all of them are in the files.
SHOWN = 200
CALENDAR = "text/calendar; charset=utf-8"
HEADINGS = {
    "planned": "Planned", "sent": "Sent", "in_shop": "In the shop", "released": "Lately released",
}  # fmt: skip
STATES = tuple(HEADINGS.items())


@dataclass(frozen=True, slots=True)
class Line:
    """A visit with its work, as it is seen today."""

    visit: VisitShown
    work: Sequence[WorkShown]
    today: date

    @property
    def late(self) -> bool:
        return self.visit.late(self.today)

    @property
    def left(self) -> list[WorkShown]:
        """What is not done."""
        return [each for each in self.work if each.done_on is None]

    @property
    def all_done(self) -> bool:
        """Everything it was planned for is done."""
        return bool(self.work) and not self.left

    @property
    def after_due(self) -> bool:
        """It is planned for a month after the day on which some of its work falls due."""
        days = [each.due_now for each in self.left if each.due_now]
        return bool(self.visit.month and days and self.visit.month > min(days))

    @property
    def moved(self) -> bool:
        """Some of its work falls due on another day now, since it was done elsewhere or a fact changed."""
        return self.visit.planned and any(each.moved for each in self.work)

    @property
    def days_away(self) -> int | None:
        """Days since the car was sent, while it is away; else those it was away."""
        if self.visit.open:
            return (self.today - self.visit.days["sent"]).days
        return self.visit.real_days_out


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the page: visits in one state, the first of so many."""

    state: str
    lines: Sequence[Line]
    count: int

    @property
    def heading(self) -> str:
        return HEADINGS[self.state]


def lines(db: Session, visits: Sequence[VisitShown], today: date) -> list[Line]:
    """These visits with their work."""
    work = visit_work.work_of(db, [each.id for each in visits])
    return [Line(each, work.get(each.id, ()), today) for each in visits]


@dataclass
class Wanted:
    """What is asked of the list: the fields as typed, and the filter that they make."""

    asked: Asked
    filter: VisitFilter
    shops: Sequence[str]


def wanted(request: Request, db: web.Db, today: web.Today) -> Wanted:
    asked, shops = Asked.of(request.query_params, NAMES), visit_lists.shops(db)
    found = VisitFilter(
        today,
        asked.one_of("shop", [(name, name) for name in shops]),
        asked.one_of("state", STATES),
        asked.read("month", month_of),
    )
    return Wanted(asked, found, shops)


def month_of(text: str) -> date:
    """The first day of a month written as 2027-02."""
    try:
        return date.fromisoformat(f"{text}-01")
    except ValueError:
        raise ValueError(f"{text!r} is no month; want one such as 2027-02") from None


Seen = Annotated[Wanted, Depends(wanted)]


@router.get("/visits")
@web.may("read")
def visits(request: Request, db: web.Db, seen: Seen) -> Response:
    wrong = seen.asked.problems
    parts = [] if wrong else [_part(db, seen.filter, state) for state in seen.filter.states]
    return web.page(
        request,
        "visits/list.html",
        422 if wrong else 200,
        parts=parts,
        per_shop=() if wrong else visit_lists.days_out(db, seen.filter),
        any=any(part.count for part in parts),
        asked=seen.asked.values,
        problems=wrong,
        in_words=f"{seen.filter.in_words()}.",
        shops=[(name, name) for name in seen.shops],
        states=STATES,
        shown=SHOWN,
    )


def _part(db: Session, asked: VisitFilter, state: str) -> Part:
    found = lines(db, visit_lists.in_state(db, asked, state, SHOWN), asked.today)
    more = len(found) == SHOWN
    return Part(state, found, visit_lists.count(db, asked, state) if more else len(found))


@router.get("/visits.csv")
@router.get("/visits.xlsx")
@router.get("/visits.json")
@web.may("read")
def visits_file(request: Request, db: web.Db, seen: Seen) -> Response:
    return as_asked(request, _table(db, seen))


def _table(db: Session, seen: Wanted) -> Table:
    seen.asked.refuse()
    return Table(
        f"visits-{seen.filter.today}", "Visits", lists_out.VISITS.columns, _cells(db, seen.filter)
    )


def _cells(db: Session, asked: VisitFilter) -> Iterator[Sequence[Value]]:
    for state in asked.states:
        for line in lines(db, visit_lists.in_state(db, asked, state), asked.today):
            visit, days = line.visit, line.visit.days
            yield (
                visit.state, line.late, visit.mark, visit.number, visit.owner, visit.shop,
                f"{visit.month:%Y-%m}" if visit.month else None, line.after_due, days.get("sent"),
                days.get("arrived"), days.get("released"), visit.days_out, line.days_away,
                _names(line.work), _names(line.left), visit.instructions,
            )  # fmt: skip


def _names(work: Iterable[WorkShown]) -> str:
    return ";".join(each.item for each in work)


@router.get("/visits/calendar.ics")
@web.may("read")
def calendar(request: Request, db: web.Db, now: web.Now, seen: Seen) -> Response:
    """Planned and open visits of one shop."""
    if "shop" not in seen.asked.values:
        raise Refused.because([Fault("shop", "want the name of the shop whose calendar it is")])
    seen.asked.refuse()
    shop, states = (
        str(seen.filter.shop),
        [each for each in seen.filter.states if each != "released"],
    )
    found = [each for state in states for each in visit_lists.in_state(db, seen.filter, state)]
    entries = [_entry(request, line) for line in lines(db, found, seen.filter.today)]
    made = calendars.calendar_bytes(f"Visits to {shop}", entries, now)
    return download(made, f"visits-{shop}.ics", CALENDAR)


def _entry(request: Request, line: Line) -> calendars.Entry:
    visit = line.visit
    address = signing.public_address(request, f"/visits/{visit.id}")
    first, last = span(line)
    host = address.split("/")[2]
    return calendars.Entry(
        uid=f"visit-{visit.id}@{host}",
        title=f"{visit.mark} {visit.number}{_late(line)}: {_work(line) or 'visit'}",
        first=first,
        last=last,
        place=visit.shop,
        text=_text(line),
        address=address,
        sure=visit.open,
    )


def span(line: Line) -> tuple[date, date]:
    """First and last day: the month of a planned visit, else from the day sent for the days planned."""
    visit = line.visit
    if not visit.open:
        month = visit.month or line.today
        return month, month_end(month)
    sent = visit.days["sent"]
    back = sent + timedelta(days=visit.days_out or 0)
    return sent, max(back, line.today)


def _late(line: Line) -> str:
    return " (late)" if line.late else ""


def _work(line: Line) -> str:
    return ", ".join(words(each.item) for each in line.left)


def _text(line: Line) -> str:
    told = [f"Work left: {_work(line)}."] if line.left else []
    if line.all_done:
        told.append("Work done.")
    if line.visit.instructions:
        told.append(f"To be done, as the owner wrote: {line.visit.instructions}")
    told.append(
        "The rule in force, the owner\u2019s written instructions and the qualified shop decide."
    )
    return "\n".join(told)
