"""Before processes are forked the usual pages are answered once; what stays of it is only what was made ready."""

import asyncio
import shutil
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import make_url

from app.main import create_app, create_rehearsed_app, routes_with
from app.settings import Settings
from app.store.db import make_engine, read_session, sessions
from app.web.admission import admitted
from app.web.rehearsing import addresses, rehearse, somebody
from app.web.rendering import TEMPLATES
from tests.fixtures.postgres import fresh_database

Made = TypeVar("Made")


@pytest.fixture
def demo_url(demo_template: Path, tmp_path: Path) -> str:
    return f"sqlite:///{shutil.copyfile(demo_template, tmp_path / 'store.db')}"


@pytest.fixture
def on_postgres(postgres_url: str, postgres_template: str) -> Iterator[str]:
    with fresh_database(postgres_url, make_url(postgres_template).database or "") as url:
        yield url


def in_a_thread(done: Callable[[], Made]) -> Made:
    """Whatever other tests of this process left running in its main one."""
    with ThreadPoolExecutor(1) as hands:
        return hands.submit(done).result()


@pytest.fixture
def no_templates(monkeypatch: pytest.MonkeyPatch) -> None:
    assert TEMPLATES.cache is not None
    monkeypatch.setattr(TEMPLATES, "cache", TEMPLATES.cache.copy())
    TEMPLATES.cache.clear()


def test_each_page_that_is_rehearsed_is_answered(demo_url: str) -> None:
    app = create_app(Settings(database_url=demo_url), routes=routes_with({admitted: somebody}))
    with read_session(app.state.sessions) as db:
        asked = addresses(db)
    answered = dict(zip(asked, in_a_thread(lambda: asyncio.run(rehearse(app, asked))), strict=True))
    assert set(answered.values()) == {200}, answered
    assert len(asked) > 10


@pytest.mark.usefixtures("no_templates")
def test_a_rehearsed_program_lets_nobody_in_has_all_ready_and_holds_no_connection(
    demo_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DATABASE_URL", demo_url)
    threads = threading.active_count()
    app = in_a_thread(create_rehearsed_app)
    assert threading.active_count() == threads
    assert app.state.engine.pool.checkedin() == app.state.engine.pool.checkedout() == 0
    assert len(TEMPLATES.cache or ()) == len(TEMPLATES.list_templates())
    assert TestClient(app).get("/due", follow_redirects=False).status_code == 303
    assert TestClient(app).get("/api/v1/due").status_code == 401


def test_a_page_that_fails_is_told_of_and_the_others_are_answered(
    demo_url: str, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = create_app(Settings(database_url=demo_url), routes=routes_with({admitted: somebody}))
    monkeypatch.delitem(TEMPLATES.globals, "counted")
    answered = in_a_thread(lambda: asyncio.run(rehearse(app, ["/due", "/health"], 2)))
    assert answered == [500, 200, 500, 200]
    assert "/due could not be answered" in caplog.text


def test_each_connection_to_postgresql_is_asked_before_anybody_asks(
    on_postgres: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DATABASE_URL", on_postgres)
    app = in_a_thread(create_rehearsed_app)
    assert app.state.engine.pool.checkedin() == 0
    with TestClient(app):
        assert app.state.engine.pool.checkedin() == app.state.settings.database_connections


def test_a_rehearsal_changes_nothing(demo_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def whole() -> str:
        engine = make_engine(demo_url)
        with read_session(sessions(engine)) as db:
            dump = "\n".join(db.connection().connection.iterdump())  # type: ignore[attr-defined]
        engine.dispose()
        return dump

    before = whole()
    monkeypatch.setenv("DATABASE_URL", demo_url)
    in_a_thread(create_rehearsed_app)
    assert whole() == before


def test_a_store_that_is_away_is_served_as_soon_as_it_is_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{tmp_path / 'nowhere' / 'store.db'}")
    assert TestClient(in_a_thread(create_rehearsed_app)).get("/health").status_code == 200
