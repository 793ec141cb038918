"""`serve`: one address, one worker beside it, and a clean end."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from app.cli.serve import listen
from app.settings import Settings
from tests.cli.conftest import ROOT, Run
from tests.fixtures.processes import tied_to_us


@contextmanager
def started(url: str, *args: str, **settings: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A server on a free port, and the address that it printed."""
    with subprocess.Popen(
        [*tied_to_us(), sys.executable, "-m", "app", "serve", *args],
        cwd=ROOT,
        env=os.environ | settings | {"DATABASE_URL": url, "HOST": "127.0.0.1", "PORT": "0"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        assert process.stdout is not None
        try:
            printed = process.stdout.readline()
            address = re.search(r"http://127\.0\.0\.1:\d+", printed)
            assert address, printed
            yield process, address[0]
        finally:
            process.kill()


def children(pid: int) -> list[int]:
    """Of all its threads: each has a list of its own."""
    listed = [path.read_text() for path in Path(f"/proc/{pid}/task").glob("*/children")]
    return [int(child) for child in " ".join(listed).split()]


def gone(pid: int) -> bool:
    for _ in range(150):
        if not Path(f"/proc/{pid}").exists():
            return True
        time.sleep(0.1)
    return False


def worker_of(pid: int) -> int:
    for _ in range(100):
        if found := children(pid):
            return found[0]
        time.sleep(0.1)
    raise AssertionError("the server started no worker")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("sign", "status"), [(signal.SIGTERM, 0), (signal.SIGINT, 0), (signal.SIGKILL, -9)]
)
def test_it_answers_at_the_address_it_prints_and_takes_its_worker_with_it(
    sqlite_url: str, sign: signal.Signals, status: int
) -> None:
    with started(sqlite_url) as (process, address):
        with urllib.request.urlopen(f"{address}/health", timeout=10) as answer:
            assert answer.status == 200
        worker = worker_of(process.pid)
        process.send_signal(sign)
        assert process.wait(30) == status
        assert gone(worker)


QUESTION = (
    b'{"as_of": "2026-11-25", "car": {"mark": "ZQKX", "number": 1, '
    b'"specification": "DOT 111A100W1", "built_on": "2014-06-03"}}'
)
HEAD = (
    b"POST /api/v1/due-dates HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
    b"Content-Length: %d\r\n\r\n" % len(QUESTION)
)


@contextmanager
def half_asked(address: str) -> Iterator[socket.socket]:
    """A request of which the server has the first half."""
    host, port = address.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), timeout=20) as asking:
        asking.sendall(HEAD + QUESTION[:40])
        time.sleep(0.5)  # until it is read
        yield asking


def whole_answer(asking: socket.socket) -> bytes:
    received = b""
    while part := asking.recv(65_536):
        received += part
    return received


@pytest.mark.slow
@pytest.mark.parametrize("times", [1, 2])
def test_what_is_being_answered_is_finished_however_often_it_is_told_to_stop(
    sqlite_url: str, times: int
) -> None:
    with started(sqlite_url) as (process, address):
        worker = worker_of(process.pid)
        with half_asked(address) as asking:
            for _ in range(times):
                process.send_signal(signal.SIGTERM)
                time.sleep(0.2)
            time.sleep(1)  # in which one that waits for nobody has ended
            assert process.poll() is None
            asking.sendall(QUESTION[40:])
            answer = whole_answer(asking)
        assert answer.startswith(b"HTTP/1.1 200 OK")
        assert answer.endswith(b"}")
        assert b'"items"' in answer
        while times > 1 and process.poll() is None:  # also while the worker is being stopped
            process.send_signal(signal.SIGTERM)
            time.sleep(0.005)
        assert process.wait(30) == 0
        assert gone(worker)


def turned_away_by(address: str) -> object:
    """What ends asking within some seconds: refused, reset and closed unanswered are ConnectionErrors."""
    until = time.monotonic() + 20
    while time.monotonic() < until:
        try:
            urllib.request.urlopen(address, timeout=20)
        except urllib.error.URLError as wrong:
            return wrong.reason
        except OSError as wrong:
            return wrong
        time.sleep(0.1)
    return None


@pytest.mark.slow
def test_while_it_stops_nobody_else_is_let_in(sqlite_url: str) -> None:
    with started(sqlite_url) as (process, address):
        with half_asked(address):
            process.send_signal(signal.SIGTERM)
            assert isinstance(turned_away_by(f"{address}/health"), ConnectionError)
            assert process.poll() is None
        assert process.wait(30) == 0


@pytest.mark.slow
def test_each_request_is_a_line_of_json_on_stderr_when_asked_for(sqlite_url: str) -> None:
    with started(sqlite_url, LOG_FORMAT="json") as (process, address):
        asked = urllib.request.Request(f"{address}/health", headers={"X-Request-ID": "mine.1"})
        with urllib.request.urlopen(asked, timeout=10) as answer:
            assert answer.headers["X-Request-ID"] == "mine.1"
        assert process.stdout is not None
        lines = iter(process.stdout.readline, "")
        told = json.loads(next(line for line in lines if line.startswith("{")))
    assert (told["route"], told["status"], told["request_id"]) == ("/health", 200, "mine.1")


@pytest.mark.slow
def test_a_worker_that_dies_is_replaced(sqlite_url: str) -> None:
    with started(sqlite_url) as (process, _):
        first = worker_of(process.pid)
        os.kill(first, signal.SIGKILL)
        assert gone(first)
        assert worker_of(process.pid) != first


@pytest.mark.slow
def test_it_migrates_an_empty_address_when_asked_to(tmp_path: Path) -> None:
    with (
        started(f"sqlite:///{tmp_path / 'store.db'}", "--migrate") as (_, address),
        urllib.request.urlopen(f"{address}/ready", timeout=10) as answer,
    ):
        assert answer.status == 200


def test_what_an_answer_holds_does_not_wait_until_its_head_is_acknowledged() -> None:
    """RFC 896 (Nagle) and RFC 1122, 4.2.3.2 (delayed acknowledgement): together some 40 ms an answer."""
    with (
        listen(Settings(host="127.0.0.1", port=0)) as listening,
        socket.create_connection(listening.getsockname()),
        listening.accept()[0] as accepted,
    ):
        assert accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


def test_an_address_in_use_is_told_with_3(
    run: Run, store: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        monkeypatch.setenv("PORT", str(taken.getsockname()[1]))
        ended = run("serve")
    assert ended.status == 3
    assert ended.err.startswith("Cannot serve on 127.0.0.1, port ")
    assert ended.err.count("\n") == 1
