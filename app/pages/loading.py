"""The loading rack's page: one field, and whether that car may be loaded today."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.actions import may_load
from app.actions.may_load import MOST_DAYS, WITHIN_DAYS, Answered, Asked, When
from app.actions.stamp import Stamp
from app.core.moving import OPEN
from app.errors import Problem
from app.pages import filters
from app.store import ladings

router = APIRouter()

NAMES = ("car", "lading", "within")


@router.get("/loading")
@web.may("load_check")
def loading(request: Request, opening: web.Opening, stamp: web.Stamped) -> Response:
    """A car that is not found, or not named, is told above the field, which keeps what was typed."""
    asked = filters.Asked.of(request.query_params, NAMES)
    when = When(stamp.today, within_days(asked))
    found = _answered(opening, asked, when, stamp)
    if isinstance(found, Problem):
        asked.problems["car"] = str(found)
    with opening.reading() as db:
        listed = [(each.name, each.un or "") for each in ladings.all(db)]
    return web.page(
        request,
        "loading/show.html",
        404 if asked.problems else 200,
        asked=asked.values,
        problems=asked.problems,
        answer=None if isinstance(found, Problem) else found,
        within=when.within,
        listed=listed,
        today=stamp.today,
        open_in_the_rule=OPEN,
    )


def within_days(asked: filters.Asked) -> int:
    """Within how many days after the loading what falls due is told."""
    found = asked.read("within", _days)
    return WITHIN_DAYS if found is None else found


def _days(text: str) -> int:
    if not text.isascii() or not text.isdecimal() or int(text[:9]) > MOST_DAYS:
        raise ValueError(f"found {text[:40]!r}; want a number of days from 0 to {MOST_DAYS}")
    return int(text)


def _answered(
    opening: web.Sessions, asked: filters.Asked, when: When, stamp: Stamp
) -> Answered | None:
    """The answer, kept with its question; None when no car was named, or something else is wrong."""
    car = asked.values.get("car")
    if car is None or asked.problems:
        return None
    question = [Asked(car, asked.values.get("lading", ""))]
    found, _ = may_load.answered_and_kept(opening.reading, opening.writing, question, when, stamp)
    return found[0]
