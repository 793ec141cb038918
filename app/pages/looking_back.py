"""What pages that look back share: the day and moment in the address, and what a list then offers to filter by."""

from __future__ import annotations

from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import Depends, Request
from sqlalchemy.orm import Session

from app.actions.rulebooks import in_force
from app.actions.standpoint import Lookback, lookback
from app.core.stencil import Unreadable, decode
from app.errors import Refused
from app.files.lists_out import SEEN_FROM
from app.files.tables_out import Column
from app.pages.choices import Choices
from app.pages.filters import Asked
from app.pages.forms import as_sentence
from app.store import as_known
from app.store.asked import Standpoint

# The day that an address asks for, and the moment as known at.
NAMES = ("as_of", "known")


def read(asked: Asked, request: Request) -> Lookback | None:
    """From where a list is to be seen; what is wrong is noted beside its field."""
    zone = ZoneInfo(request.app.state.settings.time_zone)
    day = asked.day("as_of")
    try:
        return lookback(day, asked.values.get("known"), request.app.state.clock(), zone)
    except Refused as wrong:
        for fault in wrong.faults:
            asked.problems[fault.path] = as_sentence(fault.problem)
        return None


def of_address(request: Request) -> Lookback | None:
    """From where a page is to be seen that has no filter; raises Refused for what is wrong."""
    found = {name: request.query_params.get(name, "") for name in ("on", *NAMES)}
    asked = Asked.of({name: text for name, text in found.items() if text}, NAMES)
    back = read(asked, request)
    asked.refuse()
    return back


Back = Annotated[Lookback | None, Depends(of_address)]


def choices_then(db: Session, at: Standpoint) -> Choices:
    """Owners, regions, classes and ladings that the cars had by then."""
    found = as_known.offered(db, at)
    tables = in_force(db, at.known_at).everyone.rulebook.stencils
    classes = set()
    for text in found.specifications:
        try:
            classes.add(decode(text, tables).class_)
        except Unreadable:
            continue
    return Choices(
        owners=[(str(key), name) for key, name in found.owners],
        regions=[(each, each) for each in found.regions],
        classes=[(each, each) for each in sorted(classes)],
        ladings=[(each, each) for each in found.commodities],
    )


def columns(back: Lookback | None) -> tuple[Column, ...]:
    """The columns by which a file says from where it was seen; none for today."""
    return SEEN_FROM if back else ()


def cells(back: Lookback | None) -> tuple[object, ...]:
    """What stands in them."""
    return back.cells if back else ()
