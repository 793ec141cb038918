"""Whatever savepoints are released and rolled back, an entry tells the difference of the tables and nothing else."""

import json
from contextlib import suppress

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, insert, select, update
from sqlalchemy.orm import Session

from app.actions import rows
from app.errors import Conflict, Refused
from app.store.changes import Change
from app.store.db import read_session, sessions, write_session
from app.store.kept import KEPT, key_of, plain
from app.store.people import Person
from tests.length import tries
from tests.store.cast import NOON

PERSON = Person.__table__
TOLD = set(KEPT["person"].columns(PERSON))


def address(number):
    return f"p{number}@example.invalid"


def add(db: Session, number: int) -> None:
    rows.add(db, Person(name="New", email=address(number), added_at=NOON), "taken")


def rename(db: Session, number: int) -> None:
    """By the session, whether it still holds the person's columns or was made to forget them."""
    for held in db.identity_map.values():
        if isinstance(held, Person):
            held.name = f"Held {number}"
    db.flush()


def rename_by_statement(db: Session, number: int) -> None:
    db.execute(update(Person).where(Person.id % 3 == number % 3).values(name=f"Told {number}"))


def remove(db: Session, number: int) -> None:
    found = db.scalars(select(Person).where(Person.email == address(number))).first()
    if found is not None:
        db.delete(found)
        db.flush()


def remove_by_statement(db: Session, number: int) -> None:
    db.execute(delete(Person).where(Person.email == address(number)))


def hold(db: Session, number: int) -> None:
    db.scalars(select(Person)).all()


def only_on_object(db: Session, number: int) -> None:
    """Left for whatever flushes next."""
    for held in db.identity_map.values():
        if isinstance(held, Person):
            held.name = f"Left {number}"


WRITES = (
    add, rename, rename_by_statement, remove, remove_by_statement, hold, only_on_object,
)  # fmt: skip
write = st.tuples(st.sampled_from(WRITES), st.integers(1, 6))
steps = st.recursive(
    write,
    lambda inner: st.tuples(
        st.sampled_from(("released", "refused", "closed")), st.lists(inner, max_size=5)
    ),
    max_leaves=25,
)


def take(db, step):
    how, what = step
    if callable(how):
        how(db, what)
        return
    # A clash inside ends the savepoint, as a refused form does.
    with suppress(Refused, Conflict), db.begin_nested() as savepoint:
        for each in what:
            take(db, each)
        if how == "refused":
            raise Refused("no")
        if how == "closed":
            savepoint.close()


def people(factory):
    with read_session(factory) as db:
        found = db.execute(select(PERSON)).mappings().all()
    return {
        key_of(PERSON, row): {name: plain(row[name]) for name in row if name in TOLD}
        for row in found
    }


def difference(before, after):
    """As an entry tells it: whole rows that came or went, the columns that moved of others."""
    told = {}
    for key in before.keys() | after.keys():
        old, new = before.get(key), after.get(key)
        if old is not None and new is not None:
            moved = [name for name in old if old[name] != new[name]]
            old, new = ({name: each[name] for name in moved} for each in (old, new))
        if old != new:
            told[key] = (old, new)
    return told


def rows_told(factory, after):
    with read_session(factory) as db:
        bodies = db.scalars(select(Change.body).where(Change.id > after)).all()
    (body,) = bodies or ('{"rows": []}',)
    found = {}
    for row in json.loads(body)["rows"]:
        old, new = row["before"], row["after"]
        if old is not None and new is not None:  # a column that moved and came back is no news
            old, new = ({n: each[n] for n in old if old[n] != new[n]} for each in (old, new))
        found[row["key"]] = (old, new)
    return found


@pytest.fixture
def factory(engine):
    return sessions(engine)


@settings(
    max_examples=tries(short=30, long=300),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(done=st.lists(steps, min_size=1, max_size=5))
def test_an_entry_tells_the_difference_of_the_tables_whatever_was_rolled_back(factory, done):
    with factory.kw["bind"].begin() as connection:
        connection.execute(delete(PERSON))
        for number in (1, 2, 3):
            connection.execute(
                insert(PERSON).values(
                    name=f"Old {number}", email=address(number), added_at=NOON, code_step=0
                )
            )
    before = people(factory)
    with read_session(factory) as db:
        last = db.scalars(select(Change.id).order_by(Change.id.desc())).first()
    with suppress(Conflict, Refused), write_session(factory) as db:
        for each in done:
            take(db, each)
    assert rows_told(factory, last) == difference(before, people(factory))


def test_what_a_savepoint_wrote_before_its_flush_clashed_is_in_no_entry(factory):
    with write_session(factory) as db:
        add(db, 1)
    with write_session(factory) as db:
        last = db.scalars(select(Change.id).order_by(Change.id.desc())).first()
        with suppress(Conflict), db.begin_nested():
            db.execute(update(Person).values(name="Renamed"))
            add(db, 1)
    assert rows_told(factory, last) == {}


def test_the_value_before_is_told_though_a_rollback_made_the_session_forget_it(factory):
    with write_session(factory) as db:
        add(db, 1)
    with write_session(factory) as db:
        last = db.scalars(select(Change.id).order_by(Change.id.desc())).first()
        held = db.scalars(select(Person)).one()
        with suppress(Refused), db.begin_nested():
            held.name = "Refused"
            db.flush()
            raise Refused("no")
        held.name = "Kept"
    assert rows_told(factory, last) == {held.id: ({"name": "New"}, {"name": "Kept"})}
