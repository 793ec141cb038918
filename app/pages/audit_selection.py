"""Of which cars a sample is drawn: the filters of the lists, read from an address or from a form that carries them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import Request
from sqlalchemy.orm import Session

from app.actions.audits import Selected
from app.actions.standpoint import Lookback
from app.pages import due, fleet
from app.pages import looking_back as from_where
from app.pages.choices import Choice, Choices, choices
from app.pages.filters import Asked
from app.store.asked import Standpoint
from app.store.cars import RegisterFilter
from app.store.due import DueFilter
from app.web.rendering import query
from app.web.requests import today

# What an address of the form holds besides the filter of its list.
BESIDE = ("of", "size", "seed", "title", "party", "points", "own_points")
LISTS: tuple[Choice, ...] = (
    ("fleet", "Cars of the register"),
    ("due", "Cars in the due list"),
    ("overdue", "Cars in the overdue list"),
)
KINDS = {"due": due.DUE, "overdue": due.OVERDUE}


@dataclass(frozen=True)
class Chosen:
    """The list that is drawn from, its fields as typed, and what they offer to choose from."""

    of: str
    asked: Asked
    choices: Choices
    back: Lookback | None
    selected: Selected

    @property
    def statuses(self) -> list[Choice]:
        return KINDS[self.of].status_choices if self.of in KINDS else []


def chosen(request: Request, db: Session, given: Mapping[str, str]) -> Chosen:
    """The selection that these fields make; what is wrong is noted beside its field."""
    of = given.get("of") if given.get("of") in dict(LISTS) else "fleet"
    assert of is not None
    names = due.NAMES if of in KINDS else (*fleet.NAMES, *from_where.NAMES)
    asked = Asked.of(given, names, BESIDE)
    back = from_where.read(asked, request)
    stored = back is None or back.stored
    offered = choices(request, db) if stored else from_where.choices_then(db, _at(back))
    made = _filter(request, of, asked, offered, back)
    at = None if stored else _at(back)
    return Chosen(
        of, asked, offered, back, Selected(of, asked.values, made, _in_words(made, asked, offered), at)
    )  # fmt: skip


def _at(back: Lookback | None) -> Standpoint:
    assert back is not None
    return back.at


def _filter(
    request: Request, of: str, asked: Asked, offered: Choices, back: Lookback | None
) -> RegisterFilter | DueFilter:
    if of not in KINDS:
        return fleet.filter_of(asked, offered)
    day = back.at.as_of if back else today(request)
    soon = request.app.state.settings.soon_days
    return due.filter_of(asked, offered, KINDS[of], day, soon)


def _in_words(made: RegisterFilter | DueFilter, asked: Asked, offered: Choices) -> str:
    if isinstance(made, DueFilter):
        return f"{made.in_words()}."
    return fleet.Wanted(asked, made, offered).in_words()


def address_then(of: str, asked: Mapping[str, str], seen_from: str) -> str:
    """The list as it was drawn from: the filter, seen from the day and the moment of the draw."""
    kept = {name: text for name, text in asked.items() if name not in from_where.NAMES}
    filters = query(kept)
    return f"/{of}{filters}{'&' + seen_from[1:] if filters else seen_from}"
