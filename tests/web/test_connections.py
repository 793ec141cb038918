"""Over real sockets: slow, unclear and oversized requests, and ways out of the static folder."""

import json
import socket
import time
from collections.abc import Callable, Iterator

import pytest
from fastapi import Request

from app.cli import connections, serve
from app.main import create_app
from app.settings import Settings
from app.web import bodies
from tests.fixtures.sockets import answering

Ask = Callable[..., bytes]
HOST = b"Host: 127.0.0.1\r\n"


@pytest.fixture
def port(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """The application as `serve` configures it, with less patience."""
    monkeypatch.setattr(connections, "SECONDS_FOR_HEAD", 0.6)
    monkeypatch.setattr(bodies, "LONGEST_PAUSE", 0.6)
    monkeypatch.setattr(serve, "LONGEST_HEAD", 16 * 1024)
    app = create_app(Settings(database_url=sqlite_url, upload_limit_mb=1))

    async def length(request: Request) -> dict[str, int]:
        return {"length": len(await request.body())}

    app.add_api_route("/length", length, methods=["POST"])
    with answering(app) as at:
        yield at


def heard(port: int, *pieces: bytes | float, patience: float = 8.0) -> bytes:
    """All that is answered to these bytes until the other side hangs up; a number is a pause."""
    with socket.create_connection(("127.0.0.1", port), timeout=patience) as line:
        for piece in pieces:
            if isinstance(piece, bytes):
                try:
                    line.sendall(piece)
                except OSError:  # it hung up meanwhile
                    break
            else:
                time.sleep(piece)
        return b"".join(_until_hung_up(line))


def _until_hung_up(line: socket.socket) -> Iterator[bytes]:
    try:
        while piece := line.recv(1 << 16):
            yield piece
    except ConnectionResetError:
        return


def status(answer: bytes) -> int:
    return int(answer.split(b" ", 2)[1]) if answer else 0


def get(target: bytes, *headers: bytes) -> bytes:
    lines = b"".join(each + b"\r\n" for each in headers)
    return b"GET " + target + b" HTTP/1.1\r\n" + HOST + lines + b"Connection: close\r\n\r\n"


def test_who_never_says_anything_is_hung_up_on(port: int) -> None:
    began = time.monotonic()
    assert heard(port) == b""
    assert time.monotonic() - began < 4


def test_a_head_that_drips_in_is_hung_up_on_however_often_it_drips(port: int) -> None:
    drips: list[bytes | float] = [b"GET /about HTTP/1.1\r\n" + HOST]
    for number in range(20):
        drips += [0.1, b"X-%d: a\r\n" % number]
    began = time.monotonic()
    assert heard(port, *drips) == b""
    assert time.monotonic() - began < 4


def test_a_second_head_on_the_same_connection_is_held_to_it_too(port: int) -> None:
    whole = b"GET /health HTTP/1.1\r\n" + HOST + b"\r\n"
    answer = heard(port, whole, 0.3, b"GET /health HTTP/1.1\r\n")
    assert status(answer) == 200
    assert answer.count(b"HTTP/1.1 200") == 1


def test_a_body_that_stops_coming_is_told_and_hung_up_on(port: int) -> None:
    head = b"POST /length HTTP/1.1\r\n" + HOST + b"Content-Length: 1000\r\n\r\n"
    answer = heard(port, head + b"abc")
    assert status(answer) == 408
    assert b"nothing of it was recorded" in answer
    assert b"connection: close" in answer.lower()


def test_a_body_that_keeps_coming_is_read_whole(port: int) -> None:
    head = b"POST /length HTTP/1.1\r\n" + HOST + b"Connection: close\r\nContent-Length: 30\r\n\r\n"
    drips: list[bytes | float] = [head]
    for _ in range(10):
        drips += [0.15, b"abc"]
    assert json.loads(heard(port, *drips).split(b"\r\n\r\n", 1)[1]) == {"length": 30}


def test_a_body_that_only_trickles_is_given_up_in_the_end(
    port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bodies, "FIRST_SECONDS", 1.0)
    drips: list[bytes | float] = [
        b"POST /length HTTP/1.1\r\n" + HOST + b"Content-Length: 100\r\n\r\n"
    ]
    for _ in range(20):
        drips += [0.1, b"a"]
    assert status(heard(port, *drips)) == 408


@pytest.mark.parametrize(
    "lengths",
    [
        [b"Content-Length: 3", b"Transfer-Encoding: chunked"],
        [b"Transfer-Encoding: chunked", b"Content-Length: 3"],
        [b"Content-Length: 3", b"Content-Length: 4"],
        [b"Content-Length: +3"],
        [b"Content-Length: -3"],
        [b"Content-Length: 0x3"],
        [b"Content-Length: 3, 4"],
        [b"Content-Length : 3"],
        [b"Transfer-Encoding: xchunked"],
        [b"Transfer-Encoding: chunked, identity"],
        [b"Transfer-Encoding:\x0bchunked"],
    ],
)
def test_a_request_whose_end_is_unclear_is_refused_and_what_follows_is_not_read(
    port: int, lengths: list[bytes]
) -> None:
    head = b"POST /length HTTP/1.1\r\n" + HOST + b"\r\n".join(lengths) + b"\r\n\r\n"
    answer = heard(port, head + b"0\r\n\r\n" + get(b"/about"))
    assert status(answer) in (400, 501), answer[:200]
    assert answer.count(b"HTTP/1.1 ") == 1, "what was smuggled in was answered"


@pytest.mark.parametrize(
    "head",
    [
        b"GET /about HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: evil.example\r\n\r\n",
        b"GET /about HTTP/1.1\r\n\r\n",
        b"GET /about HTTP/1.0\r\n\r\n",
        b"GET /about HTTP/1.1\r\nHost: 127.0.0.1\r\nX: a\x00b\r\n\r\n",
        b"GET /about HTTP/1.1\r\nHost: 127.0.0.1\r\n folded: yes\r\n\r\n:",
        b"GET  /about HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
        b"GET /about\xff HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",  # HTTPS spoken to a plain port
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
    ],
)
def test_a_request_that_is_no_plain_http_is_refused(port: int, head: bytes) -> None:
    answer = heard(port, head)
    assert status(answer) in (0, 400), answer[:200]
    assert b"Traceback" not in answer


def test_headers_without_end_are_refused(port: int) -> None:
    assert status(heard(port, get(b"/about", b"X: " + b"a" * 600_000))) in (0, 400)
    assert status(heard(port, get(b"/about", b"X: " + b"a" * 2_000))) == 200


@pytest.mark.parametrize(
    "target",
    [
        b"/static/../app/main.py",
        b"/static/..%2fapp/main.py",
        b"/static/%2e%2e/app/main.py",
        b"/static/%2e%2e%2fpyproject.toml",
        b"/static/..%5c..%5cpyproject.toml",
        b"/static//etc/passwd",
        b"/static/%2fetc/passwd",
        b"/static/vendor/../../pyproject.toml",
        b"/static/....//....//pyproject.toml",
        b"/static/style.css%00.html",
        b"/static/",
        b"/static",
        b"/.git/config",
        b"/static/../.git/config",
        b"/data/stencilbook.db",
    ],
)
def test_no_address_leads_out_of_the_static_folder(port: int, target: bytes) -> None:
    answer = heard(port, get(target))
    assert status(answer) in (307, 308, 404)
    assert not any(sign in answer for sign in (b"root:", b"[project]", b"create_app", b"[core]"))


def test_the_server_says_nothing_of_what_it_is_made_of(port: int) -> None:
    for target in (b"/about", b"/nothing", b"/static/style.css"):
        head = heard(port, get(target)).split(b"\r\n\r\n")[0].lower()
        assert b"\nserver:" not in head
        assert b"uvicorn" not in head
        assert b"x-powered-by" not in head


@pytest.mark.parametrize("method", [b"TRACE", b"TRACK", b"CONNECT", b"PUT", b"DELETE", b"FOO"])
def test_methods_that_nothing_uses_do_nothing(port: int, method: bytes) -> None:
    request = (
        method
        + b" /about HTTP/1.1\r\n"
        + HOST
        + b"X-Secret: not-to-be-told\r\nConnection: close\r\n\r\n"
    )
    answer = heard(port, request)
    assert status(answer) in (400, 405)
    assert b"not-to-be-told" not in answer, "it was echoed"


def test_a_line_break_in_an_address_makes_no_header(port: int) -> None:
    answer = heard(port, get(b"/nothing%0d%0aSet-Cookie:%20a=b"))
    assert status(answer) == 404
    head = answer.split(b"\r\n\r\n")[0].lower()
    assert b"set-cookie" not in head


def test_a_socket_of_the_newer_kind_is_not_opened(port: int) -> None:
    upgrade = [
        b"Upgrade: websocket", b"Sec-WebSocket-Version: 13",
        b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==",
    ]  # fmt: skip
    raw = get(b"/about", *upgrade).replace(b"Connection: close", b"Connection: Upgrade, close")
    assert status(heard(port, raw)) in (200, 400, 403, 404)
