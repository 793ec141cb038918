"""Each check finds what is wrong, names the first of it, and finds nothing in a sound register."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from sqlalchemy import Engine, text

from app.actions import events, people
from app.actions.copies import Place, bring_back, keep, place_of
from app.actions.verifying import CHECKS, Asked, verify
from app.files.archive import Manifest
from app.pictures import Attachments
from app.store.copies.reading import steady
from app.store.db import make_engine, read_session, sessions, write_session
from app.store.people import Person, SignIn, Token
from app.store.tables import Party
from tests.fixtures.store import Stocked
from tests.store.cast import NOON, TODAY, add_car, measured, stamp, visual

Spoil = Callable[[Engine], None]


def quiet(step: str, done: int, total: int) -> None:
    """Nobody watches."""


def stock(engine: Engine) -> Manifest:
    """Two cars with a report each; gives the manifest of their copy."""
    with write_session(sessions(engine)) as db:
        for number in (7, 8):
            car = add_car(db, number)
            events.record_event(db, car.id, visual(readings=(measured("0.4375"),)), stamp())
    with TemporaryDirectory() as folder:
        return keep(engine, Place("", None), Path(folder) / "copy.zip", NOON, quiet)


@pytest.fixture
def any_engine(stocked_engine: Engine) -> Engine:
    """The register that is stocked, on each kind."""
    return stocked_engine


@pytest.fixture
def copied(stocked: Stocked, any_engine: Engine) -> Manifest:
    """The manifest of its copy."""
    told: Manifest = stocked.told
    return told


def found(engine: Engine, manifest: Manifest) -> dict[str, str]:
    with read_session(sessions(steady(engine))) as db:
        asked = Asked(TODAY, manifest, dates=True, photographs=Attachments("memory://"))
        told = list(verify(db, asked, quiet))
    assert [name for name, _ in told] == [check.name for check in CHECKS]
    return {name: wrong for name, wrong in told if wrong}


def run(*statements: str) -> Spoil:
    """Change the database behind the program's back, as somebody with its file or its password could.

    No foreign key is asked for meanwhile.
    """

    def spoil(engine: Engine) -> None:
        if engine.dialect.name == "sqlite":
            with closing(sqlite3.connect(str(engine.url.database), isolation_level=None)) as other:
                for each in statements:
                    other.execute(each)
            return
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            for each in ("SET session_replication_role = replica", *statements):
                connection.execute(text(each))
        engine.dispose()

    return spoil


def unguarded(table: str, statement: str) -> Spoil:
    """The triggers that keep a table are taken off and put back, so that only the rows tell of it."""

    def spoil(engine: Engine) -> None:
        if engine.dialect.name == "postgresql":
            run(statement)(engine)  # which fires no trigger either
            return
        with engine.connect() as connection:
            kept = connection.execute(
                text(
                    "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = :t"
                ),
                {"t": table},
            ).all()
        drops = [f"DROP TRIGGER {name}" for name, _ in kept]
        run(*drops, statement, *(sql for _, sql in kept))(engine)

    return spoil


def test_a_register_that_nobody_spoilt_is_sound(any_engine: Engine, copied: Manifest) -> None:
    """It is the one that each test below spoils a copy of."""
    assert found(any_engine, copied) == {}


DATES, REFERENCES = "stored due dates", "references between rows"
SEEN, ROWS = "owners, names and who sees which car", "rows against the record of change"
GUARDS = "what keeps the record from being changed"


@pytest.mark.parametrize(
    ("spoil", "check", "sentence"),
    [
        (
            run("DELETE FROM party"), REFERENCES,
            "car row (id 1) names ",
        ),
        (
            unguarded("reading", "UPDATE reading SET car_id = 2 WHERE event_id = 1"),
            "readings and their events", "reading 0 of event 1 is of car 2, and its event of car 1",
        ),
        (
            unguarded("reading", "DELETE FROM reading WHERE event_id = 2"),
            "rows against the copy", "reading has 1 rows and had 2 in the copy",
        ),
        (
            run("UPDATE due SET due_on = '2040-01-01' WHERE car_id = 2 AND item = 'visual'"), DATES,
            "car ZQKX 8 (its key is 2): visual: due_on is stored as 2040-01-01 and worked out as 2030",
        ),
        (
            run("DELETE FROM due WHERE car_id = 2 AND item = 'visual'"), DATES,
            "car ZQKX 8 (its key is 2): visual is not stored",
        ),
        (
            run("UPDATE due SET mark = 'ZQAX' WHERE car_id = 1 AND item = 'visual'"), DATES,
            "car ZQKX 7 (its key is 1): visual: mark is stored as ZQAX and worked out as ZQKX",
        ),
        (
            run("UPDATE car SET next_due_on = NULL WHERE id = 1"), DATES,
            "car ZQKX 7 (its key is 1): next_due_on is stored as None and worked out as 2023-06-01",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_the_first_thing_wrong_is_named(
    any_engine: Engine, copied: Manifest, spoil: Spoil, check: str, sentence: str
) -> None:
    spoil(any_engine)
    assert found(any_engine, copied)[check].startswith(sentence)


@pytest.mark.parametrize(
    ("spoil", "sentence"),
    [
        # Another party gets in, or sees another's car.
        (
            run("INSERT INTO car_reach (car_id, party_id, kind) SELECT 1, id, 'shop' FROM party"),
            "car 1 is shared with party",
        ),
        (
            run("UPDATE car SET owner_id = 9, keeper_id = 9 WHERE id = 2"),
            "car ZQKX 8 (its key is 2): owner_id is stored as 9, and its facts say ",
        ),
        (
            run("UPDATE car SET keeper_id = 9 WHERE id = 2"),
            "car ZQKX 8 (its key is 2): keeper_id is stored as 9, and its owner's is ",
        ),
        # It stands in lists as another, or in none.
        (
            run("UPDATE car SET mark = 'ZQAX' WHERE id = 2"),
            "car ZQAX 8 (its key is 2): mark is stored as ZQAX, and its facts say ZQKX",
        ),
        (
            run("UPDATE car SET standing = 'scrapped' WHERE id = 1"),
            "car ZQKX 7 (its key is 1): standing is stored as scrapped, and its facts say in_service",
        ),
        (
            run("UPDATE due SET owner_id = 9 WHERE car_id = 2 AND item = 'visual'"),
            "car ZQKX 8 (its key is 2): visual is listed otherwise than its car",
        ),
    ],
)  # fmt: skip
def test_what_decides_who_sees_a_car_is_checked_without_working_out_dates(
    any_engine: Engine, copied: Manifest, spoil: Spoil, sentence: str
) -> None:
    spoil(any_engine)
    assert plainly(any_engine)[SEEN].startswith(sentence)


def plainly(engine: Engine) -> dict[str, str]:
    """What is found without working out dates."""
    with read_session(sessions(steady(engine))) as db:
        return {name: wrong for name, wrong in verify(db, Asked(TODAY), quiet) if wrong}


@pytest.fixture
def bo(any_engine: Engine) -> None:
    """Somebody with a password, a sealed secret of codes and a token, told by entries."""
    with write_session(sessions(any_engine)) as db:
        bo = Person(name="Bo", email="bo@example.invalid", added_at=NOON)
        db.add(bo)
        db.flush()
        bo.password, bo.code_secret = "hash", "sealed"
        made = Token(
            person_id=bo.id, name="Sheet", key_sha256="0" * 64, scopes=["read"], made_at=NOON,
            expires_at=NOON,
        )  # fmt: skip
        signed_in = SignIn(
            key_sha256="1" * 64, person_id=bo.id, how="password", began_at=NOON, seen_at=NOON,
            proved_at=NOON, expires_at=NOON,
        )  # fmt: skip
        db.add_all((made, signed_in))


@pytest.mark.usefixtures("bo")
def test_a_register_with_people_is_sound(any_engine: Engine) -> None:
    assert plainly(any_engine) == {}


@pytest.mark.usefixtures("bo")
@pytest.mark.parametrize(
    ("statement", "sentence"),
    [
        ("UPDATE person SET password = 'other'", "person 1: password is not the one that entry 3"),
        ("UPDATE person SET password = NULL", "person 1: password is not the one that entry 3"),
        ("UPDATE person SET code_secret = 'x'", "person 1: code_secret is not the one that entry"),
        ("UPDATE token SET key_sha256 = 'other'", "token 1: key_sha256 is not the one that entry"),
        ("UPDATE sign_in SET key_sha256 = 'other'", "sign_in "),
        (
            "UPDATE person SET ended_at = '2026-11-25 12:00:00.000000'",
            "person 1: ended_at is ",
        ),
        (
            (
                "INSERT INTO membership (person_id, party_id, role, added_at, added_by)"
                " SELECT 1, 9, 'administrator', added_at, 'x' FROM person"
            ),
            "membership 1 is in no entry",
        ),
        (
            (
                "INSERT INTO token (person_id, name, key_sha256, scopes, made_at, expires_at, used_from)"
                " SELECT person_id, name, 'other', scopes, made_at, expires_at, '' FROM token"
            ),
            "token 2 is in no entry",
        ),
    ],
)  # fmt: skip
def test_what_lets_somebody_in_is_not_changed_unseen(
    any_engine: Engine, statement: str, sentence: str
) -> None:
    run(statement)(any_engine)
    assert plainly(any_engine)[ROWS].startswith(sentence)


def test_a_register_set_up_after_its_cars_came_in_is_sound(
    any_engine: Engine, copied: Manifest
) -> None:
    with write_session(sessions(any_engine)) as db:
        people.look_after_register(db, Party(name="Invented Keeper"))
    assert plainly(any_engine) == {}


@pytest.mark.usefixtures("bo")
def test_a_register_that_was_brought_back_is_sound_though_nobody_is_signed_in_to_it(
    any_engine: Engine, tmp_path: Path
) -> None:
    keep(any_engine, Place("", None), tmp_path / "copy.zip", NOON, quiet)
    place = place_of(f"sqlite:///{tmp_path / 'again.db'}")
    bring_back(place, tmp_path / "copy.zip", quiet)
    assert plainly(make_engine(place.url)) == {}


@pytest.mark.parametrize(
    ("sqlite", "postgresql"),
    [
        ("DROP TRIGGER event_kept", "DROP TRIGGER event_kept ON event"),
        ("DROP TRIGGER event_kept", "ALTER TABLE event DISABLE TRIGGER event_kept"),
        ("DROP TRIGGER reading_unchanged", "DROP TRIGGER event_not_emptied ON event"),
    ],
)
def test_a_trigger_that_no_longer_keeps_the_record_is_named(
    any_engine: Engine, copied: Manifest, sqlite: str, postgresql: str
) -> None:
    statement = sqlite if any_engine.dialect.name == "sqlite" else postgresql
    run(statement)(any_engine)
    (name,) = [word for word in statement.split() if word.startswith(("event_", "reading_"))]
    assert found(any_engine, copied) == {
        GUARDS: f"the trigger {name}, which keeps the record, is missing, changed or switched off"
    }


def test_a_trigger_that_was_weakened_is_named(engine: Engine, tmp_path: Path) -> None:
    """SQLite keeps its text, so another one under the same name shows."""
    run(
        "DROP TRIGGER event_kept",
        "CREATE TRIGGER event_kept BEFORE DELETE ON event WHEN 0 BEGIN SELECT 1; END",
    )(engine)
    manifest = keep(engine, Place("", None), tmp_path / "copy.zip", NOON, quiet)
    assert "event_kept" in found(engine, manifest)[GUARDS]


def test_a_damaged_file_is_found(sqlite_url: str, engine: Engine, tmp_path: Path) -> None:
    """One bit of the page of an index, as a bad disk would leave it."""
    manifest = keep(engine, Place("", None), tmp_path / "copy.zip", NOON, quiet)
    with engine.connect() as connection:
        page = connection.scalar(
            text("SELECT rootpage FROM sqlite_master WHERE name = 'ix_car_register'")
        )
        size = connection.scalar(text("PRAGMA page_size"))
    engine.dispose()
    run("PRAGMA wal_checkpoint(TRUNCATE)")(engine)
    path = Path(sqlite_url.removeprefix("sqlite:///"))
    held = bytearray(path.read_bytes())
    held[(page - 1) * size + 3] ^= 0x01  # how many entries the page says it has
    path.write_bytes(held)
    assert "the file of the database" in found(engine, manifest)


def test_more_rows_than_in_the_copy_are_no_fault(any_engine: Engine, copied: Manifest) -> None:
    with write_session(sessions(any_engine)) as db:
        add_car(db, 9)
    assert found(any_engine, copied) == {}


def test_it_changes_nothing(any_engine: Engine, copied: Manifest) -> None:
    """Not even on PostgreSQL, where it says so to the server."""
    with read_session(sessions(steady(any_engine))) as db:
        if any_engine.dialect.name == "postgresql":
            assert db.scalar(text("SHOW transaction_read_only")) == "on"
            assert db.scalar(text("SHOW transaction_isolation")) == "repeatable read"
