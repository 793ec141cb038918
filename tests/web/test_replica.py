"""Reading from a replica: what may lag, whose own changes are seen, and what is never read there."""

import random
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime, timedelta
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import make_url

from app.main import create_app
from app.settings import Settings
from app.store.db import make_engine, sessions
from tests.faults.stores import Cluster, cluster
from tests.fixtures.people import NAME, beforehand, let_in
from tests.fixtures.postgres import fresh_database
from tests.fixtures.web import NOW, TestClient, asking
from tests.length import tries

ANOTHER = {"session": "a-key-of-another-person"}
AWAY = "postgresql+psycopg://nobody@127.0.0.1:1/none"
pytestmark = pytest.mark.postgres


@contextmanager
def two_people(
    url: str, replica: str, clock: Callable[[], datetime] = lambda: NOW
) -> Iterator[tuple[TestClient, TestClient]]:
    app = create_app(Settings(database_url=url, database_url_read=replica), clock=clock)
    with asking(app) as one, asking(app, ANOTHER) as other:
        yield one, other


def prepare(url: str, name: str = NAME) -> None:
    engine = make_engine(url)
    with beforehand(sessions(engine)) as db:
        let_in(db, name)
        let_in(db, "Another Reader", ANOTHER["session"])
    engine.dispose()


def add_car(client: TestClient, number: int) -> int:
    body = {
        "mark": "ZQRP", "number": number, "specification": "DOT 111A100W1",
        "built_on": "2009-06-03", "owner": "Example Owner",
        "service": {"commodity": "Example Oil", "hazardous": False, "corrosive_or_reactive": False},
    }  # fmt: skip
    answer = client.post("/api/v1/cars", json=body)
    assert answer.status_code == 201, answer.text
    return answer.json()["id"]


def lists(client: TestClient, number: int) -> bool:
    found = client.get(f"/fleet.csv?q=ZQRP+{number}")
    assert found.status_code == 200
    return f"ZQRP,{number}," in found.text


def answers_about(client: TestClient, number: int) -> bool:
    return client.get(f"/api/v1/cars/ZQRP/{number}/loading").status_code == 200


@pytest.fixture
def still(postgres_url: str, postgres_template: str) -> Iterator[tuple[str, str]]:
    """A store, and a copy of it that never learns of what is recorded later."""
    with fresh_database(postgres_url, make_url(postgres_template).database or "") as url:
        prepare(url)
        with fresh_database(postgres_url, make_url(url).database or "") as copy:
            yield url, copy


def test_lists_may_lag_for_others_for_some_seconds_and_never_for_oneself(
    still: tuple[str, str],
) -> None:
    moment = [NOW]
    with two_people(*still, clock=lambda: moment[0]) as (one, other):
        assert not lists(one, 1)
        car = add_car(other, 1)
        assert lists(other, 1), "one's own change is seen at once"
        assert not lists(one, 1), "that of others may come later: this was read from the replica"
        assert one.get(f"/cars/{car}").status_code == 200, "a car is not read from there"
        assert answers_about(one, 1), "nor is what decides about loading"
        moment[0] = NOW + timedelta(seconds=6)
        assert lists(one, 1), "a replica so far behind is not read from"


def test_a_replica_that_is_away_or_of_another_register_or_version_is_not_read_from(
    still: tuple[str, str], postgres_url: str, postgres_template: str
) -> None:
    url, copy = still
    with two_people(url, AWAY) as (one, other):
        add_car(other, 1)
        assert lists(one, 1)
    with fresh_database(postgres_url, make_url(postgres_template).database or "") as another:
        prepare(another, "Nobody Here")
        with two_people(another, "") as (there, _), two_people(url, another) as (one, _):
            add_car(there, 77)
            assert not lists(one, 77), "the cars of another register"
    add = make_url(copy).set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(add, autocommit=True) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '0001'")
    with two_people(url, copy) as (one, other):
        add_car(other, 2)
        assert lists(one, 2)


@contextmanager
def streaming(ours: Cluster, home: Path) -> Iterator[Cluster]:
    """A second server that follows the first."""
    replica = ours.replica(home)
    replica.start()
    try:
        yield replica
    finally:
        replica.stop()


@pytest.mark.slow
def test_whatever_a_replica_lags_behind_one_sees_ones_own_changes_and_loading_sees_all(
    tmp_path: Path,
) -> None:
    """A real one, whose following is held up and let go on at random."""
    dice, from_there = random.Random(7), 0
    with ExitStack() as opened:
        ours = opened.enter_context(cluster())
        url = ours.new_store()
        prepare(url)
        replica = opened.enter_context(streaming(ours, ours.home / "replica"))
        one, other = opened.enter_context(two_people(url, replica.address_of(url)))
        following = opened.enter_context(replica.connected())
        for number in range(1, tries(9, 300)):
            said = dice.choice((b"pg_wal_replay_pause()", b"pg_wal_replay_resume()"))
            following.execute(b"SELECT " + said)
            add_car(one, number)
            assert lists(one, number)
            assert answers_about(other, number)
            from_there += not lists(other, number)
    assert from_there, "nothing was read from the replica while it lagged"
