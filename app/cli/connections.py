"""Connections of the web server: one that takes too long over the head of a request is closed.

The server itself bounds only the pause between two requests; a body is bounded by app/web/bodies.py.
"""

from __future__ import annotations

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

SECONDS_FOR_HEAD = 20.0


class Connection(H11Protocol):
    """HTTP/1.1 with a time limit for the first line and the headers of each request."""

    waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._wait_for_head()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self._in_a_request():
            self._stop_waiting()
        else:
            self._wait_for_head()

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop_waiting()
        super().connection_lost(exc)

    def _in_a_request(self) -> bool:
        answering: RequestResponseCycle | None = self.cycle
        return answering is not None and not answering.response_complete

    def _wait_for_head(self) -> None:
        """A piece more of a head that has begun gives no further time."""
        if self.waiting is None:
            self.waiting = self.loop.call_later(SECONDS_FOR_HEAD, self._give_up)

    def _stop_waiting(self) -> None:
        if self.waiting is not None:
            self.waiting.cancel()
            self.waiting = None

    def _give_up(self) -> None:
        self.waiting = None
        if not self._in_a_request():
            self.transport.close()
