"""The pages that the head of every page leads to, in areas; one table for all of them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from app.access import Capability, Viewer


class Place(NamedTuple):
    """A page, what a person must be allowed to see it (None where everybody may), and what else stands below it."""

    address: str
    name: str
    needs: Capability | None
    holds: tuple[str, ...] = ()


class Area(NamedTuple):
    name: str
    places: tuple[Place, ...]


AREAS = (
    Area("Due dates", (
        Place("/", "Home", "read", ("/tour",)),
        Place("/morning", "Morning", "watch"),
        Place("/due", "Due", "read"),
        Place("/overdue", "Overdue", "read"),
        Place("/forecast", "Forecast", "read"),
    )),
    Area("Cars", (
        Place(
            "/fleet", "Fleet", "read",
            ("/find", "/cars", "/events", "/components", "/facts", "/installations", "/reports", "/photographs"),
        ),
        Place("/loading", "May it load?", "load_check"),
        Place("/fleet/wear", "Wear", "read"),
        Place("/ladings", "Ladings", "read"),
        Place("/fleet/trial", "Try facts out", "try_out"),
    )),
    Area("Work", (
        # First a page with this head: that of the tablet's program has its own.
        Place("/visits", "Visits", "read"),
        Place("/plans", "Plans", "plan"),
        Place("/field", "Field work", "record_work"),
        Place("/record", "Record for many", "record_work"),
        Place("/facilities", "Facilities", "read"),
    )),
    Area("Compliance", (
        Place("/directives", "Directives", "read", ("/closings", "/told-directives")),
        Place("/audits", "Audits", "record_work"),
        Place("/changes", "Changes", "keep_record"),
        Place("/retention", "Kept no longer", "read"),
    )),
    Area("Rules", (
        Place("/rulebook", "Rulebook", "read"),
        Place("/instructions", "Written instructions", "read"),
    )),
    Area("Office", (
        Place("/imports", "Files in", "bring_in", ("/take-over",)),
        Place("/people", "People", "administer"),
        Place("/about", "About", None),
    )),
)  # fmt: skip


class Leads(NamedTuple):
    """The areas of a person, each with its first page; the one that a page lies in, and the page in it."""

    areas: tuple[Area, ...]
    area: Area | None
    place: Place | None


def leads(viewer: Viewer | None, here: str) -> Leads:
    """What the head of the page at the address `here` leads to."""
    areas = tuple(_allowed(viewer))
    found = [(area, place) for area in areas for place in area.places if _reach(place, here)]
    if not found:
        return Leads(areas, None, None)
    return Leads(areas, *max(found, key=lambda each: _reach(each[1], here)))


def _allowed(viewer: Viewer | None) -> Iterable[Area]:
    for area in AREAS:
        if places := tuple(place for place in area.places if _may(viewer, place)):
            yield Area(area.name, places)


def _may(viewer: Viewer | None, place: Place) -> bool:
    return place.needs is None or (viewer is not None and viewer.may(place.needs))


def _reach(place: Place, here: str) -> int:
    """How much of an address a place answers for; nothing where the address lies elsewhere."""
    return max(
        (
            len(address)
            for address in (place.address, *place.holds)
            if here == address or (address != "/" and here.startswith(f"{address}/"))
        ),
        default=0,
    )
