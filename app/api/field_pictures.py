"""Photographs of field work: how much of one has come, and its next piece."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Depends, Path, Query

from app import web
from app.actions import pictures as actions
from app.actions.pictures import Piece, Received
from app.actions.stamp import Stamp
from app.api.exact import can_fail, subject
from app.api.schemas import ErrorOut, Out
from app.pictures.arriving import LARGEST_PIECE
from app.web import keeping

router = subject("field work")

EXAMPLE = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"
REPORT = "0b1d3c5e7f9a4b6c8d0e2f4a6b8c0d1e"
Digest = Annotated[
    str,
    Path(
        pattern="^[0-9a-f]{64}$", description="SHA-256 of the picture as it is sent", examples=[EXAMPLE]
    ),
]  # fmt: skip
Key = Annotated[
    str,
    Query(pattern="^[0-9a-f]{32}$", description="the report it belongs to", examples=[REPORT]),
]
BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": f"the bytes of the picture from `at` on, at most {LARGEST_PIECE}",
        "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
    }
}


class ReceivedOut(Out):
    """Send on from `received`. When `whole`, the picture is kept, and nothing more is to be sent."""

    digest: str
    received: int
    whole: bool


TOO_LARGE: dict[int | str, dict[str, Any]] = {
    413: {"model": ErrorOut, "description": "The piece is larger than one may be."},
}


@router.get("/field/photographs/{digest}", summary="How much of a photograph has come")
@web.may("record_work")
def how_far(digest: Digest, desk: keeping.TakingIn, report: Key | None = None) -> ReceivedOut:
    """Bytes without a gap from the first, as this person sent them. With `report` it is whole only for that one."""
    return _told(actions.state(desk, digest, report or ""))


def announced(
    digest: Digest,
    at: Annotated[int, Query(ge=0, le=web.LARGEST_KEY, description="where the piece begins")],
    bytes: Annotated[int, Query(ge=1, le=web.LARGEST_KEY, description="size of the whole picture")],  # noqa: A002
    report: Key,
    content: keeping.PieceSent,
) -> Piece:
    return Piece(digest, report, at, bytes, content)


@router.put(
    "/field/photographs/{digest}",
    summary="Send the next piece of a photograph",
    responses={**can_fail(404), **TOO_LARGE},
    openapi_extra=BODY,
)
@web.may("record_work")
def take(
    piece: Annotated[Piece, Depends(announced)],
    desk: keeping.TakingIn,
    now: web.Now,
    today: web.Today,
    by: web.Recorder,
) -> ReceivedOut:
    """Of a piece that came before nothing is added, and of one that begins too far on nothing is taken.

    So go on from `received`, whatever was sent. With the last piece the sum is checked and the picture
    decoded: JPEG, PNG and WebP are taken, whatever they are called. It is kept without the place where
    it was taken, unless the owner of the car wants that. When it cannot be kept, the reason is told, and
    nothing of it is left: it is sent from its first byte again.
    """
    return _told(actions.receive(desk, piece, Stamp(by, now, today)))


def _told(received: Received) -> ReceivedOut:
    return ReceivedOut(digest=received.digest, received=received.received, whole=received.whole)
