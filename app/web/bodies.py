"""The body of a request as it comes in: counted, and given up when it is too large or too slow."""

from __future__ import annotations

import time

import anyio
from starlette.exceptions import HTTPException
from starlette.types import Message, Receive

# A form arrives in one piece; a large file over a weak signal pauses now and then.
LONGEST_PAUSE = 30.0  # seconds
FIRST_SECONDS = 60.0
SLOWEST = 8_000  # bytes a second, after the first seconds
# What a form adds around its file.
SLACK = 1_000_000
# A browser shows our answer only when it could send all; beyond this many limits we hang up.
PATIENCE = 8
HANG_UP = {"Connection": "close"}
TOO_SLOW = (
    "The rest of this request did not come in time, so nothing of it was recorded. "
    "Look to the connection and send it again."
)


class Body:
    """Wraps `receive`; raises HTTPException 413 or 408 where the application reads."""

    def __init__(self, receive: Receive, limit_mb: int) -> None:
        self._receive = receive
        self._limit_mb = limit_mb
        self._most = limit_mb * 1_000_000 + SLACK
        self._read = 0
        self._whole = False
        self._began = time.monotonic()

    async def receive(self) -> Message:
        """The next piece, within limits."""
        message = await self._piece()
        if self._read > self._most:
            raise HTTPException(413, self.too_large(), HANG_UP)
        return message

    def holds(self, length: int) -> bool:
        """Whether so many bytes are within the limit."""
        return length <= self._most

    async def drain(self) -> None:
        """Take in and forget what is too large, so that the sender sees the answer."""
        while not self._whole and self._read < self._most * PATIENCE:
            await self._piece()

    def too_large(self) -> str:
        return (
            f"At most {self._limit_mb} MB can be brought in at once, and this is more. Part the "
            f"file into several, or have whoever looks after the program raise UPLOAD_LIMIT_MB."
        )

    async def _piece(self) -> Message:
        # What comes after the body tells only that the other side went away.
        if self._whole:
            return await self._receive()
        try:
            with anyio.fail_after(self._seconds_left()):
                message = await self._receive()
        except TimeoutError:
            raise HTTPException(408, TOO_SLOW, HANG_UP) from None
        self._read += len(message.get("body", b""))
        self._whole = not message.get("more_body", False)
        return message

    def _seconds_left(self) -> float:
        until = self._began + FIRST_SECONDS + self._read / SLOWEST
        return max(0.0, min(LONGEST_PAUSE, until - time.monotonic()))
