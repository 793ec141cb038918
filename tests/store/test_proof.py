"""The record of change is proved: whatever is done to it, or to the rows it tells of, is found and named."""

import re

import pytest
from sqlalchemy import func, select, text

from app.actions import cars, components, events, imports, ladings
from app.actions.changes import NewLading, NewName, NewStanding
from app.actions.imports import take_back
from app.files import sheets
from app.store import migrate, proof, proof_rows
from app.store.db import (
    for_migrating,
    make_engine,
    read_session,
    sessions,
    write_session,
    writing,
)
from app.store.doer import Doer
from app.store.tables import Car, Construction, EventRow, LiningFact
from tests.actions.importing import bring_in
from tests.store.cast import TODAY, add_car, measured, relief_valve, stamp, visual

CARS = "mark,number,specification,owner,lining_kind,material\nZQAX,{},DOT 111A100W1,Invented Owner,rubber,A516-70\n"
EVENTS = "mark,number,on,items,facility,readings\nZQAX,1,2024-05-06,visual;thickness,Shop,shell_top=0.45\n"


def silent(*_):
    pass


def broken(factory, kept=None):
    with read_session(factory) as db:
        return proof.first_break(db, kept, silent)


def behind(factory):
    with read_session(factory) as db:
        return proof_rows.first_change_behind(db, proof.replay(db, silent), silent)


def head(factory):
    with read_session(factory) as db:
        return proof.head(db)


def car(db):
    return db.scalar(select(func.max(Car.id)))


def event(db, place):
    """The key of an event by its place, since keys lie apart on PostgreSQL."""
    return db.scalars(select(EventRow.id).order_by(EventRow.id)).all()[place]


def named(factory, words):
    """The words with the keys that rows have here: car 3, events 1 to 3, facts of cars that came in."""
    with read_session(factory) as db:
        keys = {"car": car(db)} | {f"event_{n}": event(db, n - 1) for n in (1, 2, 3)}
        for name, table in (("lining", LiningFact), ("construction", Construction)):
            ids = db.scalars(select(table.id).order_by(table.id)).all()
            keys |= {f"{name}_{n}": key for n, key in enumerate(ids, 1)}
        keys["car_1"] = db.scalar(select(func.min(Car.id)))
    return words.format(**keys)


def stock(engine):
    """Something of everything is recorded."""
    factory = sessions(engine)
    done = [
        lambda db: bring_in(db, "cars", CARS.format(1)),
        lambda db: bring_in(db, "events", EVENTS),
        lambda db: bring_in(db, "cars", CARS.format(2)),
        lambda db: take_back(db, 3, stamp()),
        lambda db: ladings.save(db, NewLading("Invented acid", corrosive_or_reactive=True)),
        lambda db: add_car(db),
        lambda db: events.record_event(db, car(db), visual(readings=(measured("0.44"),)), stamp()),
        lambda db: events.correct_event(db, event(db, 1), visual(facility="Another"), stamp(1)),
        lambda db: events.correct_event(db, event(db, 0), visual(facility="Another"), stamp(2)),
        lambda db: components.install(db, car(db), relief_valve(), stamp(3)),
        lambda db: cars.re_mark(db, car(db), NewName("ZQBX", 5, TODAY), stamp(4)),
        lambda db: cars.change_standing(db, car(db), NewStanding("stored", "", TODAY), stamp(5)),
        lambda db: events.withdraw_event(db, event(db, 2), "never was", stamp(6)),
    ]
    for each in done:
        with write_session(factory, doer=Doer("Alba Testwell", origin="page")) as db:
            each(db)


@pytest.fixture
def factory(stocked_engine):
    """A register in which something of everything was recorded."""
    return sessions(stocked_engine)


def by_hand(factory, *statements):
    """As somebody with the database in hand would: past the program, and past the triggers."""
    engine = factory.kw["bind"]
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            for (name,) in connection.execute(
                text("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            ).all():
                connection.execute(text(f"DROP TRIGGER {name}"))
            connection.execute(text("PRAGMA defer_foreign_keys = ON"))
        else:
            connection.execute(text("SET session_replication_role = replica"))
        for statement in statements:
            connection.execute(text(statement))
        connection.commit()


def test_a_record_as_the_program_made_it_is_whole(factory):
    assert broken(factory) is None
    assert broken(factory, head(factory)) is None
    assert behind(factory) is None


def test_a_head_is_read_as_it_was_written(factory):
    assert proof.read_head(head(factory).as_text()) == head(factory)


SWAP = (
    "UPDATE change SET id = -1 WHERE id = 5",
    "UPDATE change SET id = 5 WHERE id = 6",
    "UPDATE change SET id = 6 WHERE id = -1",
)


@pytest.mark.parametrize(
    ("statements", "found"),
    [
        (["UPDATE change SET body = replace(body, 'Invented Owner', 'Another') WHERE id = 2"], "entry 2 was altered"),
        (["UPDATE change SET by = 'nobody' WHERE id = 8"], "entry 8 was altered"),
        (["UPDATE change SET deed = 'event.corrected' WHERE id = 8"], "entry 8 was altered"),
        (["UPDATE change SET address = '192.0.2.8' WHERE id = 8"], "entry 8 was altered"),
        (["UPDATE change SET at = '2020-01-01 00:00:00.000000' WHERE id = 8"], "entry 8 was altered"),
        (["DELETE FROM change_about WHERE change_id = 8"], "entry 8 was altered"),
        (["DELETE FROM change_about WHERE change_id = 8", "DELETE FROM change WHERE id = 8"],
         "entry 8 is missing"),
        (["DELETE FROM change_about WHERE change_id = 1", "DELETE FROM change WHERE id = 1"],
         "entry 1 is missing"),
        (list(SWAP), "entry 5 was altered"),
        ([("INSERT INTO change (id, at, by, origin, address, request, deed, body, previous, hash)"
          " SELECT 99, at, by, origin, address, request, deed, body, previous, 'x' FROM change"
          " WHERE id = 9")], "entry 15 is missing; the next one there is entry 99"),
    ],
)  # fmt: skip
def test_what_was_done_to_the_chain_is_named(factory, statements, found):
    by_hand(factory, *statements)
    assert found in (broken(factory) or "")


def test_a_chain_written_anew_from_an_entry_on_shows_against_a_kept_head(factory):
    kept = head(factory)
    engine = factory.kw["bind"]
    by_hand(
        factory,
        "DELETE FROM change_about WHERE change_id = 14",
        "DELETE FROM change WHERE id = 14",
    )
    assert broken(factory) is None  # nothing in the database itself can tell
    assert "entry 14 is missing: the record ends at entry 13" in broken(factory, kept)
    with write_session(sessions(engine)) as db:
        cars.change_standing(db, car(db), NewStanding("out_of_service", "", TODAY), stamp(7))
    assert broken(factory) is None
    assert "entry 14 is not the one that the head names" in broken(factory, kept)


@pytest.mark.parametrize(
    ("statement", "found"),
    [
        # A row that an entry tells one by one.
        ("UPDATE event SET facility = 'Elsewhere' WHERE id = {event_3}", r"event {event_3}: facility .*entry 9"),
        ("UPDATE event SET superseded_at = NULL WHERE id = {event_2}", r"event {event_2}: superseded_at .*entry 9"),
        ("UPDATE reading SET inches = 500000 WHERE event_id = {event_2}",
         r"reading \[{event_2}, 0\]: inches .*entry 8"),
        ("DELETE FROM reading WHERE event_id = {event_2}",
         r"reading \[{event_2}, 0\] is gone, and entry 8"),
        ("DELETE FROM withdrawal", r"withdrawal 1 is gone, and entry 14"),
        ("UPDATE lading SET corrosive_or_reactive = NULL", r"lading \d+: corrosive_or_reactive .*entry 6"),
        ("UPDATE party SET name = 'Another' WHERE name = 'Invented Owner'", r"party \d+: name .*entry 2"),
        ("UPDATE import_run SET sha256 = 'x' WHERE id = 2", r"import_run 2: sha256 .*entry 3"),
        # Rows that came with a file, told by their digest.
        ("UPDATE construction SET material = 'TC128B' WHERE car_id = {car_1}",
         "construction: of import 1 there are other rows than entry 2 tells of"),
        ("UPDATE event SET inspector = 'Someone' WHERE id = {event_1}",
         "event: of import 2 there are other rows than entry 3 tells of"),
        ("UPDATE reading SET inches = 500000 WHERE event_id = {event_1}",
         "reading: of import 2 there are other rows than entry 3 tells of"),
        ("DELETE FROM lining WHERE car_id = {car_1}", "lining: of import 1 there are 0 rows and not 1"),
        ("UPDATE standing SET reason = 'x' WHERE standing = 'withdrawn'",
         "standing: of import 3 there are other rows than entry 5 tells of"),
        ("UPDATE construction SET superseded_at = NULL WHERE import_id = 3",
         "construction {construction_2}: superseded_at .*entry 5"),
        # What no entry tells.
        ("UPDATE lining SET superseded_at = recorded_at WHERE car_id = {car_1}",
         "lining {lining_1} was superseded, and no entry tells of it"),
        (("INSERT INTO standing (car_id, from_on, standing, reason, recorded_at, recorded_by)"
         " SELECT car_id, from_on, 'stored', reason, recorded_at, recorded_by FROM standing"
         " WHERE car_id = {car} AND standing = 'in_service'"), "is in no entry"),
    ],
)  # fmt: skip
def test_a_row_changed_behind_the_programs_back_is_named(factory, statement, found):
    statement, found = named(factory, statement), named(factory, found)
    by_hand(factory, statement)
    assert broken(factory) is None
    assert re.search(found, behind(factory) or ""), behind(factory)


def test_what_was_there_before_the_record_began_is_no_fault(engine_url):
    migrating = for_migrating(engine_url)
    with writing(migrating).begin() as connection:
        migrate.upgrade_within(connection, "0005")
        connection.execute(text("INSERT INTO party (name, time_zone) VALUES ('Invented', 'UTC')"))
        connection.execute(
            text(
                "INSERT INTO component (kind, maker, model, lot, serial, owner_id, recorded_at,"
                " recorded_by) VALUES ('valve', '', '', '', '', 1, '2026-11-01 12:00:00.000000', 'x')"
            )
        )
    migrating.dispose()
    migrate.upgrade(engine_url)
    engine = make_engine(engine_url)
    factory = sessions(engine)
    assert broken(factory) is None
    assert behind(factory) is None
    by_hand(
        factory,
        "INSERT INTO component (kind, maker, model, lot, serial, owner_id, recorded_at, recorded_by)"
        " SELECT kind, maker, model, lot, serial, owner_id, recorded_at, recorded_by FROM component",
    )
    assert behind(factory) == "component 2 is in no entry of the record of change"
    engine.dispose()


def test_two_files_in_one_transaction_are_each_proved(any_engine):
    factory = sessions(any_engine)
    with write_session(factory) as db:
        for kind, content in (("cars", CARS.format(1)), ("events", EVENTS)):
            imports.apply(db, kind, sheets.read(f"{kind}.csv", content.encode()), stamp())
    assert (broken(factory), behind(factory)) == (None, None)
    by_hand(factory, "UPDATE event SET inspector = 'Someone'")
    assert "event: of import 2 there are other rows than entry 2" in behind(factory)
