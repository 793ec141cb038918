"""The loading rack's page: one field, and whether that car may be loaded today."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.actions import may_load
from app.errors import Problem

router = APIRouter()


@router.get("/loading")
@web.may("load_check")
def loading(
    request: Request, db: web.Db, today: web.Today, settings: web.Configured, car: str = ""
) -> Response:
    """A car that is not found, or not named, is told above the field, which keeps what was typed."""
    answer, problem = None, ""
    if car.strip():
        try:
            answer = may_load.answer(db, car, today, settings.soon_days)
        except Problem as wrong:
            problem = str(wrong)
    status = 404 if problem else 200
    return web.page(
        request, "loading/show.html", status, typed=car, answer=answer, problem=problem, today=today
    )
