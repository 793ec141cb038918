"""In which units one reads and types measures, and how one's dates are written."""

from __future__ import annotations

from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.actions import people
from app.core import showing
from app.errors import Problem
from app.pages import forms
from app.pages.account import Mine
from app.pages.changing import faults_of, kept
from app.pages.forms import Choice, Entries

router = APIRouter()

ADDRESS = "/account/units"
LENGTHS: tuple[Choice, ...] = (("in", "Inches"), ("mm", "Millimetres"))
PRESSURES: tuple[Choice, ...] = (("psi", "psi"), ("kPa", "kPa"))
SAVED = "It was kept. Pages write it so from now on, on whatever machine you sign in."


@router.get(ADDRESS)
@web.may("own_account")
def units(request: Request, mine: Mine, today: web.Today) -> Response:
    chosen = {
        "length": mine.length_unit, "pressure": mine.pressure_unit, "days": mine.day_style,
    }  # fmt: skip
    return _units(request, today, forms.filled(chosen))


@router.post(ADDRESS)
@web.may("own_account")
def choose(
    request: Request, db: web.Db, mine: Mine, posted: web.Posted, today: web.Today
) -> Response:
    asked = [posted.one(name) for name in ("length", "pressure", "days")]
    made = kept(db, lambda: people.prefer(db, mine, *asked))
    if isinstance(made, Problem):
        beside = forms.beside(faults_of(made), ("length", "pressure", "days"))
        return _units(request, today, Entries(forms.typed(posted), beside), 422)
    return web.see_other(f"{ADDRESS}?saved=units")


def _units(request: Request, today: date, entries: Entries, status: int = 200) -> Response:
    ways: tuple[showing.Days, ...] = ("iso", "day_first", "month_first")
    return web.page(
        request,
        "account/units.html",
        status,
        entries=entries,
        lengths=LENGTHS,
        pressures=PRESSURES,
        days=[(way, showing.day(today, way)) for way in ways],
        saved=SAVED if "saved" in request.query_params else "",
    )
