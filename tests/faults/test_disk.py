"""A disk that is full, read-only or broken: nothing answered is lost, reading goes on, and room is enough to go on."""

import random
import shutil
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from tests.faults import checks
from tests.faults.disk import MOUNTED_AT, Disk, small_disk
from tests.faults.files import File
from tests.faults.program import Program, Server
from tests.faults.recording import Notes, new_event, send, send_again, signed_in
from tests.faults.stores import sqlite_store, with_a_person
from tests.fixtures.store import at_rest

CARS = File("cars", 1, 3)
FULL = "The disk of the database is full, so nothing more can be recorded."
BROKEN = "The disk of the database does not do what it is asked to"
SHUT = "cannot be used: its disk is full. Make room first."
UNSURE = "The database failed just as this was being stored"


@pytest.fixture(scope="module")
def filled_once(tmp_path_factory: pytest.TempPathFactory) -> Program:
    folder = tmp_path_factory.mktemp("filled")
    program = with_a_person(Program(sqlite_store(folder), folder))
    (folder / CARS.name).write_bytes(CARS.content)
    status, printed = program.run("import", "cars", str(folder / CARS.name))
    assert status == 0, printed
    at_rest(path_of(program))
    return program


@pytest.fixture
def filled(filled_once: Program, tmp_path: Path) -> Program:
    """A store in a file with a person and a few cars, at rest, to be copied onto a disk."""
    copy = shutil.copyfile(path_of(filled_once), tmp_path / "store.db")
    return replace(filled_once, database_url=f"sqlite:///{copy}", folder=tmp_path)


def path_of(program: Program) -> Path:
    return Path(program.database_url.removeprefix("sqlite:///"))


def on(disk: Disk, filled: Program, folder: Path) -> Program:
    """The same store on a disk."""
    disk.take(path_of(filled))
    url = f"sqlite:///{MOUNTED_AT / path_of(filled).name}"
    return Program(url, folder, disk.front, token=filled.token)


def record_until_refused(client: httpx.Client, notes: Notes) -> str:
    """What the first refusal says; a log that has room left takes a few more before."""
    dice = random.Random(7)
    for _ in range(200):
        change = new_event(notes, dice, notes.cars[0])
        notes.sent.append(change)
        assert send(client, notes, change)
        if change.answer is None:
            return str(client.post(change.address, json=change.body).json()["error"]["message"])
    raise AssertionError("the disk never filled up")


def looked_at(server: Server, program: Program, notes: Notes) -> None:
    send_again(server.url, program, notes)
    assert not notes.wrong


def brought_back(disk: Disk, program: Program, folder: Path) -> str:
    """The address of a copy of the store on the disk; SQLite itself finds no way in from here."""
    name = path_of(program).name
    for file in disk.seen.glob(f"{name}*"):
        shutil.copyfile(file, folder / f"back-{file.name}")
    return f"sqlite:///{folder / f'back-{name}'}"


def test_a_full_disk_is_told_as_such_reading_goes_on_and_room_is_enough_to_go_on(
    filled: Program, tmp_path: Path
) -> None:
    notes = Notes(cars=[1, 2, 3])
    with small_disk(6_000) as disk:
        program = on(disk, filled, tmp_path)
        with program.serve() as server, signed_in(server.url, program) as client:
            filler = disk.fill()
            assert record_until_refused(client, notes).startswith(FULL)
            page = client.post("/ladings/new", data={"name": "Syrup"})
            assert page.status_code == 503
            assert FULL in page.text
            assert "Send again" in page.text
            for address in ("/", "/cars/1", "/api/v1/cars/1/due", "/due"):
                assert client.get(address).status_code == 200, address
            filler.unlink()
            looked_at(server, program, notes)
        with checks.looking(brought_back(disk, program, tmp_path)) as db:
            assert not list(checks.changes(db, notes))
            assert not list(checks.due_rows(db))
            assert not list(checks.database(db))


def test_a_store_that_nobody_has_open_cannot_be_opened_on_a_full_disk_and_is_told_as_such(
    filled: Program, tmp_path: Path
) -> None:
    with small_disk(6_000) as disk:
        program = on(disk, filled, tmp_path)
        disk.fill()
        for command in ("refresh-due", "serve"):
            status, printed = program.run(command)
            assert (status, printed.count("\n")) == (3, 1), printed
            assert SHUT in printed


@pytest.mark.parametrize("how", ["read-only disk", "somebody else's file"])
def test_a_store_that_cannot_be_written_is_told_as_such(
    filled: Program, tmp_path: Path, how: str
) -> None:
    with small_disk(6_000) as disk:
        program = on(disk, filled, tmp_path)
        if how == "read-only disk":
            disk.make_read_only()
        else:
            (disk.seen / Path(program.database_url).name).chmod(0o444)
            disk.seen.chmod(0o555)
        status, printed = program.run("refresh-due")
        assert (status, printed.count("\n")) == (3, 1)
        status, printed = program.run("serve")
        assert (status, printed.count("\n")) == (3, 1)


def test_a_disk_that_fails_while_writing_loses_nothing_that_was_answered(
    filled: Program, tmp_path: Path
) -> None:
    """Needs no mount: the process may write files of so many bytes and no more."""
    notes = Notes(cars=[1, 2, 3], by_command=[(CARS, True)])
    size = path_of(filled).stat().st_size + 200_000
    limited = Program(
        filled.database_url, tmp_path, ["prlimit", f"--fsize={size}", "--"], token=filled.token
    )
    with limited.serve() as server, signed_in(server.url, limited) as client:
        assert record_until_refused(client, notes).startswith((BROKEN, FULL, UNSURE))
        assert client.get("/cars/1").status_code == 200
    with filled.serve() as server:
        looked_at(server, filled, notes)
    assert not checks.everything(filled, notes)
