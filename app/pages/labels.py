"""Code labels to be printed: what a tablet's camera reads to open a car, with mark and number in large letters."""

from __future__ import annotations

from dataclasses import dataclass

import segno
from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup

from app import web
from app.errors import Refused
from app.pages.fleet import wanted
from app.store import car_counts, cars
from app.web import signing

router = APIRouter()

# What fits a handful of sheets; more is asked for in parts.
MOST = 200
# Modules around the code that stay white (ISO/IEC 18004).
QUIET_ZONE = 4


@dataclass(frozen=True, slots=True)
class Label:
    """A car's label; `code` is a drawing of our own making, `address` what it says."""

    id: int
    mark: str
    number: int
    address: str
    code: Markup


@router.get("/cars/{car_id}/label")
@web.may("read")
def one(request: Request, car_id: web.Key, db: web.Db) -> Response:
    car, _ = cars.part_or_raise(db, car_id)
    made = [label(request, car.id, car.mark, car.number)]
    return web.page(request, "labels/sheet.html", labels=made, car=car, in_words="")


@router.get("/fleet/labels")
@web.may("read")
def sheet(request: Request, db: web.Db) -> Response:
    """Those of the cars that the fleet page lists, filtered alike."""
    seen = wanted(request, db)
    seen.asked.refuse()
    if car_counts.count(db, seen.filter) > MOST:
        raise Refused(f"These are more than {MOST} labels. Filter the fleet further.")
    rows = cars.register(db, seen.filter, limit=MOST).rows
    made = [label(request, row.id, row.mark, row.number) for row in rows]
    return web.page(request, "labels/sheet.html", labels=made, car=None, in_words=seen.in_words())


def label(request: Request, car_id: int, mark: str, number: int) -> Label:
    """The label of a car: it says where its page on a tablet is."""
    address = signing.public_address(request, f"/field#/car/{car_id}")
    code = segno.make(address, error="m", micro=False)
    drawn = code.svg_inline(border=QUIET_ZONE, omitsize=True, svgclass=None, lineclass=None)
    return Label(car_id, mark, number, address, Markup(drawn))
