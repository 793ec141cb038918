"""Lists taken away beside their pages: events and components of the fleet, reference data, files in, people."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import retention, rulebooks
from app.actions.people import Office
from app.files import lists_out
from app.files.list_out import ListOut
from app.pages import fleet
from app.pages.exports import Table, as_asked
from app.pages.ladings import line
from app.pages.people import Administering, groups_in, seen_of
from app.store import away, facilities, imports, instructions, ladings, members
from app.store.cars import RegisterFilter
from app.web import signing

router = APIRouter()
EVERY = 1_000_000


def cars_asked_for(request: Request, db: web.Db) -> RegisterFilter:
    """The filter of the fleet's page. Raises Refused when a part of it cannot be read."""
    seen = fleet.wanted(request, db)
    seen.asked.refuse()
    return seen.filter


Cars = Annotated[RegisterFilter, Depends(cars_asked_for)]


@router.get("/fleet/events.csv")
@router.get("/fleet/events.xlsx")
@router.get("/fleet/events.json")
@web.may("read")
def events_file(request: Request, db: web.Db, today: web.Today, cars: Cars) -> Response:
    """Inspections and changes of the cars of the fleet's filter."""
    return _taken(request, lists_out.EVENTS, f"events-{today}", away.events(db, cars))


@router.get("/fleet/components.csv")
@router.get("/fleet/components.xlsx")
@router.get("/fleet/components.json")
@web.may("read")
def components_file(request: Request, db: web.Db, today: web.Today, cars: Cars) -> Response:
    """What is on the cars of the fleet's filter."""
    rows = (tuple(row) for row in away.components(db, cars))
    return _taken(request, lists_out.COMPONENTS, f"components-{today}", rows)


@router.get("/ladings.csv")
@router.get("/ladings.xlsx")
@router.get("/ladings.json")
@web.may("read")
def ladings_file(request: Request, db: web.Db) -> Response:
    return _taken(request, lists_out.LADINGS, "ladings", _ladings(db))


@router.get("/facilities.csv")
@router.get("/facilities.xlsx")
@router.get("/facilities.json")
@web.may("read")
def facilities_file(request: Request, db: web.Db) -> Response:
    rows = (
        (each.party, each.row.name, each.row.address, each.row.station_code)
        for each in facilities.mine(db)
    )
    return _taken(request, lists_out.FACILITIES, "facilities", rows)


@router.get("/instructions.csv")
@router.get("/instructions.xlsx")
@router.get("/instructions.json")
@web.may("read")
def instructions_file(request: Request, db: web.Db) -> Response:
    return _taken(request, lists_out.INSTRUCTIONS, "steps-of-owners", _instructions(db))


@router.get("/retention.csv")
@router.get("/retention.xlsx")
@router.get("/retention.json")
@web.may("read")
def retention_file(request: Request, db: web.Db, today: web.Today) -> Response:
    found = (
        (kind, each.car, each.event_id, each.since, each.reason, each.citation)
        for kind, rows in (
            ("report", retention.free_reports(db, today)),
            ("papers", retention.free_papers(db, today)),
        )
        for each in rows
    )
    return _taken(request, lists_out.RETENTION, f"kept-no-longer-{today}", found)


@router.get("/imports.csv")
@router.get("/imports.xlsx")
@router.get("/imports.json")
@web.may("bring_in")
def imports_file(request: Request, db: web.Db) -> Response:
    rows = (
        (
            each.id, each.kind, each.file_name, each.rows, each.added, each.changed, each.repeated,
            each.recorded_at, each.recorded_by, each.taken_back_at, each.sha256,
        )
        for each in imports.runs(db, EVERY)
    )  # fmt: skip
    return _taken(request, lists_out.IMPORTS, "files-in", rows)


@router.get("/people.csv")
@router.get("/people.xlsx")
@router.get("/people.json")
@web.may("administer")
def people_file(
    request: Request, db: web.Db, office: Administering, now: signing.Clock
) -> Response:
    return _taken(request, lists_out.PEOPLE, "people", _people(db, office, now))


def _taken(request: Request, kind: ListOut, name: str, rows: Iterator[Sequence[Any]]) -> Response:
    return as_asked(request, Table(name, kind.title, kind.columns, rows))


def _ladings(db: Session) -> Iterator[Sequence[Any]]:
    rulebook = rulebooks.in_force(db).everyone.rulebook
    names = lists_out.LADINGS.names[:-1]
    for each in ladings.all(db):
        known = [getattr(each, name) for name in names]
        yield (*known, line(each, rulebook).corrosive.yes)


def _instructions(db: Session) -> Iterator[Sequence[Any]]:
    for each in instructions.mine(db):
        if each.row.superseded_at is None:
            row = each.row
            for place, step in enumerate(each.steps, start=1):
                yield (
                    each.owner, row.item, row.from_on, row.in_place_of_built_in, place, step.look_at,
                    step.spot, step.measure, step.unit, step.acceptance, step.caution, step.source,
                )  # fmt: skip


def _people(db: Session, office: Office, now: datetime) -> Iterator[Sequence[Any]]:
    """As the page has them: party by party, its people and then its invitations; last, who has no role."""
    groups = groups_in(db, office, now)
    seen = seen_of(db, groups)
    for group in groups:
        for each in group.people:
            person = each.person
            yield (
                group.party.name, "member", person.name, person.email, "; ".join(each.roles),
                seen.get(person.id), None, None,
            )  # fmt: skip
        for _, invited, roles in group.invited:
            yield (
                group.party.name, "invited", invited.name, invited.email, "; ".join(roles),
                None, invited.made_by, invited.expires_at,
            )  # fmt: skip
    for person in members.former(db, office.parties):
        yield None, "former", person.name, person.email, None, None, None, None
