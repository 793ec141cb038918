"""`serve`: one address, one worker beside it, and a clean end."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.cli.conftest import ROOT, Run
from tests.fixtures.processes import tied_to_us


@contextmanager
def started(url: str, *args: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A server on a free port, and the address that it printed."""
    with subprocess.Popen(
        [*tied_to_us(), sys.executable, "-m", "app", "serve", *args],
        cwd=ROOT,
        env=os.environ | {"DATABASE_URL": url, "HOST": "127.0.0.1", "PORT": "0"},
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
        urllib.request.urlopen(f"{address}/api/v1/cars", timeout=10) as answer,
    ):
        assert answer.read() == b'{"rows":[],"next_after":null}'


def test_an_address_in_use_is_told_with_3(
    run: Run, store: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        monkeypatch.setenv("PORT", str(taken.getsockname()[1]))
        ended = run("serve")
    assert ended.status == 3
    assert ended.err.startswith("Cannot serve on 127.0.0.1, port ")
    assert ended.err.count("\n") == 1
