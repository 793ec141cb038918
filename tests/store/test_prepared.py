"""On PostgreSQL statements stay prepared from one reading to the next, and give way to what others alter."""

import pytest
from sqlalchemy import make_url, select, text
from sqlalchemy.exc import DBAPIError

from app.store.db import make_engine, read_session, sessions
from app.store.prepared import by_key, of_cars
from app.store.tables import Party
from tests.fixtures.postgres import fresh_database

PREPARED = text(
    "select count(*) from pg_prepared_statements where statement like 'SELECT party.name%'"
)
PLANNED_ONCE = text(
    "select sum(generic_plans) from pg_prepared_statements where statement like 'SELECT party.name%'"
)
OFTEN = 12  # PostgreSQL plans five times by what is asked before it plans once for all


@pytest.fixture
def url(postgres_template):
    with fresh_database(postgres_template, make_url(postgres_template).database) as url:
        yield url


@pytest.fixture
def factory(url):
    """One connection, used again and again."""
    engine = make_engine(url)
    yield sessions(engine)
    engine.dispose()


def names(factory) -> list[str]:
    with read_session(factory) as db:
        return list(db.scalars(by_key(select(Party.name).order_by(Party.name))))


def prepared(factory) -> int:
    with read_session(factory) as db:
        return db.scalar(PREPARED)


def test_a_statement_that_comes_again_is_planned_once_though_readings_are_rolled_back(factory):
    for _ in range(3):
        names(factory)
    assert prepared(factory) == 1


def test_what_asks_by_a_key_is_planned_once_for_all(factory):
    one = select(Party.name).where(Party.id == 1)
    for _ in range(OFTEN):
        with read_session(factory) as db:
            db.execute(one, execution_options=of_cars([1]))
    with read_session(factory) as db:
        assert db.scalar(PLANNED_ONCE) > 0


def test_what_asks_for_a_list_is_planned_each_time_by_what_it_asks(factory):
    for _ in range(OFTEN):
        with read_session(factory) as db:
            db.execute(select(Party.name).where(Party.id.in_([1, 2])))
            some = select(Party.name).where(Party.id.in_([1, 2, 3]))
            db.execute(some, execution_options=of_cars([1, 2, 3]))
    assert prepared(factory) == 0


def test_what_is_fetched_little_by_little_is_fetched_all_the_same(factory):
    with read_session(factory) as db:
        streamed = by_key(select(Party.name)).execution_options(stream_results=True)
        assert db.scalars(streamed).all() == []


def test_what_is_rolled_back_is_gone_all_the_same(factory):
    for _ in range(3):
        with read_session(factory) as db:
            db.add(Party(name="Invented Owner"))
            db.flush()
        assert names(factory) == []


def test_statements_are_prepared_anew_after_one_that_failed(factory):
    for _ in range(2):
        names(factory)
    with pytest.raises(DBAPIError), read_session(factory) as db:
        db.execute(text("select 1/0"))
    assert prepared(factory) == 0
    assert names(factory) == []


def test_a_column_that_is_altered_meanwhile_costs_one_answer_at_most(factory, url):
    for _ in range(2):
        names(factory)
    other = make_engine(url)
    with other.begin() as connection:
        connection.execute(text("alter table party alter column name type text"))
        connection.execute(text("alter table party add column invented integer"))
    other.dispose()
    with pytest.raises(DBAPIError, match="must not change result type"):
        names(factory)
    assert names(factory) == []
