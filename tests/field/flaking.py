"""A network that breaks every second request on a real connection: reset half sent, or done with nobody to hear it."""

from __future__ import annotations

import socket
import struct
from collections import Counter
from collections.abc import Iterator
from itertools import cycle
from random import Random
from typing import Any

import httpx

PASSED, GONE, LOST = "passed", "gone", "lost"
PATIENCE = 120  # seconds; fifty ask at once of one server
AT_ONCE = struct.pack("ii", 1, 0)  # closing resets the connection, as a lost signal does


class Broken(Exception):
    """No answer came."""


def weather(chance: Random) -> Iterator[str]:
    """Of every two requests one is broken, by turns before it came and after it was done."""
    for broken in cycle((GONE, LOST)):
        yield from chance.sample((broken, PASSED), 2)


class Flaking:
    """The way from one tablet to the server. `count` says what became of its requests."""

    def __init__(self, url: str, key: str, seed: int) -> None:
        """`seed` differs from tablet to tablet, so that no two lose the same."""
        self.count: Counter[str] = Counter()
        self.weather = weather(Random(seed))
        # A connection of its own for each: one that is kept may be closed by the server just as it is used again.
        headers = {"Origin": url, "Connection": "close"}
        self.client = httpx.Client(
            base_url=url, cookies={"session": key}, headers=headers, timeout=PATIENCE
        )

    def __enter__(self) -> Flaking:
        return self

    def __exit__(self, *_: object) -> None:
        self.client.close()

    def once(self, method: str, address: str, **how: Any) -> dict[str, Any]:
        """Ask one time. Raises Broken, of which the tablet cannot tell whether it was stored."""
        request = self.client.build_request(method, address, **how)
        becomes = next(self.weather)
        self.count[becomes] += 1
        if becomes != PASSED:
            break_off(request, becomes)
            raise Broken
        answer = self.client.send(request)
        assert answer.status_code == 200, answer.text
        told: dict[str, Any] = answer.json()
        return told

    def until_answered(self, method: str, address: str, **how: Any) -> dict[str, Any]:
        """Ask the very same until an answer comes."""
        while True:
            try:
                return self.once(method, address, **how)
            except Broken:
                continue


def break_off(request: httpx.Request, becomes: str) -> None:
    """Reset the connection when half is sent, or when the server has done it all and begins to answer."""
    head, body = _as_sent(request)
    where = request.url.host, request.url.port
    with socket.create_connection(where, timeout=PATIENCE) as line:
        line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, AT_ONCE)
        if becomes == GONE:
            line.sendall(head + body[: len(body) // 2] if body else head[: len(head) // 2])
            return
        line.sendall(head + body)
        assert line.recv(12) == b"HTTP/1.1 200"


def _as_sent(request: httpx.Request) -> tuple[bytes, bytes]:
    first = b" ".join((request.method.encode(), request.url.raw_path, b"HTTP/1.1"))
    lines = [first, *(b": ".join(each) for each in request.headers.raw)]
    return b"\r\n".join(lines) + b"\r\n\r\n", request.read()
