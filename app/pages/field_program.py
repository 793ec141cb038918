"""The tablet's program: its set of files, the worker that keeps them, and what installing it needs."""

from __future__ import annotations

from pathlib import PurePosixPath

from fastapi import APIRouter
from fastapi.responses import JSONResponse, Response

from app import web
from app.errors import NotFound
from app.web import field_program
from app.web.field_program import SHELL, TYPES

router = APIRouter()
# A set is named by its sum, so it never changes; what is asked anew each time says so.
KEPT = {"Cache-Control": "public, max-age=31536000, immutable"}
ASKED_ANEW = {"Cache-Control": "no-cache"}
# The worker stands below /field and looks after that very address too.
LOOKS_AFTER = {"Service-Worker-Allowed": "/field"}
GONE = "This tablet's program is another one by now. Open the page again to take the new one."


@router.get("/field/app/{version}/{name:path}")
@web.may("everyone")
def file(version: str, name: str) -> Response:
    """A file of the set in use. Of an earlier set nothing is answered, since sets do not mix."""
    found = field_program.program()
    if version != found.version or (name != SHELL and name not in found.files):
        raise NotFound(GONE)
    content = field_program.shell().encode() if name == SHELL else found.files[name]
    kind = TYPES[PurePosixPath(name).suffix]
    return Response(content, media_type=kind, headers=KEPT)


@router.get("/field/worker.js")
@web.may("everyone")
def worker(sends: bool = False) -> Response:
    text = field_program.worker(field_program.program(), sends)
    return Response(text, media_type=TYPES[".js"], headers=ASKED_ANEW | LOOKS_AFTER)


@router.get("/field/manifest.webmanifest")
@web.may("everyone")
def manifest() -> JSONResponse:
    """What a browser needs to install the program (W3C Web Application Manifest)."""
    pictures = (
        ("icon.svg", "any", "image/svg+xml", "any"),
        ("icon-192.png", "192x192", "image/png", "any"),
        ("icon-512.png", "512x512", "image/png", "any"),
        ("icon-whole-512.png", "512x512", "image/png", "maskable"),
    )
    told = {
        "id": "/field",
        "name": "Stencilbook in the field",
        "short_name": "Stencilbook",
        "start_url": "/field",
        "scope": "/field",
        "display": "standalone",
        "background_color": "#f7f4ec",
        "theme_color": "#1d2529",
        "icons": [
            {"src": field_program.address(name), "sizes": sizes, "type": kind, "purpose": purpose}
            for name, sizes, kind, purpose in pictures
        ],
    }
    kind = "application/manifest+json"
    return JSONResponse(told, media_type=kind, headers=ASKED_ANEW)
