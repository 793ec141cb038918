"""First steps: a short path through the demo, or into a register of one's own; what was looked at is ticked off.

It is kept in a cookie of the person's, since it is worth nothing to anybody else; nothing in the record rests on it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.access import Capability, Viewer
from app.errors import NotFound
from app.store import cars, change_list
from app.web.cookies import read_cookie, set_cookie

router = APIRouter()

ADDRESS = "/tour"
CLOSED = "closed"
A_YEAR = 366 * 24 * 3600
# Of the demo's own tour (seed_demo): corrosive and worn, so that there is something to say of every date.
SHOWN = ("ZQTX", 120)


@dataclass(frozen=True, slots=True)
class Stop:
    """A page to look at, and what to look at there; `behind_car` is added to the address of the car that is shown."""

    name: str
    title: str
    look: str
    needs: Capability
    address: str
    behind_car: str | None = None


DEMO = (
    Stop(
        "car", "A car, and why",
        "Open a Why in the list of due items: what the date is counted from, the interval, the rule. Further down is "
        "the thickness of each zone against its lines.",
        "read", "/fleet", "",
    ),
    Stop(
        "overdue", "What is overdue",
        "The list says in words what it shows. Narrow it to one owner, print it, or take it away as a sheet.",
        "read", "/overdue",
    ),
    Stop(
        "change", "Try a change",
        "Choose another lading and see which dates would move, and why. Nothing is recorded.",
        "try_out", "/fleet/trial", "/trial",
    ),
    Stop(
        "plan", "A plan",
        "Choose cars and months and have shops chosen. The plan tells its cost beside that of soonest due first, and a "
        "proven bound.",
        "plan", "/plans/new",
    ),
    Stop(
        "tablet", "The tablet at the car",
        "Take a car along, then switch the connection off: readings are judged at once, and sent when there is a "
        "connection again.",
        "record_work", "/field",
    ),
    Stop(
        "packet", "Proof for an auditor",
        "Print the packet of the car: every date with its reasons, who recorded what, and what was corrected.",
        "read", "/fleet/evidence", "/evidence",
    ),
)  # fmt: skip
OWN = (
    Stop(
        "fleet", "Bring your fleet in",
        "A file of cars is enough to begin with. It is checked first, and each row that does not fit is told with what "
        "is wanted.",
        "bring_in", "/imports?kind=cars",
    ),
    Stop(
        "overdue", "See what is overdue",
        "Each line tells why. What lacks to count from stands under unknown.",
        "read", "/overdue",
    ),
    Stop(
        "plan", "Plan the shops",
        "State your shops and moves once; then have a plan worked out for a region or the whole fleet.",
        "plan", "/plans/new",
    ),
    Stop(
        "record", "Record what was done",
        "Open a car and press Record an inspection, or work beside it with a tablet, under Field work.",
        "record_work", "/fleet",
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tour:
    """What the panel and the page show. `seen` are the names of what was looked at."""

    stops: tuple[Stop, ...]
    seen: frozenset[str]
    demo: bool

    @property
    def left(self) -> int:
        return sum(stop.name not in self.seen for stop in self.stops)

    @property
    def closed(self) -> bool:
        return CLOSED in self.seen


def tour(request: Request, db: Session, viewer: Viewer) -> Tour:
    """The path of this register for this person, and how far they are."""
    demo = change_list.began_with(db, "demo.loaded")
    stops = tuple(stop for stop in (DEMO if demo else OWN) if viewer.may(stop.needs))
    return Tour(stops, _seen(request, viewer), demo)


@router.get(ADDRESS)
@web.may("read")
def first_steps(request: Request, db: web.Db, viewer: web.Seeing) -> Response:
    return web.page(request, "tour/show.html", tour=tour(request, db, viewer))


@router.get(ADDRESS + "/{stop}")
@web.may("read")
def look(request: Request, stop: str, db: web.Db, viewer: web.Seeing) -> Response:
    """Tick a stop off and go there."""
    found = next((each for each in tour(request, db, viewer).stops if each.name == stop), None)
    if found is None:
        raise NotFound("There is no such step. The page First steps lists those there are.")
    return _kept(request, viewer, _address(db, found), lambda seen: seen | {stop})


@router.post(ADDRESS + "/close")
@web.may("read")
def close(request: Request, viewer: web.Seeing) -> Response:
    return _kept(request, viewer, "/", lambda seen: seen | {CLOSED})


@router.post(ADDRESS + "/open")
@web.may("read")
def begin_anew(request: Request, viewer: web.Seeing) -> Response:
    """On the home page again, with nothing ticked off."""
    return _kept(request, viewer, "/", lambda _: frozenset())


def _address(db: Session, stop: Stop) -> str:
    car = None if stop.behind_car is None else cars.by_name(db, *SHOWN)
    return stop.address if car is None else f"/cars/{car.id}{stop.behind_car}"


def _cookie(viewer: Viewer) -> str:
    return f"tour-{viewer.person_id}"


def _seen(request: Request, viewer: Viewer) -> frozenset[str]:
    known = {each.name for each in (*DEMO, *OWN)} | {CLOSED}
    held = read_cookie(request, request.app.state.settings, _cookie(viewer))
    return frozenset(held.split(".")) & known


def _kept(
    request: Request,
    viewer: Viewer,
    address: str,
    change: Callable[[frozenset[str]], frozenset[str]],
) -> Response:
    answer = web.see_other(address)
    seen = ".".join(sorted(change(_seen(request, viewer))))
    settings = request.app.state.settings
    set_cookie(answer, settings, seen, name=_cookie(viewer), seconds=A_YEAR)
    return answer
