"""The facilities of one's parties, as reports name them: the list, adding one, correcting, withdrawing."""

from __future__ import annotations

from collections.abc import Callable

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import facilities as actions
from app.actions.facilities import NewFacility
from app.errors import Problem
from app.files import cells
from app.pages import fields, forms
from app.pages.changing import Looking, faults_of, kept
from app.pages.facts import FactForm
from app.pages.fields import Group
from app.pages.forms import Entries, Field
from app.store import cars, facilities
from app.store.facilities import FacilityShown

router = APIRouter()

LIST = ("/facilities", "Facilities")
FIELDS = (
    Field("party", "Company", cells.text, "Whose facility it is", "suggest", (), True),
    Field("name", "Name", cells.text, "As a report names it", "line", (), True),
    Field("address", "Address", cells.text, "Street and place"),
    Field("station_code", "Station code", cells.text, "As stenciled with its work"),
)
LEAD = "A report names the facility, its address and its station code (49 CFR 180.517(b))."
SAVED = {
    "recorded": "The facility was recorded.",
    "withdrawn": "The facility is offered no longer; it stays below.",
    "back": "The facility is offered again.",
    "place": "Your choice about photographs was recorded. It holds for those that come from now on.",
}


@router.get("/facilities")
@web.may("read")
def listed(request: Request, db: web.Db) -> Response:
    found = facilities.mine(db, also_former=True)
    return web.page(
        request,
        "facilities/list.html",
        found=[each for each in found if each.row.superseded_at is None],
        withdrawn=[each for each in found if each.withdrawal],
        parties=facilities.own_parties(db),
        saved=SAVED.get(request.query_params.get("saved", "")),
    )


@router.post("/facilities/photograph-place/{party_id}")
@web.may("record_facts")
def photograph_place(party_id: web.Key, posted: web.Posted, db: web.Db) -> Response:
    """What the owner of cars wants of their photographs."""
    actions.keep_photo_place(db, party_id, posted.one("keep") == "yes")
    return web.see_other("/facilities?saved=place")


@router.get("/facilities/new")
@web.may("record_work")
def new(request: Request, db: web.Db) -> Response:
    names = cars.own_party_names(db)
    started = {"party": names[0]} if len(names) == 1 else {}
    return _form(request, db, "/facilities", forms.filled(started))


@router.post("/facilities")
@web.may("record_work")
def add(request: Request, posted: web.Posted, db: web.Db, looking: Looking) -> Response:
    return _saved(
        request, db, "/facilities", posted, lambda new: actions.record(db, new, looking.stamp)
    )


@router.get("/facilities/{facility_id}/correct")
@web.may("record_work")
def correct_form(request: Request, facility_id: web.Key, db: web.Db) -> Response:
    shown = facilities.one_or_raise(db, facility_id)
    row = shown.row
    stated = {
        "party": shown.party,
        "name": row.name,
        "address": row.address,
        "station_code": row.station_code,
    }
    return _form(request, db, f"/facilities/{facility_id}/correct", forms.filled(stated))


@router.post("/facilities/{facility_id}/correct")
@web.may("record_work")
def correct(
    request: Request, facility_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    facilities.one_or_raise(db, facility_id)
    return _saved(
        request, db, f"/facilities/{facility_id}/correct", posted,
        lambda new: actions.correct(db, facility_id, new, looking.stamp),
    )  # fmt: skip


@router.get("/facilities/{facility_id}/withdraw")
@web.may("record_work")
def withdraw_form(request: Request, facility_id: web.Key, db: web.Db) -> Response:
    return _withdrawing(request, facilities.one_or_raise(db, facility_id), Entries())


@router.post("/facilities/{facility_id}/withdraw")
@web.may("record_work")
def withdraw(
    request: Request, facility_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    shown = facilities.one_or_raise(db, facility_id)
    values, entries = forms.read((fields.WHY,), forms.typed(posted))
    if entries.problems:
        return _withdrawing(request, shown, entries, 422)
    made = kept(db, lambda: actions.withdraw(db, facility_id, values["reason"], looking.stamp))
    if isinstance(made, Problem):
        entries = entries.wrong(forms.beside(faults_of(made), values))
        return _withdrawing(request, shown, entries, 422)
    return web.see_other("/facilities?saved=withdrawn")


@router.post("/facilities/{facility_id}/bring-back")
@web.may("record_work")
def bring_back(facility_id: web.Key, db: web.Db, looking: Looking) -> Response:
    actions.bring_back(db, facility_id, looking.stamp)
    return web.see_other("/facilities?saved=back")


def _saved(
    request: Request,
    db: Session,
    action: str,
    posted: web.Sent,
    save: Callable[[NewFacility], object],
) -> Response:
    values, entries = forms.read(FIELDS, forms.typed(posted))
    if entries.problems:
        return _form(request, db, action, entries, 422)
    new = NewFacility(**{name: value or "" for name, value in values.items()})
    made = kept(db, lambda: save(new))
    if isinstance(made, Problem):
        entries = entries.wrong(forms.beside(faults_of(made), values))
        return _form(request, db, action, entries, 422)
    return web.see_other("/facilities?saved=recorded")


def _form(
    request: Request, db: Session, action: str, entries: Entries, status: int = 200
) -> Response:
    party = fields.with_choices(FIELDS[0], tuple(cars.own_party_names(db)))
    adding = action == LIST[0]
    form = FactForm(
        "Add a facility" if adding else "Correct a facility", LEAD, action,
        (Group("The facility", (party, *FIELDS[1:])),), entries,
        "Add" if adding else "Record the correction", None, "",
    )  # fmt: skip
    return web.page(request, "reference/form.html", status, form=form, crumb=LIST)


def _withdrawing(
    request: Request, shown: FacilityShown, entries: Entries, status: int = 200
) -> Response:
    form = FactForm(
        f"Withdraw {shown.row.name}",
        "Use this when it should be offered no longer. Reports that name it keep the words they have.",
        f"/facilities/{shown.row.id}/withdraw", (Group("Why", (fields.WHY,)),), entries, "Withdraw",
        None, "",
    )  # fmt: skip
    return web.page(request, "reference/form.html", status, form=form, crumb=LIST)
