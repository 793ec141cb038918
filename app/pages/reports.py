"""A report of field work, to be read and printed: what an auditor asks for of one inspection."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.actions.report_view import view
from app.pages.changing import Looking
from app.store import reports

router = APIRouter()


@router.get("/reports/{report_id}")
@web.may("read")
def one(request: Request, report_id: web.Key, db: web.Db, looking: Looking) -> Response:
    row = reports.one_or_raise(db, report_id)
    return web.page(request, "reports/show.html", view=view(db, row, looking.stamp))
