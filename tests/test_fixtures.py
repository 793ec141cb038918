"""The fixtures themselves: what is missing is skipped by a person and fails where CI is set."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from playwright.sync_api import Page
from sqlalchemy import create_engine, text

from tests.fixtures.browser import strange
from tests.fixtures.postgres import binaries

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize(
    ("ci", "outcome"),
    [
        ("true", "1 error"),
        ("1", "1 error"),
        ("", "1 skipped"),
        ("false", "1 skipped"),
    ],
)
def test_a_browser_test_without_a_browser(tmp_path: Path, ci: str, outcome: str) -> None:
    inner = tmp_path / "test_inner.py"
    inner.write_text("def test_that_needs_it(browser):\n    assert browser\n")
    surroundings = os.environ | {"CI": ci, "CHROMIUM": str(tmp_path / "nowhere")}
    plugin = ["-rs", "-p", "tests.fixtures.browser", "--rootdir", tmp_path]
    command = [sys.executable, "-m", "pytest", *plugin, inner]
    run = subprocess.run(
        command, cwd=ROOT, env=surroundings, capture_output=True, text=True, check=False
    )
    assert outcome in run.stdout.splitlines()[-1]
    assert "apt-get install chromium" in run.stdout


@pytest.mark.parametrize(
    ("ci", "outcome"), [("true", pytest.fail.Exception), ("", pytest.skip.Exception)]
)
@pytest.mark.parametrize("version", [None, "9.6", "14"])  # none, and those too old
def test_a_postgresql_test_without_a_usable_server(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    version: str | None,
    ci: str,
    outcome: type[BaseException],
) -> None:
    monkeypatch.setenv("CI", ci)
    monkeypatch.setenv("PATH", "")
    if version:
        _installed(tmp_path, version)
    with pytest.raises(outcome, match="PostgreSQL 15 or newer is not on this machine"):
        binaries(tmp_path)


def test_the_newest_postgresql_is_used(tmp_path: Path) -> None:
    for version in ("9.6", "15", "17"):
        _installed(tmp_path, version)
    assert binaries(tmp_path) == tmp_path / "17" / "bin"


def _installed(versions: Path, version: str) -> None:
    folder = versions / version / "bin"
    folder.mkdir(parents=True)
    (folder / "initdb").touch()


def test_each_test_has_an_empty_database_of_its_own(engine_url: str) -> None:
    _leave_a_table_behind(engine_url)


def test_and_so_has_the_next(engine_url: str) -> None:
    _leave_a_table_behind(engine_url)


def _leave_a_table_behind(url: str) -> None:
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE leftover (id integer)"))
    engine.dispose()


def test_the_postgresql_of_the_tests_sorts_as_a_language_does(postgres_url: str) -> None:
    """So that a list leaning on the order of bytes is found out."""
    engine = create_engine(postgres_url)
    with engine.connect() as connection:
        assert connection.scalar(text("SELECT 'a' < 'B'")) is True
        assert connection.scalar(text("SELECT 'a' < 'B' COLLATE \"C\"")) is False
    engine.dispose()


@pytest.mark.parametrize(
    ("url", "is_strange"),
    [
        ("http://127.0.0.1:8000/cars", False),
        ("http://localhost:8000/cars", False),
        ("data:image/svg+xml,x", False),
        ("https://example.invalid/font.woff2", True),
        ("http://127.0.0.1.example.invalid/", True),
    ],
)
def test_a_call_to_another_host_is_noticed(url: str, is_strange: bool) -> None:
    assert strange(url) is is_strange


def test_the_desk_and_the_tablet_differ(page: Page, tablet: Page) -> None:
    for each in (page, tablet):
        each.set_content("<h1>Register</h1>")
    assert page.evaluate("[innerWidth, innerHeight, navigator.maxTouchPoints > 0]") == [
        1280,
        900,
        False,
    ]
    assert tablet.evaluate("[innerWidth, innerHeight, navigator.maxTouchPoints > 0]") == [
        820,
        1180,
        True,
    ]
