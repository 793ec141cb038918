"""Editions of the rulebook: loading one, reading what differs in it, and what was in force when."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import rulebooks as actions
from app.errors import Fault, Problem
from app.pages.changing import Looking, faults_of, kept
from app.pages.exports import download
from app.pages.rulebook import readers
from app.pages.rulebook_view import shown
from app.rules.edition import LARGEST
from app.rules.template import template
from app.store import cars
from app.store import rulebooks as stored

router = APIRouter(prefix="/rulebook/editions")

TOML = "application/toml; charset=utf-8"


@router.get("")
@web.may("read")
def editions(request: Request, db: web.Db) -> Response:
    return _editions(request, db)


@router.get("/template.toml")
@web.may("read")
def empty_edition() -> Response:
    return download(template().encode(), "rulebook-edition.toml", TOML)


@router.post("")
@web.may("keep_rules")
def load(
    request: Request, posted: web.Posted, db: web.Db, looking: Looking, viewer: web.Seeing
) -> Response:
    """Keep an edition. Nothing goes by it until somebody puts it in force."""
    file = posted.file("file")
    content = file.file.read(LARGEST * 4) if file else posted.one("text").encode()
    try:
        text = content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        return _editions(request, db, "", [Fault("", "the file is not text in UTF-8")])
    if not text.strip():
        return _editions(request, db, "", [Fault("", "choose a file, or write the document below")])
    loaded = kept(db, lambda: actions.load(db, text, looking.stamp))
    if isinstance(loaded, Problem):
        return _editions(request, db, text, faults_of(loaded))
    if loaded.owner_id is None:
        web.must_be_for_all(viewer, "keep_rules")
    return web.see_other(f"/rulebook/editions/{loaded.id}")


@router.get("/{edition_id}")
@web.may("read")
def edition(request: Request, edition_id: web.Key, db: web.Db) -> Response:
    return web.page(request, "rulebook/edition.html", seen=shown(db, edition_id))


@router.get("/{edition_id}/source.toml")
@web.may("read")
def source(edition_id: web.Key, db: web.Db) -> Response:
    """The document as it was loaded, word for word."""
    row = stored.edition_or_raise(db, edition_id)
    return download(row.source.encode(), f"{row.code}.toml", TOML)


def _editions(
    request: Request, db: Session, text: str = "", faults: list[Fault] | None = None
) -> Response:
    return web.page(
        request,
        "rulebook/editions.html",
        422 if faults else 200,
        editions=stored.shown(db),
        holding=stored.in_force(db),
        owners=cars.party_names(db),
        readers=readers(db),
        history=stored.history(db),
        text=text,
        faults=faults or [],
    )
