"""By which standards a version of a plan was made, with a mark where those of today differ."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.actions import plans
from app.core.plan.basis import Basis
from app.core.plan.stated import Differs, Place, differing, stated
from app.pages.basis_words import (
    CAR_FIELDS,
    FIGURES,
    ITEM_CHOICES,
    NOT_STATED,
    SHOP_FIELDS,
    STANDARD_FIELDS,
    Told,
    text_of,
    told,
)
from app.store import planning

router = APIRouter(prefix="/plans/versions")


@dataclass(frozen=True, slots=True)
class Shown:
    """What each place states, in words; what it states `now` where that is another; what is stated only now."""

    basis: Basis
    said: Mapping[Place, str]
    now: Mapping[Place, str]
    added: Sequence[Told]


def shown(basis: Basis, found: Sequence[Differs]) -> Shown:
    said = stated(basis)
    rows = {place[:2] for place in said if place[0] == "cars"} | said.keys()
    added = [
        each
        for each in found
        if each.place[0] in ("moves", "cars", "shops") and not {each.place, each.place[:2]} & rows
    ]
    return Shown(
        basis,
        {place: text_of(value) for place, value in said.items()},
        {each.place: text_of(each.after, NOT_STATED) for each in found},
        told(added),
    )


@router.get("/{version_id}/standards")
@web.may("plan")
def standards(request: Request, version_id: web.Key, db: web.Db) -> Response:
    at = plans.opened(db, version_id)
    found = differing(at.content.basis, plans.basis_of(db))
    return web.page(
        request, "plans/made_by.html", at=at, shown=shown(at.content.basis, found), differ=len(found),
        kept=planning.basis_row(db), figures=FIGURES, items=ITEM_CHOICES,
        standard_fields=STANDARD_FIELDS, shop_fields=SHOP_FIELDS, car_fields=CAR_FIELDS,
    )  # fmt: skip
