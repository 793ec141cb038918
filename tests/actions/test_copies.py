"""A copy of the register: of one moment, whole or not there, and equal to it in either engine."""

import json
import shutil
import threading
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from random import Random

import pytest
from sqlalchemy import Engine, Text, cast, inspect, select, text
from sqlalchemy.types import JSON

from app.actions import copies, events
from app.actions.copies import Place, bring_back, keep
from app.actions.verifying import Asked, verify
from app.errors import NewerStore, Refused
from app.files import archive
from app.store import migrate, reach
from app.store.columns import Base
from app.store.copies.rows import LEFT_OUT, columns, tables
from app.store.db import for_migrating, make_engine, read_session, sessions, write_session, writing
from app.store.derived import Job, Upload
from app.store.tables import EventRow, Lading, Party, ReadingRow
from tests.fixtures.postgres import fresh_database
from tests.fixtures.store import at_rest
from tests.store.cast import NOON, TODAY, add_car, measured, stamp, visual

# Good for minutes, or for one browser. Whatever else there is has to be in a copy.
PASSING = {"sign_in", "challenge", "attempt"}
KEPT = Base.metadata.tables.keys() - PASSING
# Each would tell of a value that went through the wrong type on its way.
AWKWARD = 'quotes " and \\, a tab\t, two\nlines, \u2028, \x01, ünïcode, 🚃, nothing: \\u0000'
EXACT = Decimal("1234567890.123457")
MOMENT = datetime(2026, 11, 25, 23, 59, 59, 999999, tzinfo=UTC)
JSONS = {"a": 1.0, "b": [1e-7, None, True, "\x00ü"], "big": 2**60}


def quiet(step: str, done: int, total: int) -> None:
    """Nobody watches."""


@contextmanager
def opened(url: str) -> Iterator[Engine]:
    engine = make_engine(url)
    try:
        yield engine
    finally:
        engine.dispose()


def fill(engine: Engine) -> list[int]:
    """Something in the tables whose values are hard to carry; gives the keys of two cars."""
    with write_session(sessions(engine)) as db:
        cars = [add_car(db, number).id for number in (7, 8)]
        for car_id in cars:
            report = visual(readings=(measured("0.437500"), measured("0.437501", "head_a")))
            events.record_event(db, car_id, report, stamp())
        keeper = Party(name=AWKWARD[:200], time_zone="America/Chicago")
        db.add(keeper)
        db.flush()
        # Kept by one that comes after it.
        db.get_one(Party, 1).kept_by = keeper.id
        db.flush()
        reach.settle_keepers(db)
        db.add(Lading(name="Invented syrup", hazardous=False, corrosion_rate_mil_per_year=EXACT))
        db.add(Upload(id="u", kind="cars", file_name=AWKWARD[:200], content=bytes(range(256)) * 9,
                      uploaded_at=MOMENT))  # fmt: skip
        db.add(Job(id="j", kind="refresh-due", payload=JSONS, asked_by="A", asked_at=MOMENT))
        db.add(Job(id="k", kind="refresh-due", payload={}, result=None, error=AWKWARD.replace(
            "\x00", ""), asked_by="A", asked_at=NOON))  # fmt: skip
    return cars


def content(engine: Engine) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table as the program reads it; JSON as it is written."""
    with engine.connect() as connection:
        return {
            table.name: [
                tuple(row)
                for row in connection.execute(
                    select(*(cast(c, Text) if isinstance(c.type, JSON) else c for c in table.c))
                    .order_by(*table.primary_key.columns)
                )
            ]
            for table in Base.metadata.sorted_tables
            if table.name in KEPT
        }  # fmt: skip


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def other_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """An empty database of each kind, to bring a copy back into."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'new folder' / 'again.db'}"
        return
    with fresh_database(request.getfixturevalue("postgres_url")) as url:
        yield url


@pytest.fixture(scope="module")
def made_once(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a copy of a small register, the register, and its one attachment."""
    place = tmp_path_factory.mktemp("made")
    shutil.copyfile(sqlite_template, place / "store.db")
    url, folder = f"sqlite:///{place / 'store.db'}", place / "attached"
    (folder / "2026").mkdir(parents=True)
    (folder / "2026" / "shell.jpg").write_bytes(Random(5).randbytes(20_000))
    # An evidence packet is made from the register, and no part of a copy of it.
    (folder / "packets").mkdir()
    (folder / "packets" / "job.zip").write_bytes(b"made anew")
    with opened(url) as engine:
        fill(engine)
        keep(engine, Place(url, folder), place / "copy.zip", NOON, quiet)
    at_rest(place / "store.db")
    return place


@pytest.fixture
def made(made_once: Path, tmp_path: Path) -> Path:
    """A copy of a small register with one attachment, to do with as a test likes."""
    shutil.copytree(made_once, tmp_path, dirs_exist_ok=True)
    return tmp_path / "copy.zip"


@pytest.fixture
def db_file(sqlite_template: Path, tmp_path: Path) -> Path:
    return Path(shutil.copyfile(sqlite_template, tmp_path / "store.db"))


def empty(tmp_path: Path) -> Place:
    return Place(f"sqlite:///{tmp_path / 'again.db'}", tmp_path / "again.attachments")


def nothing_made(tmp_path: Path) -> bool:
    return not list(tmp_path.glob("again*"))


def test_a_copy_is_brought_back_equal_into_either_engine(
    any_engine: Engine, other_url: str, tmp_path: Path
) -> None:
    fill(any_engine)
    before = content(any_engine)
    told = keep(any_engine, Place("", None), tmp_path / "copy.zip", NOON, quiet)
    assert bring_back(Place(other_url, None), tmp_path / "copy.zip", quiet) == told
    with opened(other_url) as other:
        migrate.check(other)
        assert content(other) == before
        assert told.rows == sum(map(len, before.values())) > 40
        with read_session(sessions(other)) as db:
            assert [found for _, found in verify(db, Asked(TODAY, told, dates=True), quiet)
                    if found] == []  # fmt: skip


def test_no_table_is_forgotten(any_engine: Engine, tmp_path: Path) -> None:
    """A new table goes along by itself; leaving one out has to be said here too."""
    told = keep(any_engine, Place("", None), tmp_path / "copy.zip", NOON, quiet)
    assert {each.table for each in told.tables} == KEPT
    assert PASSING | {"alembic_version"} == LEFT_OUT
    assert {each.member for each in told.members} | {"manifest.json"} == set(
        zipfile.ZipFile(tmp_path / "copy.zip").namelist()
    )


@pytest.mark.postgres
def test_both_engines_say_the_same_of_every_column(sqlite_url: str, postgres_template: str) -> None:
    said = []
    for url in (sqlite_url, postgres_template):
        with opened(url) as engine, engine.connect() as connection:
            said.append({table.name: columns(table) for table in tables(connection)})
    assert said[0] == said[1]


def test_numbers_go_on_where_they_were(any_engine: Engine, other_url: str, tmp_path: Path) -> None:
    fill(any_engine)
    keep(any_engine, Place("", None), tmp_path / "copy.zip", NOON, quiet)
    bring_back(Place(other_url, None), tmp_path / "copy.zip", quiet)
    with opened(other_url) as other, write_session(sessions(other)) as db:
        assert add_car(db, 9).id == 3
        events.record_event(db, 3, visual(), stamp())


@pytest.mark.postgres
def test_foreign_keys_are_as_strict_afterwards_as_before(
    any_engine: Engine, postgres_url: str, tmp_path: Path
) -> None:
    keep(any_engine, Place("", None), tmp_path / "copy.zip", NOON, quiet)
    with fresh_database(postgres_url) as url:
        bring_back(Place(url, None), tmp_path / "copy.zip", quiet)
        with opened(url) as engine, engine.connect() as connection:
            waiting = connection.scalars(
                text("SELECT conname FROM pg_constraint WHERE condeferrable")
            )
            assert list(waiting) == []


def test_a_copy_taken_while_others_write_is_of_one_moment(
    any_engine: Engine, tmp_path: Path
) -> None:
    """Between any two tables somebody records a report: none may be half in the copy."""
    cars, other_url = fill(any_engine), f"sqlite:///{tmp_path / 'other.db'}"
    written, wanted, over = threading.Semaphore(0), threading.Semaphore(0), threading.Event()

    def write() -> None:
        for serial in range(10_000):
            wanted.acquire()
            if over.is_set():
                return
            with write_session(sessions(any_engine)) as db:
                report = visual(date(2021 + serial % 5, 1, 1 + serial // 5), facility=f"S {serial}",
                                readings=(measured("0.4"), measured("0.5", "head_a")))  # fmt: skip
                events.record_event(db, cars[serial % 2], report, stamp())
            written.release()

    def between(step: str, done: int, total: int) -> None:
        wanted.release()
        assert written.acquire(timeout=30)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        told = keep(any_engine, Place("", None), tmp_path / "copy.zip", NOON, between)
    finally:
        over.set()
        wanted.release()
        writer.join()
    bring_back(Place(other_url, None), tmp_path / "copy.zip", quiet)
    with opened(other_url) as other, read_session(sessions(other)) as db:
        recorded = set(db.scalars(select(EventRow.id)))
        read = set(db.scalars(select(ReadingRow.event_id)))
        assert recorded == read
        found = [each for each in verify(db, Asked(TODAY, told, dates=True), quiet) if each[1]]
        assert found == []
    with read_session(sessions(any_engine)) as db:
        assert len(db.scalars(select(EventRow.id)).all()) > len(recorded) + 20


def test_a_copy_has_its_name_only_when_it_is_whole(db_file: Path, tmp_path: Path) -> None:
    url, path = f"sqlite:///{db_file}", tmp_path / "copies" / "copy.zip"
    path.parent.mkdir()

    def fail(step: str, done: int, total: int) -> None:
        assert [each.suffix for each in path.parent.iterdir()] == [".part"]
        if step == "Copying reading":
            raise OSError(28, "No space left on device")

    with opened(url) as engine, pytest.raises(OSError, match="No space left"):
        keep(engine, Place(url, None), path, NOON, fail)
    assert list(path.parent.iterdir()) == []


def test_a_copy_overwrites_nothing_and_only_its_owner_reads_it(
    made: Path, db_file: Path, tmp_path: Path
) -> None:
    assert made.stat().st_mode & 0o777 == 0o600
    before = made.read_bytes()
    with opened(f"sqlite:///{db_file}") as engine, pytest.raises(Refused, match="is there already"):
        keep(engine, Place("", None), made, NOON, quiet)
    assert made.read_bytes() == before


def test_an_empty_database_and_one_of_a_newer_version_are_not_copied(
    any_engine: Engine, tmp_path: Path
) -> None:
    with any_engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(NewerStore, match="9999"):
        keep(any_engine, Place("", None), tmp_path / "copy.zip", NOON, quiet)
    with any_engine.begin() as connection:
        connection.execute(text("DELETE FROM alembic_version"))
    with pytest.raises(Refused, match="is empty"):
        keep(any_engine, Place("", None), tmp_path / "copy.zip", NOON, quiet)
    assert not (tmp_path / "copy.zip").exists()


def test_attachments_go_along(made: Path, tmp_path: Path) -> None:
    place = empty(tmp_path)
    told = bring_back(place, made, quiet)
    assert [each.member for each in told.attachments] == ["attachments/2026/shell.jpg"]
    assert place.attachments
    again = place.attachments / "2026" / "shell.jpg"
    assert again.read_bytes() == (tmp_path / "attached/2026/shell.jpg").read_bytes()


@pytest.mark.parametrize(
    ("url", "named", "meant"),
    [
        ("sqlite:///a/b.db", "", Path("a/b.db.attachments")),
        ("postgresql://u@h/n", "", Path("data/attachments")),
        ("postgresql://u@h/n", Path("x"), Path("x")),
        ("sqlite:///a/b.db", "s3://bucket/register", "s3://bucket/register"),
    ],
)
def test_the_folder_beside_an_sqlite_file_or_the_usual_one_is_meant_when_none_is_named(
    url: str, named: Path | str, meant: Path | str
) -> None:
    assert copies.place_of(url, named).attachments == meant


MEMBERS = [
    "tables/event.jsonl",
    "tables/party.jsonl",
    "attachments/2026/shell.jpg",
    "manifest.json",
]


@pytest.mark.parametrize("member", MEMBERS)
@pytest.mark.parametrize("place", [0.0, 0.5, 0.99])
def test_a_flipped_byte_is_found_and_its_member_named(
    made: Path, tmp_path: Path, member: str, place: float
) -> None:
    with zipfile.ZipFile(made) as zipped:
        info = zipped.getinfo(member)
    held = bytearray(made.read_bytes())
    # A member's data follows its header of 30 bytes, its name and what else the header holds.
    extra = int.from_bytes(held[info.header_offset + 28 : info.header_offset + 30], "little")
    start = info.header_offset + 30 + len(member) + extra
    held[start + int(place * info.compress_size)] ^= 0xFF
    made.write_bytes(held)
    with pytest.raises(Refused, match=member) as refused:
        bring_back(empty(tmp_path), made, quiet)
    assert "damaged" in str(refused.value)
    assert nothing_made(tmp_path)


def rewritten(path: Path, change: Callable[[dict[str, bytes]], object]) -> Path:
    """The same copy with other members, whole by the sums that a ZIP file keeps of itself."""
    with zipfile.ZipFile(path) as zipped:
        held = {name: zipped.read(name) for name in zipped.namelist()}
    change(held)
    with zipfile.ZipFile(path, "w") as zipped:
        for name, data in held.items():
            zipped.writestr(name, data)
    return path


def with_manifest(**changes: object) -> Callable[[dict[str, bytes]], None]:
    def change(held: dict[str, bytes]) -> None:
        held["manifest.json"] = json.dumps(json.loads(held["manifest.json"]) | changes).encode()

    return change


def with_other_words(held: dict[str, bytes]) -> None:
    """As long as they were, so that only the sum tells."""
    held["tables/party.jsonl"] = held["tables/party.jsonl"].replace(b"Quillmoor", b"Quillmoot")


def with_attachment_at(member: str) -> Callable[[dict[str, bytes]], None]:
    return with_manifest(attachments=[{"member": member, "bytes": 0, "sha256": "0" * 64}])


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (with_manifest(format=2, program_version="9.0"), r"newer version of Stencilbook \(9.0\)"),
        (with_manifest(schema_revision="9999"), "its schema is 9999"),
        (with_manifest(taken_at="yesterday"), "manifest.json is damaged"),
        (with_manifest(tables=[]), "tables/"),  # members that the manifest does not name
        (lambda held: held.pop("manifest.json"), "manifest.json is damaged"),
        (lambda held: held.pop("tables/event.jsonl"), "tables/event.jsonl|is not expected"),
        (lambda held: held.update({"tables/more.jsonl": b""}), "tables/more.jsonl is not expected"),
        (lambda held: held.update({"tables/party.jsonl": b""}), "tables/party.jsonl is not what"),
        (with_other_words, "tables/party.jsonl is not what was written"),
        (with_attachment_at("attachments/../../elsewhere"), "outside of the copy"),
        (with_attachment_at("/etc/elsewhere"), "outside of the copy"),
        (with_attachment_at("attachments/c:\\elsewhere"), "outside of the copy"),
        (with_attachment_at("attachments//elsewhere"), "outside of the copy"),
    ],
)  # fmt: skip
def test_what_is_no_whole_copy_of_ours_is_refused_before_anything_is_written(
    made: Path, tmp_path: Path, change: Callable[[dict[str, bytes]], object], sentence: str
) -> None:
    with pytest.raises(Refused, match=sentence):
        bring_back(empty(tmp_path), rewritten(made, change), quiet)
    assert nothing_made(tmp_path)


@pytest.mark.parametrize("left", [0, 10, 5_000, -1, -30])
def test_a_file_cut_short_or_none_of_ours_is_refused(made: Path, tmp_path: Path, left: int) -> None:
    made.write_bytes(made.read_bytes()[:left])
    with pytest.raises(Refused, match="is no copy of a register, or it is damaged"):
        bring_back(empty(tmp_path), made, quiet)
    assert nothing_made(tmp_path)


def test_a_place_that_is_not_empty_is_left_as_it_is(made: Path, migrated_url: str) -> None:
    with opened(migrated_url) as engine:
        before = content(engine)
        with pytest.raises(Refused, match="is not empty"):
            bring_back(Place(migrated_url, made.parent / "none"), made, quiet)
        assert content(engine) == before
    assert not (made.parent / "none").exists()


def test_attachments_that_are_there_are_not_overwritten(made: Path, tmp_path: Path) -> None:
    there = tmp_path / "again.attachments" / "mine.jpg"
    there.parent.mkdir()
    there.write_bytes(b"mine")
    with pytest.raises(Refused, match="is not empty"):
        bring_back(empty(tmp_path), made, quiet)
    assert [each.name for each in tmp_path.glob("again*")] == ["again.attachments"]
    with pytest.raises(Refused, match="--attachments"):
        bring_back(Place("sqlite:///unused.db", None), made, quiet)


def test_what_fails_half_way_leaves_the_place_empty(
    made: Path, engine_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last step fails, with all rows and attachments in their place."""

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("app.files.archive.on_disk", fail)
    with pytest.raises(OSError, match="No space left"):
        bring_back(Place(engine_url, tmp_path / "again.attachments"), made, quiet)
    assert nothing_made(tmp_path)
    monkeypatch.undo()
    bring_back(Place(engine_url, tmp_path / "again.attachments"), made, quiet)


def test_a_row_that_the_other_engine_cannot_hold_is_told_with_its_table(
    db_file: Path, postgres_url: str, tmp_path: Path
) -> None:
    with opened(f"sqlite:///{db_file}") as engine:
        with write_session(sessions(engine)) as db:
            db.add(Party(name="nothing \x00 within"))
        keep(engine, Place("", None), tmp_path / "copy.zip", NOON, quiet)
    with fresh_database(postgres_url) as url, pytest.raises(Refused, match="table party cannot be"):
        bring_back(Place(url, None), tmp_path / "copy.zip", quiet)


def test_a_copy_of_an_older_version_is_brought_up_to_this_one(
    engine_url: str, other_url: str, tmp_path: Path
) -> None:
    """Taken before an update, as one should; and brought back after it."""
    engine = for_migrating(engine_url)
    with writing(engine).begin() as connection:
        migrate.upgrade_within(connection, "0003")
        connection.execute(text("INSERT INTO party (name, time_zone) VALUES ('Invented', 'UTC')"))
    told = keep(engine, Place("", None), tmp_path / "copy.zip", NOON, quiet)
    engine.dispose()
    assert told.schema_revision == "0003"
    bring_back(Place(other_url, None), tmp_path / "copy.zip", quiet)
    with opened(other_url) as other:
        migrate.check(other)
        assert set(inspect(other).get_table_names()) > KEPT
        with read_session(sessions(other)) as db:
            assert list(db.scalars(select(Party.name))) == ["Invented"]


def test_the_manifest_says_what_the_copy_is_of(made: Path) -> None:
    with archive.opened(made) as copy:
        told = copy.manifest
    assert told.taken_at == NOON
    assert (told.format, told.engine, told.program) == (1, "sqlite", "Stencilbook")
    reading = next(each for each in told.tables if each.table == "reading")
    assert reading.rows == 4
    assert ("inches", "integer") in reading.columns
