"""Work that lasts: asked for, done by a worker process, looked at, and taken up again after a crash."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, func, select, update

from app import jobs
from app.access import EVERYTHING
from app.actions.jobs import MOST_STARTS
from app.jobs import doing
from app.jobs.doing import Doer
from app.store.db import read_session, sessions, write_session
from app.store.derived import ImportRun, Job, Upload
from app.store.tables import Car
from tests.fixtures.processes import tied_to_us

ROOT = Path(__file__).parents[2]
PATIENCE = 60.0
CARS = b"mark,number,specification\nZQKX,104512,DOT 111A100W1\nZQKX,104513,DOT 111A100W1\n"


@pytest.fixture
def doer(any_engine: Engine) -> Iterator[Doer]:
    """One that does jobs in this process."""
    with Doer(any_engine, "UTC") as doer:
        yield doer


def hand_in(engine: Engine, content: bytes, kind: str = "cars", key: str = "up") -> str:
    with write_session(sessions(engine)) as db:
        db.add(
            Upload(
                id=key, kind=kind, file_name=f"{kind}.csv", content=content,
                uploaded_at=datetime.now(UTC),
            )
        )  # fmt: skip
        return jobs.ask(db, "import", {"upload_id": key}, by="Ida Example")


def looked_at(engine: Engine, job_id: str) -> Job:
    with read_session(sessions(engine)) as db:
        return jobs.look(db, job_id)


def count(engine: Engine, table: type[Any]) -> int:
    with read_session(sessions(engine)) as db:
        return db.scalar(select(func.count()).select_from(table)) or 0


def test_an_import_is_done_and_tells_what_came_of_it(any_engine: Engine, doer: Doer) -> None:
    job_id = hand_in(any_engine, CARS)
    assert looked_at(any_engine, job_id).state == "waiting"
    doer.do(job_id)
    job = looked_at(any_engine, job_id)
    assert (job.state, job.asked_by) == ("done", "Ida Example")
    assert job.result is not None
    assert (job.result["added"], job.result["rows"]) == (2, 2)
    assert count(any_engine, Car) == 2
    assert count(any_engine, Upload) == 0  # it waits no longer


def test_asking_calls_a_worker_only_once_the_asking_is_stored(
    any_engine: Engine, doer: Doer
) -> None:
    with sessions(any_engine)(info={"reach": EVERYTHING}) as db:
        jobs.ask(db, "refresh-due", {}, by="Ida Example")
        assert doer.queue.huey.pending_count() == 0
        db.rollback()
    assert doer.queue.huey.pending_count() == 0
    job_id = hand_in(any_engine, CARS)
    assert [task.args for task in doer.queue.huey.pending()] == [(job_id,)]


def test_a_job_called_for_twice_is_done_once(any_engine: Engine, doer: Doer) -> None:
    job_id = hand_in(any_engine, CARS)
    doer.do(job_id)
    doer.do(job_id)
    assert count(any_engine, ImportRun) == 1


def test_a_call_for_a_job_that_nobody_asked_for_does_nothing(
    any_engine: Engine, doer: Doer
) -> None:
    doer.do("nobody")
    assert count(any_engine, Job) == 0


def test_a_file_with_faults_fails_with_each_of_them_and_stores_nothing(
    any_engine: Engine, doer: Doer
) -> None:
    job_id = hand_in(any_engine, CARS + b"ZQKX,x,DOT 111A100W1\nZQKX,7,DOT 999\n")
    doer.do(job_id)
    job = looked_at(any_engine, job_id)
    assert job.state == "failed"
    assert "nothing of it was stored" in job.error
    assert job.result is not None
    assert job.result["fault_count"] == 2
    assert [place for place, _ in job.result["faults"]] == ["row 4, number", "row 5, specification"]
    assert (count(any_engine, Car), count(any_engine, ImportRun)) == (0, 0)
    assert count(any_engine, Upload) == 1  # to be looked at again


def test_a_bug_fails_the_job_with_a_sentence(
    any_engine: Engine, doer: Doer, monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaks(*_: Any) -> dict[str, Any]:
        raise ZeroDivisionError

    monkeypatch.setitem(doing.WORK, "import", breaks)
    job_id = hand_in(any_engine, CARS)
    doer.do(job_id)
    job = looked_at(any_engine, job_id)
    assert job.state == "failed"
    assert "ZeroDivisionError" in job.error


def test_refreshing_counts_the_cars(any_engine: Engine, doer: Doer) -> None:
    doer.do(hand_in(any_engine, CARS))
    with write_session(sessions(any_engine)) as db:
        job_id = jobs.ask(db, "refresh-due", {}, by="clock")
    doer.do(job_id)
    assert looked_at(any_engine, job_id).result == {"cars": 2}


def test_progress_can_be_looked_at_while_the_work_has_the_store_to_itself(
    any_engine: Engine, doer: Doer, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[tuple[str, int, int]] = []

    def looks(db: Any, payload: Any, stamp: Any, tell: Callable[..., None]) -> dict[str, Any]:
        tell("Counting wheels", 3, 8)
        job = looked_at(any_engine, job_id)
        seen.append((job.step, job.done, job.total))
        return {}

    monkeypatch.setitem(doing.WORK, "import", looks)
    job_id = hand_in(any_engine, CARS)
    doer.do(job_id)
    assert seen == [("Counting wheels", 3, 8)]


def test_looking_through_a_file_keeps_nobody_from_writing(
    any_engine: Engine, doer: Doer, monkeypatch: pytest.MonkeyPatch
) -> None:
    def writes_meanwhile(*_: Any) -> dict[str, Any]:
        hand_in(any_engine, CARS, key="meanwhile")
        return {"rows": 1}

    monkeypatch.setitem(doing.WORK, "look-through", writes_meanwhile)
    with write_session(sessions(any_engine)) as db:
        job_id = jobs.ask(db, "look-through", {"upload_id": "up"}, by="Ida Example")
    doer.do(job_id)
    assert looked_at(any_engine, job_id).state == "done"


def test_a_file_that_was_looked_through_waits_on(any_engine: Engine, doer: Doer) -> None:
    hand_in(any_engine, CARS + b"ZQKX,x,DOT 111A100W1\n")
    with write_session(sessions(any_engine)) as db:
        job_id = jobs.ask(db, "look-through", {"upload_id": "up"}, by="Ida Example")
    doer.do(job_id)
    told = looked_at(any_engine, job_id).result
    assert told is not None
    assert (told["added"], told["fault_count"]) == (2, 1)
    assert told["faults"][0]["column"] == "number"
    assert (count(any_engine, Car), count(any_engine, Upload)) == (0, 1)


def test_a_waiting_job_whose_call_was_lost_is_called_for_again(
    any_engine: Engine, doer: Doer
) -> None:
    job_id = hand_in(any_engine, CARS)
    doer.queue.huey.flush()
    doer.look_round()
    doer.look_round()  # not twice
    assert [task.args for task in doer.queue.huey.pending()] == [(job_id,)]


def test_a_job_whose_worker_died_waits_again_but_not_for_ever(
    any_engine: Engine, doer: Doer
) -> None:
    job_id = hand_in(any_engine, CARS)
    states = []
    for _ in range(MOST_STARTS):
        with write_session(sessions(any_engine)) as db:
            db.execute(update(Job).values(state="running"))
        doer.look_round()
        states.append(looked_at(any_engine, job_id).state)
    assert states == ["waiting"] * (MOST_STARTS - 1) + ["failed"]
    assert "Nothing of it was stored" in looked_at(any_engine, job_id).error


@pytest.mark.parametrize("engine_kind", ["postgresql"], indirect=True)
def test_a_job_that_another_worker_has_is_left_to_it(any_engine: Engine, doer: Doer) -> None:
    job_id = hand_in(any_engine, CARS)
    other = Doer(any_engine, "UTC")
    with other._mine(job_id) as mine:
        assert mine
        doer.do(job_id)
        assert looked_at(any_engine, job_id).state == "waiting"
    doer.do(job_id)
    assert looked_at(any_engine, job_id).state == "done"


@contextmanager
def working(url: str) -> Iterator[subprocess.Popen[bytes]]:
    """A worker process, as `serve` starts one."""
    surroundings = os.environ | {"DATABASE_URL": url}
    command = [*tied_to_us(), sys.executable, "-m", "app.jobs"]
    with subprocess.Popen(
        command, cwd=ROOT, env=surroundings, stdin=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        try:
            yield process
        finally:
            process.kill()


def wait_for(engine: Engine, job_id: str, wanted: Callable[[Job], bool]) -> Job:
    deadline = time.monotonic() + PATIENCE
    while not wanted(job := looked_at(engine, job_id)):
        assert time.monotonic() < deadline, f"{job.state}, {job.step}, {job.error}"
        time.sleep(0.02)
    return job


def many_cars(count: int) -> bytes:
    rows = (f"ZQKX,{number},DOT 111A100W1,1998-04-20" for number in range(1, count + 1))
    return "\n".join(["mark,number,specification,built_on", *rows]).encode()


def test_a_worker_killed_in_the_midst_stores_nothing_and_another_takes_the_job_up(
    any_engine: Engine, migrated_url: str
) -> None:
    job_id = hand_in(any_engine, many_cars(3_000))
    with working(migrated_url) as first:
        wait_for(any_engine, job_id, lambda job: job.step == "Working out due dates")
        first.send_signal(signal.SIGKILL)
        first.wait()
    assert looked_at(any_engine, job_id).state == "running"
    assert count(any_engine, Car) == 0
    with working(migrated_url):
        job = wait_for(any_engine, job_id, lambda job: job.state in ("done", "failed"))
    assert job.state == "done"
    assert (count(any_engine, Car), count(any_engine, ImportRun)) == (3_000, 1)


def test_a_worker_told_to_stop_stops_at_once_even_in_the_midst_of_work(
    any_engine: Engine, migrated_url: str
) -> None:
    job_id = hand_in(any_engine, many_cars(3_000))
    with working(migrated_url) as process:
        wait_for(any_engine, job_id, lambda job: job.step == "Working out due dates")
        process.terminate()
        assert process.wait(10) == 0
    assert count(any_engine, Car) == 0


def test_a_worker_ends_when_its_parent_does(sqlite_url: str) -> None:
    with working(sqlite_url) as process:
        assert process.poll() is None
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(20) == 0


def test_the_second_worker_of_an_sqlite_store_waits_for_the_first_to_end(
    engine: Engine, sqlite_url: str
) -> None:
    with working(sqlite_url) as first:
        wait_for(engine, hand_in(engine, CARS), lambda job: job.state == "done")
        with working(sqlite_url) as second:
            later = hand_in(engine, b"mark,number,specification\nZQKX,9,DOT 111A100W1\n", key="two")
            wait_for(engine, later, lambda job: job.state == "done")
            assert second.poll() is None
            first.kill()
            last = hand_in(
                engine, b"mark,number,specification\nZQKX,8,DOT 111A100W1\n", key="three"
            )
            wait_for(engine, last, lambda job: job.state == "done")


def test_a_worker_takes_no_command_so_that_each_is_in_one_place(sqlite_url: str) -> None:
    """`python -m app refresh-due` is the one for a timer."""
    said = subprocess.run(
        [sys.executable, "-m", "app.jobs", "refresh-due"], cwd=ROOT, text=True, check=False,
        env=os.environ | {"DATABASE_URL": sqlite_url}, stderr=subprocess.PIPE, timeout=PATIENCE,
    )  # fmt: skip
    assert said.returncode == 2
    assert "unrecognized arguments: refresh-due" in said.stderr
