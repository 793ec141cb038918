"""The rulebook as it holds: rule by rule, its tables, and the questions it leaves open."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import rulebooks
from app.pages.rulebook_view import sections, shown
from app.rules.overlay import Laid
from app.rules.questions import how_read, open_questions
from app.store import cars
from app.store import rulebooks as stored

router = APIRouter(prefix="/rulebook")

# Cars; above it the counts are asked for with a link.
COUNTED_AT_ONCE = 5_000
Asked = Annotated[int | None, Query(ge=1, le=web.LARGEST_KEY)]


@dataclass(frozen=True, slots=True)
class Reader:
    """Whose cars are read how, by which edition (None: the built-in)."""

    whose: str
    owner_id: int | None
    edition_id: int | None
    code: str
    how: str


@router.get("")
@web.may("read")
def rules(request: Request, db: web.Db, edition: Asked = None) -> Response:
    seen = shown(db, edition)
    at_once = "counts" in request.query_params or cars.highest_key(db) <= COUNTED_AT_ONCE
    governed = stored.governed(db) if at_once and seen.in_force else None
    every = seen.laid.rulebook.rules.values()
    return web.page(
        request,
        "rulebook/rules.html",
        seen=seen,
        sections=sections(seen.laid, governed),
        counted_now=governed is not None,
        uncounted=sum((governed or {}).get("", {}).values()),
        rules=len(every),
        unverified=sum(rule.confidence != "verified" for rule in every),
        readers=readers(db),
    )


@router.get("/tables")
@web.may("read")
def tables(request: Request, db: web.Db, edition: Asked = None) -> Response:
    seen = shown(db, edition)
    book = seen.laid.rulebook
    return web.page(
        request,
        "rulebook/tables.html",
        seen=seen,
        book=book,
        rows=[row for rows in book.stencils.rows.values() for row in rows],
        corrosive=seen.laid.document["corrosive"],
    )


@router.get("/questions")
@web.may("read")
def questions(request: Request, db: web.Db) -> Response:
    return web.page(
        request, "rulebook/questions.html", questions=open_questions(), readers=readers(db)
    )


def readers(db: Session) -> list[Reader]:
    """Whose cars go by which rulebook now: all cars first, then owners with a programme."""
    holding, names = stored.in_force(db), cars.party_names(db)
    programme = rulebooks.in_force(db)
    everyone = _reader("All cars", None, holding.get(None), programme.everyone)
    owners = [
        _reader(names[owner_id], owner_id, holding[owner_id], own)
        for owner_id, own in programme.owners.items()
        if stored.may_see(db, owner_id)
    ]
    return [everyone, *sorted(owners, key=lambda each: each.whose)]


def _reader(whose: str, owner_id: int | None, edition_id: int | None, own: Laid) -> Reader:
    return Reader(whose, owner_id, edition_id, own.rulebook.id, how_read(own.settings))
