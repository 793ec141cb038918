"""The cars on hold: what nobody may load until it is released, on one page and to take away."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.files.lists_out import HOLDS
from app.pages.exports import Table, as_asked
from app.store import holding
from app.store.columns import BEGINNING

router = APIRouter(prefix="/loading")


@router.get("/held")
@web.may("load_check")
def held(request: Request, db: web.Db, today: web.Today) -> Response:
    return web.page(
        request, "loading/held.html", held=holding.on_hold(db, today), today=today, always=BEGINNING
    )


@router.get("/held.csv")
@router.get("/held.xlsx")
@router.get("/held.json")
@web.may("load_check")
def held_file(request: Request, db: web.Db, today: web.Today) -> Response:
    rows = (
        (
            each.mark, each.number, each.owner, each.region,
            None if each.since == BEGINNING else each.since,
            each.reason, each.recorded_at, each.recorded_by,
        )
        for each in holding.on_hold(db, today)
    )  # fmt: skip
    return as_asked(request, Table(f"on-hold-{today}", HOLDS.title, HOLDS.columns, rows))
