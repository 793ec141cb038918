"""Each committed transaction that changed something leaves one entry, chained to the one before it."""

import json
import re
import threading
from contextlib import suppress
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select, update

from app.actions import cars, events
from app.actions.changes import NewStanding
from app.errors import Refused
from app.store.change_log import NOTHING_BEFORE, Entry
from app.store.changes import Change, ChangeAbout
from app.store.db import read_session, sessions, write_session
from app.store.doer import Doer
from app.store.gathering import note
from app.store.people import Person, SignIn, Token
from app.store.tables import EventRow, Party
from tests.store.cast import NOON, add_car, new_car, stamp, visual

ALBA = Doer("Alba Testwell", None, "page", "192.0.2.7", "request-1", NOON)


def entries(db):
    """All but the first, which says what was there before the record began."""
    return db.scalars(select(Change).where(Change.id > 1).order_by(Change.id)).all()


def about(db, entry):
    found = select(ChangeAbout.kind, ChangeAbout.key).where(ChangeAbout.change_id == entry.id)
    return {tuple(row) for row in db.execute(found)}


def as_hashed(db, entry):
    return Entry(
        entry.id, entry.at, entry.by, entry.person_id, entry.origin, entry.address, entry.request,
        entry.deed, entry.body, tuple(sorted(about(db, entry))), entry.previous,
    )  # fmt: skip


@pytest.mark.parametrize("field", fields(Entry), ids=lambda field: field.name)
def test_the_hash_of_an_entry_is_over_all_of_it(field):
    """So too over the hash before it: an entry cannot be changed without every later one."""
    entry = Entry(
        2, NOON, "Alba", 1, "page", "192.0.2.7", "request-1", "car.added", "{}", (("car", "1"),), NOTHING_BEFORE
    )  # fmt: skip
    other = {int: 3, str: "other", tuple: (("car", "2"),), datetime: NOON + timedelta(1)}
    changed = replace(entry, **{field.name: other[type(getattr(entry, field.name))]})
    assert changed.hash() != entry.hash()


def rows(entry, table=None):
    return [row for row in json.loads(entry.body)["rows"] if table is None or row["table"] == table]


@pytest.fixture
def factory(any_engine):
    return sessions(any_engine)


def test_an_entry_says_who_when_and_from_where_and_what_is_there_now(factory):
    with write_session(factory, doer=ALBA) as db:
        car = add_car(db)
    with write_session(factory, doer=ALBA) as db:
        event = events.record_event(db, car.id, visual(), stamp())
    with read_session(factory) as db:
        _, entry = entries(db)
        assert (entry.by, entry.origin, entry.address) == ("Alba Testwell", "page", "192.0.2.7")
        assert (entry.request, entry.at) == ("request-1", NOON)
        assert ("car", str(car.id)) in about(db, entry)
        (row,) = rows(entry)
        assert (row["table"], row["key"], row["before"]) == ("event", event.id, None)
        assert row["after"]["happened_on"] == "2020-03-15"
        assert row["after"]["items"] == "visual"


def test_each_entry_holds_the_hash_of_the_one_before_it_and_its_own(factory):
    for number in (1, 2, 3):
        with write_session(factory, doer=ALBA) as db:
            add_car(db, number)
    with read_session(factory) as db:
        found = list(entries(db))
        assert [entry.id for entry in found] == [2, 3, 4]
        found.insert(0, db.get(Change, 1))
        assert found[0].previous == NOTHING_BEFORE
        assert found[0].deed == "record.began"
        assert [entry.previous for entry in found[1:]] == [entry.hash for entry in found[:-1]]
        assert all(entry.hash == as_hashed(db, entry).hash() for entry in found)


def test_a_correction_tells_the_stamp_on_the_old_row_and_the_new_row(factory):
    with write_session(factory) as db:
        car = add_car(db)
        old = events.record_event(db, car.id, visual(), stamp())
    with write_session(factory) as db:
        new = events.correct_event(db, old.id, visual(facility="Made-up Shop Two"), stamp(5))
    with read_session(factory) as db:
        found = {row["key"]: row for row in rows(entries(db)[-1], "event")}
    assert found[old.id]["before"] == {"superseded_at": None}
    assert found[old.id]["after"] == {"superseded_at": "2026-11-25T12:05:00.000000+00:00"}
    assert found[new.id]["after"]["corrects"] == old.id


def test_what_changes_nothing_leaves_no_entry(factory):
    with write_session(factory) as db:
        car = add_car(db)
    with write_session(factory) as db:
        cars.change_standing(db, car.id, NewStanding("in_service"), stamp())
    with write_session(factory) as db:
        note(db, "car.looked_at", ("car", car.id))
    with read_session(factory) as db:
        assert len(entries(db)) == 1


def test_what_was_rolled_back_leaves_nothing_not_even_in_the_entry_of_what_was_kept(factory):
    with suppress(Refused), write_session(factory) as db:
        add_car(db)
        raise Refused("no")
    with write_session(factory) as db:
        kept = add_car(db, 7).id
        with suppress(Refused), db.begin_nested():
            add_car(db, 8)
            note(db, "never.happened")
            raise Refused("no")
    with read_session(factory) as db:
        (entry,) = entries(db)
        assert [row["key"] for row in rows(entry, "car")] == [kept]
        assert "never.happened" not in entry.body


def test_what_no_action_named_is_told_all_the_same(factory):
    with write_session(factory) as db:
        db.add(Party(name="Made-up Rail Lines"))
    with write_session(factory) as db:
        db.execute(update(Party).values(time_zone="America/Chicago"))
    with read_session(factory) as db:
        added, changed = entries(db)
        assert (added.deed, changed.deed) == ("changed", "changed")
        (row,) = rows(changed)
        assert row["before"] == {"time_zone": "UTC"}
        assert row["after"] == {"time_zone": "America/Chicago"}


def test_a_statement_seen_from_the_table_tells_its_rows_too(factory):
    with write_session(factory) as db:
        events.record_event(db, add_car(db).id, visual(), stamp())
    with write_session(factory) as db:
        table = EventRow.__table__
        db.execute(update(table).where(table.c.outcome == "pass").values(superseded_at=NOON))
    with read_session(factory) as db:
        assert [row["table"] for row in rows(entries(db)[-1])] == ["event"]


def person(**more):
    return Person(name="Bo Testwell", email="bo@example.invalid", added_at=NOON, **more)


def test_secrets_are_named_as_changed_and_never_told(factory):
    with write_session(factory) as db:
        bo = person(password="hash-one", code_secret="sealed-one")
        db.add(bo)
        db.flush()
        db.add(
            Token(
                person_id=bo.id, name="Sheet", key_sha256="token-hash", scopes=["read"],
                made_at=NOON, expires_at=NOON,
            )
        )  # fmt: skip
        db.add(
            SignIn(
                key_sha256="sign-in-hash", person_id=bo.id, how="password", began_at=NOON,
                seen_at=NOON, proved_at=NOON, expires_at=NOON,
            )
        )  # fmt: skip
    with write_session(factory) as db:
        db.get(Person, bo.id).password = "hash-two"
    with read_session(factory) as db:
        told = "".join(entry.body for entry in entries(db))
        (row,) = rows(entries(db)[-1])
    for secret in ("hash-one", "hash-two", "sealed-one", "token-hash", "sign-in-hash"):
        assert secret not in told
    (digest,) = row["secret"].values()
    assert list(row["secret"]) == ["password"]
    assert re.fullmatch("[0-9a-f]{64}", digest)


def test_being_seen_is_no_change(factory):
    with write_session(factory) as db:
        bo = person()
        db.add(bo)
        db.flush()
        db.add(
            SignIn(
                key_sha256="k", person_id=bo.id, how="password", began_at=NOON, seen_at=NOON,
                proved_at=NOON, expires_at=NOON,
            )
        )  # fmt: skip
    with write_session(factory) as db:
        db.execute(update(SignIn).values(seen_at=datetime(2026, 11, 26, tzinfo=UTC)))
    with write_session(factory) as db:
        db.get(SignIn, "k").seen_at = datetime(2026, 11, 27, tzinfo=UTC)
    with read_session(factory) as db:
        assert len(entries(db)) == 1


@pytest.mark.postgres
def test_the_chain_stays_one_line_when_many_record_at_once(any_engine, factory):
    if any_engine.dialect.name == "sqlite":
        assert factory  # one writer at a time by itself
        return
    faults = []

    def record(first):
        try:
            for number in range(first, first + 10):
                with write_session(factory) as db:
                    cars.add_car(db, new_car(number, owner=f"Invented Owner {first}"), stamp())
        except Exception as fault:
            faults.append(fault)

    threads = [threading.Thread(target=record, args=(1000 * each,)) for each in range(1, 9)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert not faults
    with read_session(factory) as db:
        found = entries(db)
    assert len(found) == 80
    assert [entry.previous for entry in found[1:]] == [entry.hash for entry in found[:-1]]
