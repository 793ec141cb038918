"""Photographs and their small ones, for whoever reaches the car."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from app import web
from app.actions import pictures as actions
from app.pictures.decoding import SMALL_TYPE
from app.store.pictures import Photograph
from app.web import keeping

router = APIRouter()

# Looked at by itself, a picture may do nothing: no script, no form, no other address.
ALONE = "default-src 'none'; sandbox; frame-ancestors 'none'"
ENDINGS = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}


@router.get("/photographs/{digest}")
@web.may("read")
def photograph(request: Request, digest: str, db: web.Db, attachments: keeping.Kept) -> Response:
    """By the sum under which it is kept, or under which it was sent."""
    found, content = actions.shown(db, attachments, digest, small=False)
    return _answer(request, found, content, found.type)


@router.get("/photographs/{digest}/small")
@web.may("read")
def small(request: Request, digest: str, db: web.Db, attachments: keeping.Kept) -> Response:
    found, content = actions.shown(db, attachments, digest, small=True)
    return _answer(request, found, content, SMALL_TYPE)


def _answer(request: Request, found: Photograph, content: bytes, kind: str) -> Response:
    """A browser keeps it, and asks each time whether it still may be shown, which takes no bytes."""
    tag = f'"{found.sha256[:32]}"'
    headers = {
        "Content-Security-Policy": ALONE,
        "Content-Disposition": f'inline; filename="photograph-{found.sha256[:12]}.{ENDINGS[kind]}"',
        "Cache-Control": "private, no-cache",
        "ETag": tag,
    }
    if tag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return Response(content, media_type=kind, headers=headers)
