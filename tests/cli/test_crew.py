"""`serve` with several processes at one address: they share it, one that dies is replaced, all end together."""

import os
import signal
import threading
import time
import urllib.request
from pathlib import Path

import pytest

from app.main import create_app
from app.settings import Settings
from tests.cli.test_serve import QUESTION, children, gone, half_asked, started, whole_answer

WORKERS = {"WORKERS": "2"}


def serving(pid: int) -> list[int]:
    """The forked processes; the one for long work is a program of its own."""
    return [child for child in children(pid) if "app.jobs" not in command_of(child)]


def command_of(pid: int) -> str:
    try:
        return Path(f"/proc/{pid}/cmdline").read_text()
    except OSError:
        return "app.jobs"  # just gone


def status_of(address: str) -> int:
    with urllib.request.urlopen(address, timeout=10) as answer:
        return int(answer.status)


@pytest.mark.slow
def test_one_that_is_killed_is_replaced_while_the_others_answer(sqlite_url: str) -> None:
    with started(sqlite_url, **WORKERS) as (process, address):
        assert status_of(f"{address}/health") == 200
        first = serving(process.pid)
        assert len(first) == 2
        os.kill(first[0], signal.SIGKILL)
        assert {status_of(f"{address}/health") for _ in range(10)} == {200}
        until = time.monotonic() + 20
        while len(found := serving(process.pid)) < 2 or first[0] in found:
            assert time.monotonic() < until, "the dead one was not replaced"
            time.sleep(0.05)
        assert first[1] in found
        assert {status_of(f"{address}/health") for _ in range(10)} == {200}


@pytest.mark.slow
def test_each_finishes_what_it_is_answering_and_all_end(sqlite_url: str) -> None:
    with started(sqlite_url, **WORKERS) as (process, address):
        every = children(process.pid)
        with half_asked(address) as asking:
            process.send_signal(signal.SIGTERM)
            time.sleep(1)  # in which one that waits for nobody has ended
            assert process.poll() is None
            with pytest.raises(OSError, match=r"refused|reset"):
                status_of(f"{address}/health")
            asking.sendall(QUESTION[40:])
            answer = whole_answer(asking)
        assert answer.startswith(b"HTTP/1.1 200 OK")
        assert answer.endswith(b"}")
        assert process.wait(30) == 0
        assert all(gone(pid) for pid in every)


@pytest.mark.slow
def test_none_outlives_whoever_keeps_them(sqlite_url: str) -> None:
    with started(sqlite_url, **WORKERS) as (process, _):
        time.sleep(0.5)
        every = children(process.pid)
        assert len(every) == 3
        process.kill()
        assert all(gone(pid) for pid in every)


def test_nothing_is_connected_to_and_no_thread_started_before_the_fork(sqlite_url: str) -> None:
    before = threading.active_count()
    app = create_app(Settings(database_url=sqlite_url))
    assert app.state.engine.pool.checkedin() + app.state.engine.pool.checkedout() == 0
    assert threading.active_count() == before
