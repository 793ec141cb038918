"""What need be kept no longer: reports and papers, each with the reason and the day; a page that removes nothing."""

from __future__ import annotations

from itertools import islice

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.actions import retention
from app.actions.retention import Free
from app.pages.paging import began_behind

router = APIRouter()

PAGE = 100


@router.get("/retention")
@web.may("read")
def listed(request: Request, db: web.Db, today: web.Today) -> Response:
    after = began_behind(request)
    reports = _page(list(islice(retention.free_reports(db, today, after), PAGE + 1)))
    papers = list(islice(retention.free_papers(db, today), PAGE)) if not after else []
    more = reports[-1].car_id if len(reports) >= PAGE else None
    return web.page(
        request, "changes/retention.html", reports=reports, papers=papers, more=more, after=after
    )


def _page(found: list[Free]) -> list[Free]:
    """Whole cars only, so that the next page can begin behind the last; a single car's reports all the same."""
    if len(found) <= PAGE:
        return found
    whole = [each for each in found if each.car_id != found[-1].car_id]
    return whole or found
