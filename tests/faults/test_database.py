"""A database that is locked, or goes away and comes back, and two programs on one file."""

import random
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.faults import checks
from tests.faults.files import File
from tests.faults.program import Program, Server, healthy, wait_for
from tests.faults.recording import Notes, confirm_file, new_car, people, send, send_again, signed_in
from tests.faults.stores import Cluster, cluster, sqlite_store, with_a_person

AWAY = "The database cannot be reached just now, so nothing was recorded."
LOCKED = "The database is busy with other work."


@pytest.fixture(scope="module")
def postgresql() -> Iterator[Cluster]:
    with cluster() as ours:
        yield ours


@pytest.fixture
def on_sqlite(tmp_path: Path) -> Program:
    return with_a_person(Program(sqlite_store(tmp_path), tmp_path))


def with_cars(server: Server, store: Program, notes: Notes, number: int = 3) -> None:
    with signed_in(server.url, store) as client:
        for _ in range(number):
            notes.sent.append(new_car(notes))
            assert send(client, notes, notes.sent[-1])
    assert not notes.wrong


@pytest.mark.slow
@pytest.mark.postgres
def test_while_postgresql_is_away_pages_say_so_and_go_on_by_themselves_once_it_is_back(
    postgresql: Cluster, tmp_path: Path
) -> None:
    """Without a restart of the server or its worker; a job that was asked for before is done after."""
    notes = Notes()
    store = with_a_person(Program(postgresql.new_store(), tmp_path))
    with store.serve() as server, signed_in(server.url, store) as client:
        with_cars(server, store, notes)
        worker = wait_for(server.worker, "the worker")
        postgresql.stop("fast")
        page = client.post("/ladings/new", data={"name": "Syrup"})
        assert (page.status_code, AWAY in page.text) == (503, True)
        assert "Send again" in page.text
        assert page.headers["retry-after"]
        assert client.get("/cars/1").status_code == 503
        told = client.post("/api/v1/cars", json=new_car(notes).body)
        assert (told.status_code, told.json()["error"]["message"][:50]) == (503, AWAY[:50])
        assert client.get("/health").status_code == 200
        assert client.get("/ready").status_code == 503
        time.sleep(3)  # the worker asks meanwhile
        postgresql.start()
        wait_for(lambda: healthy(server.url), "the server to be well again", 10)
        with_cars(server, store, notes)
        asked = confirm_file(client, notes, File("cars", 1, 20))
        assert asked.job
        checks.wait_until_idle(store.database_url, 90)
        assert server.worker() == worker
    assert not checks.everything(store, notes)


@pytest.mark.slow
@pytest.mark.postgres
def test_a_job_outlives_the_connection_on_which_it_was_done(
    postgresql: Cluster, tmp_path: Path
) -> None:
    notes, dice = Notes(), random.Random(5)
    store = with_a_person(Program(postgresql.new_store(), tmp_path))
    with store.serve() as server, signed_in(server.url, store) as client:
        wait_for(server.worker, "the worker")
        for first in (1, 1001):
            assert confirm_file(client, notes, File("cars", first, 600)).job
            time.sleep(dice.uniform(0.5, 1.5))
            postgresql.stop("immediate")
            postgresql.start()
        checks.wait_until_idle(store.database_url)
    assert not checks.everything(store, notes)


@pytest.mark.slow
def test_while_somebody_else_holds_an_sqlite_file_changes_wait_and_reading_goes_on(
    on_sqlite: Program,
) -> None:
    notes = Notes()
    with on_sqlite.serve() as server, signed_in(server.url, on_sqlite) as client:
        with_cars(server, on_sqlite, notes)
        with closing(sqlite3.connect(path_of(on_sqlite), isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            told = client.post("/api/v1/cars", json=new_car(notes).body)
            assert (told.status_code, told.json()["error"]["message"][:37]) == (503, LOCKED)
            assert client.get("/cars/1").status_code == 200
            assert on_sqlite.run("refresh-due")[0] == 3
            other.rollback()
        with_cars(server, on_sqlite, notes)
    assert not checks.everything(on_sqlite, notes)


@pytest.mark.slow
def test_two_programs_serve_one_sqlite_file_and_nothing_is_lost_between_them(
    on_sqlite: Program,
) -> None:
    """Discouraged, and harmless: they wait for each other, and one worker at a time does the jobs."""
    notes, dice = Notes(), random.Random(11)
    with on_sqlite.serve() as one, on_sqlite.serve() as other:
        with_cars(one, on_sqlite, notes)
        with (
            people(one.url, on_sqlite, notes, dice, 1),
            people(other.url, on_sqlite, notes, dice, 1),
            signed_in(one.url, on_sqlite) as here,
            signed_in(other.url, on_sqlite) as there,
        ):
            confirmed = [
                confirm_file(here, notes, File("cars", 1, 50)),
                confirm_file(there, notes, File("cars", 101, 50)),
            ]
            time.sleep(3)
        assert any(each.job for each in confirmed)
        checks.wait_until_idle(on_sqlite.database_url)
        for each in notes.sent:
            if each.kind == "car" and each.answer:
                with signed_in(other.url, on_sqlite) as client:
                    assert client.get(f"/cars/{each.answer['id']}").status_code == 200
        send_again(one.url, on_sqlite, notes)
        one.kill()
        with_cars(other, on_sqlite, notes)
    assert not notes.wrong
    assert not checks.everything(on_sqlite, notes)


def path_of(store: Program) -> str:
    return store.database_url.removeprefix("sqlite:///")
