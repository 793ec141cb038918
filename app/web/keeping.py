"""What taking photographs in asks for: where their files lie, their limits, and short sessions of whoever sends."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request
from starlette.exceptions import HTTPException

from app.actions.copies import attachments_of
from app.actions.pictures import Desk
from app.pictures import Attachments, Limits
from app.pictures.arriving import LARGEST_PIECE
from app.settings import Settings
from app.web.bodies import HANG_UP
from app.web.requests import Opening

TOO_LARGE = f"A piece of a photograph has at most {LARGEST_PIECE} bytes, and this is more."


def opened(settings: Settings) -> Attachments:
    """Where the attachments of the register of these settings lie."""
    return attachments_of(settings.database_url, settings.attachments)


def attachments(request: Request) -> Attachments:
    held: Attachments = request.app.state.attachments
    return held


def limits_of(settings: Settings) -> Limits:
    """The most that a photograph may be."""
    return Limits(
        settings.photograph_limit_mb * 1_000_000, settings.photograph_megapixels * 1_000_000
    )


def desk(request: Request, sessions: Opening) -> Desk:
    """Sessions are opened as they are needed: decoding takes seconds, in which others write."""
    settings = request.app.state.settings
    return Desk(attachments(request), limits_of(settings), sessions.reading, sessions.writing)


async def piece(request: Request) -> bytes:
    """The body of a request, when it is no larger than a piece."""
    read = bytearray()
    async for some in request.stream():
        read += some
        if len(read) > LARGEST_PIECE:
            raise HTTPException(413, TOO_LARGE, HANG_UP)
    return bytes(read)


TakingIn = Annotated[Desk, Depends(desk)]
Kept = Annotated[Attachments, Depends(attachments)]
PieceSent = Annotated[bytes, Depends(piece)]
