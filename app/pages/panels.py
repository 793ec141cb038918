"""The qualification panel of a car as it should read: drawn for the painter, and what differs from what was seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import cast

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import looking_back, rulebooks
from app.actions.car_seen import Heading, heading
from app.actions.standpoint import Lookback
from app.core.facts import Settings
from app.core.panel import (
    PRACTICE,
    Device,
    Difference,
    Form,
    Panel,
    PanelRow,
    Stations,
    differences,
    painted,
    panel,
)
from app.errors import NotFound
from app.files.panel_drawing import Drawing, drawing, drawing_svg
from app.files.panel_pdf import Sheet, panel_pdf, scale_of
from app.pages.car_view import seen_from
from app.pages.changing import Looking, Seen
from app.pages.exports import download
from app.pages.filters import Asked
from app.pages.looking_back import NAMES, Back
from app.store import car_as_known, cars, painting
from app.store.asked import Standpoint

router = APIRouter()

FORMS: tuple[tuple[Form, str], ...] = (("month", "months"), ("year", "years"))
CAUTION = (
    "An aid to whoever paints and to whoever orders it. The rule in force, Appendix C of the AAR Specifications for "
    "Tank Cars, the owner’s written instructions and the facility that did the work decide what is painted. "
    "Paint no date of work that was not passed and signed for; compare each row with its report before it is painted."
)
ABOUT = (
    "49 CFR 180.515(a) asks for the date of the inspection and test and the next due date, and leaves their form to "
    "Appendix C, which was not seen. The table, the names of its rows, dates without a day and letters of 1 in are "
    f"{PRACTICE}."
)
OF_FORM = {
    "month": f"Dates are drawn as month and year, MM-YYYY ({PRACTICE}).",
    "year": (
        f"Dates are drawn as years alone ({PRACTICE}). A year says less than the due date: whoever reads it as the "
        "end of that year goes past the date. Months are safer."
    ),
}


@dataclass(frozen=True, slots=True)
class PanelView:
    """The page: the car, its panel (None where its dates are marked otherwise) and what differs from what was seen."""

    car: Heading
    day: date
    owner: str
    form: Form
    panel: Panel | None
    seen: painting.Seen
    differences: Sequence[Difference]
    back: Lookback | None

    @property
    def drawn(self) -> Drawing:
        if self.panel is None:
            raise NotFound("There is no panel to draw for a car of this class.")
        return drawing(self.panel, self.form)

    @property
    def to_paint(self) -> list[Difference]:
        return [each for each in self.differences if not each.same]

    @property
    def title(self) -> str:
        seen = self.back.in_words() if self.back else ""
        then = f", {seen[0].lower()}{seen[1:]}" if seen else ""
        return f"Qualification panel of {self.car.mark} {self.car.number}{then}"

    def cells(self, row: PanelRow) -> tuple[str, str]:
        return painted(row.done, self.form), painted(row.due, self.form)


@router.get("/cars/{car_id}/panel")
@web.may("read", looks_back=True)
def show(request: Request, car_id: web.Key, db: web.Db, looking: Looking, back: Back) -> Response:
    view = _view(request, db, car_id, looking, back)
    return web.page(
        request, "cars/panel.html", car=view.car, view=view, forms=FORMS, caution=CAUTION,
        about=ABOUT, of_form=OF_FORM[view.form], practice=PRACTICE,
        back=back, drawn=view.drawn if view.panel else None, scale=scale_of(view.drawn) if view.panel else 0,
    )  # fmt: skip


@router.get("/cars/{car_id}/panel.svg")
@web.may("read", looks_back=True)
def as_svg(request: Request, car_id: web.Key, db: web.Db, looking: Looking, back: Back) -> Response:
    view = _view(request, db, car_id, looking, back)
    return Response(drawing_svg(view.drawn, view.title), media_type="image/svg+xml")


@router.get("/cars/{car_id}/panel.pdf")
@web.may("read", looks_back=True)
def as_pdf(request: Request, car_id: web.Key, db: web.Db, looking: Looking, back: Back) -> Response:
    view = _view(request, db, car_id, looking, back)
    made = panel_pdf(view.drawn, _sheet(view))
    when = back.name if back else view.day
    name = f"panel-{view.car.mark}-{view.car.number}-{when}.pdf"
    return download(made, name, "application/pdf")


def _sheet(view: PanelView) -> Sheet:
    assert view.panel is not None
    car = view.car
    lead = f"{car.specification}, {view.owner}, as of {view.day}, after the last work on record."
    parts = {
        "Against what was last seen painted": [each.told for each in view.differences],
        "Before painting": view.panel.remarks,
        "What the drawing goes by": [ABOUT, OF_FORM[view.form]],
    }
    return Sheet(view.day, view.title, lead, CAUTION, parts)


def _view(
    request: Request, db: Session, car_id: int, looking: Seen, back: Lookback | None
) -> PanelView:
    cars.car_or_raise(db, car_id)
    asked = Asked.of(request.query_params, ("form", *NAMES))
    form = cast(Form, asked.one_of("form", FORMS) or "month")
    asked.refuse()
    at = seen_from(looking, back)
    record = looking_back.record_of(db, car_id, at, Settings())
    programme = rulebooks.in_force(db, at.known_at)
    whole = programme.whole_answer(record, at.as_of)
    devices = [
        Device(relief.label, relief.device.set_psig, due)
        for relief, due in zip(record.relief_devices, whole.devices, strict=True)
    ]
    made = panel(
        whole.answer, devices, _stations(db, car_id, at), painting.lining_owner(db, car_id, at),
        programme.of(record.owner_id).rulebook,
    )  # fmt: skip
    seen = painting.seen(db, car_id, at)
    return PanelView(
        heading(record), at.as_of, cars.party_names(db)[record.owner_id], form, made, seen,
        differences(made.rows, seen.due, seen.marked_on) if made else (), back,
    )  # fmt: skip


def _stations(db: Session, car_id: int, at: Standpoint) -> Stations:
    """The station code of who did an item on a day, of the events that count."""
    codes = painting.station_codes(db, car_id, at.known_at)
    return {
        (item, each.row.happened_on): codes[each.row.facility]
        for each in car_as_known.event_history(db, car_id, at)
        if each.in_force and each.outcome == "pass" and each.row.facility in codes
        for item in each.items
    }
