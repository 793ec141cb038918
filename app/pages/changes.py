"""The record of change: who did what, when and from where, as a list, of a car, of a person, one entry."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.access import Viewer
from app.files import lists_out
from app.files.tables_out import Value
from app.pages.change_words import DEEDS, InWords, in_words
from app.pages.choices import Choice
from app.pages.exports import Table, as_asked
from app.pages.filters import Asked
from app.pages.paging import began_behind
from app.store import cars, change_list, proof
from app.store.change_list import Listed, Wanted

router = APIRouter()

NAMES = ("by", "deed", "q", "about", "from", "to")
PAGE, ROWS = 50, 50
ABOUT: Sequence[Choice] = (("rulebook", "the rules"), ("ladings", "the list of ladings"))
# All that the program knows of: what others did here is nobody's to learn from a filter.
DEED_CHOICES: Sequence[Choice] = tuple(sorted(DEEDS.items(), key=lambda each: each[1]))
CAUTION = "Entries are added, never changed. Corrections are entries of their own."


@dataclass(frozen=True, slots=True)
class Filtered:
    """What a list is asked for, and what it keeps to."""

    asked: Asked
    wanted: Wanted


@dataclass(frozen=True, slots=True)
class Subject:
    """Whose history a page shows: its heading, its address, where it leads back to."""

    heading: str
    address: str
    back: tuple[str, str] | None = None


EVERYTHING = Subject("Record of change", "/changes")


@router.get("/changes")
@web.may("keep_record")
def changes(request: Request, db: web.Db, viewer: web.Seeing) -> Response:
    filtered = _filtered(request, _zone(request))
    return _listing(request, db, viewer, EVERYTHING, filtered)


@router.get("/changes.csv")
@router.get("/changes.xlsx")
@router.get("/changes.json")
@web.may("keep_record")
def changes_file(request: Request, db: web.Db, viewer: web.Seeing) -> Response:
    filtered = _filtered(request, _zone(request))
    filtered.asked.refuse()
    seen = change_list.whose(db, viewer)
    found = change_list.each(db, seen, filtered.wanted)
    rows = _cells(db, found, _zone(request))
    table = Table("record-of-change", "Record of change", lists_out.CHANGES.columns, rows)
    return as_asked(request, table)


@router.get("/changes/{change_id}")
@web.may("keep_record")
def change(request: Request, change_id: web.Key, db: web.Db, viewer: web.Seeing) -> Response:
    """An entry; of many rows so many a page."""
    entry = change_list.one_or_raise(db, change_list.whose(db, viewer), change_id)
    (each,) = in_words(db, [entry], _zone(request))
    after = began_behind(request)
    return web.page(
        request, "changes/show.html", each=each, rows=each.rows[after : after + ROWS], after=after
    )


@router.get("/cars/{car_id}/changes")
@web.may("keep_record")
def changes_of_car(request: Request, car_id: web.Key, db: web.Db, viewer: web.Seeing) -> Response:
    car = cars.car_or_raise(db, car_id)
    filtered = _filtered(request, _zone(request))
    kept = replace(filtered, wanted=replace(filtered.wanted, car_id=car_id))
    name = f"{car.mark} {car.number}"
    subject = Subject(f"History of {name}", request.url.path, (f"/cars/{car_id}", name))
    return _listing(request, db, viewer, subject, kept)


@router.get("/people/{person_id}/changes")
@web.may("administer")
def changes_of_person(
    request: Request, person_id: web.Key, db: web.Db, viewer: web.Seeing
) -> Response:
    """What was done to a person's account and memberships; of one's own also what one did."""
    person = change_list.person_or_raise(db, change_list.whose(db, viewer), person_id)
    filtered = _filtered(request, _zone(request))
    about = replace(filtered.wanted, about=("person", str(person_id)))
    subject = Subject(f"History of {person.name}", request.url.path)
    return _listing(request, db, viewer, subject, replace(filtered, wanted=about))


def _listing(
    request: Request, db: Session, viewer: Viewer, subject: Subject, filtered: Filtered
) -> Response:
    asked, after = filtered.asked, request.query_params.get("after") or None
    seen = change_list.whose(db, viewer)
    fine = not asked.problems
    found = change_list.page(db, seen, filtered.wanted, after, PAGE) if fine else None
    return web.page(
        request,
        "changes/list.html",
        200 if fine else 422,
        subject=subject,
        asked=asked.values,
        problems=asked.problems,
        deeds=DEED_CHOICES,
        about=ABOUT,
        entries=in_words(db, found.rows, _zone(request)) if found else [],
        found=found,
        after=after,
        head=proof.head(db) if viewer.looks_after_register else None,
        caution=CAUTION,
    )


def _zone(request: Request) -> ZoneInfo:
    return ZoneInfo(request.app.state.settings.time_zone)


def _filtered(request: Request, zone: ZoneInfo) -> Filtered:
    asked = Asked.of(request.query_params, NAMES)
    setting = asked.one_of("about", ABOUT)
    last = asked.day("to")
    wanted = Wanted(
        by=asked.values.get("by", ""),
        deed=asked.one_of("deed", DEED_CHOICES),
        about=("setting", setting) if setting else None,
        search=asked.prefix("q") if "q" in asked.values else None,
        since=_begins(asked.day("from"), zone),
        before=_begins(last + timedelta(days=1) if last else None, zone),
    )
    return Filtered(asked, wanted)


def _begins(day: date | None, zone: ZoneInfo) -> datetime | None:
    return datetime.combine(day, time.min, zone) if day else None


def _cells(db: Session, found: Iterator[Listed], zone: ZoneInfo) -> Iterator[Sequence[Value]]:
    some: list[Listed] = []
    for entry in found:
        some.append(entry)
        if len(some) == PAGE:
            yield from map(_line, in_words(db, some, zone))
            some = []
    yield from map(_line, in_words(db, some, zone))


def _line(each: InWords) -> Sequence[Value]:
    entry = each.entry
    named = ", ".join(name for _, name in each.cars) or (
        f"{entry.car_count} cars" if entry.car_count else ""
    )
    return (
        entry.id, entry.at, entry.by, entry.deed, each.did, named,
        ". ".join(each.details), entry.origin, entry.address, entry.request, entry.hash,
    )  # fmt: skip
