"""Handing a car over to another register: the form, what was handed over before, and the file that goes along."""

from __future__ import annotations

import tempfile
from pathlib import Path

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import hand_over as actions
from app.errors import Problem
from app.files import cells, days
from app.pages import forms
from app.pages.changing import Looking, faults_of, kept_of_car
from app.pages.exports import download
from app.pages.forms import Entries, Field
from app.store import cars, handing_over
from app.store.tables import IN_RECORD, Car

router = APIRouter()

FIELDS = (
    Field("to", "To which company", cells.text, "One that keeps its cars in a register of its own", "line", (), True),
    Field("on", "On", days.day, "The day from which the car is theirs", "day", (), True),
)  # fmt: skip
ZIP = "application/zip"


@router.get("/cars/{car_id}/hand-over")
@web.may("record_facts")
def form(request: Request, car_id: web.Key, db: web.Db, today: web.Today) -> Response:
    car = cars.car_or_raise(db, car_id)
    return _page(request, db, car, forms.filled({"on": today}))


@router.post("/cars/{car_id}/hand-over")
@web.may("record_facts")
def hand_over(
    request: Request, car_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    car = cars.car_or_raise(db, car_id)
    values, entries = forms.read(FIELDS, forms.typed(posted))
    if entries.problems:
        return _page(request, db, car, entries, 422)
    made = kept_of_car(
        db, car_id, looking,
        lambda: actions.hand_over(db, car_id, values["to"], values["on"], looking.stamp),
    )  # fmt: skip
    if isinstance(made, Problem):
        entries = entries.wrong(forms.beside(faults_of(made), values))
        return _page(request, db, car, entries, 422)
    return web.see_other(f"/cars/{car_id}/hand-over?saved=yes")


def _page(request: Request, db: Session, car: Car, entries: Entries, status: int = 200) -> Response:
    made = [(each, actions.clocks(each.handed_on)) for each in handing_over.of_car(db, car.id)]
    return web.page(
        request, "hand_over/show.html", status, car=car, form=entries, fields=FIELDS, made=made,
        in_record=car.standing in IN_RECORD, parties=cars.party_names(db),
        saved="saved" in request.query_params,
    )  # fmt: skip


@router.get("/hand-overs/{hand_over_id}.zip")
@web.may("record_facts")
def file(request: Request, hand_over_id: web.Key, db: web.Db) -> Response:
    """What goes with the car, made of the record as it was when the car was handed over."""
    made = handing_over.one_or_raise(db, hand_over_id)
    with tempfile.TemporaryDirectory(prefix="stencilbook-") as folder:
        path = Path(folder) / "hand-over.zip"
        told = actions.write_file(db, request.app.state.attachments, made, path)
        name = f"hand-over-{told.car.replace(' ', '-').lower()}-{told.handed_on}.zip"
        return download(path.read_bytes(), name, ZIP)
