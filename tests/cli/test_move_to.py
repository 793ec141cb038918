"""move-to as people run it: what it prints, its exit statuses, and what keeps a register from being moved."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import make_url

from tests.cli.conftest import Run
from tests.fixtures.postgres import fresh_database

LISTED = ("due", "--before", "2040-01-01")


@pytest.fixture
def there(postgres_url: str) -> Iterator[str]:
    """The address of an empty PostgreSQL."""
    with fresh_database(postgres_url) as url:
        yield url


def test_what_was_moved_verifies_and_lists_the_same(
    register: str, there: str, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    listed = run(*LISTED).text
    ended = run("move-to", there)
    assert ended.status == 0, ended.err
    assert "Each was read again there and is the same." in ended.text
    assert "Head of the record of change, there as here: 3 " in ended.text
    assert "Set DATABASE_URL to that address" in ended.text
    assert "Attachments" not in ended.text
    again = run("move-to", there)
    assert (again.status, again.out) == (2, b"")
    assert "This database is not empty" in again.err
    monkeypatch.setenv("DATABASE_URL", there)
    assert run("verify", "--dates").status == 0
    assert run(*LISTED).text == listed
    assert listed.count("\n") > 3


def test_what_lies_beside_the_file_is_told_of(register: str, there: str, run: Run) -> None:
    beside = Path(f"{make_url(register).database}.attachments")
    beside.mkdir()
    (beside / "picture.jpg").write_bytes(b"a picture")
    key = beside.with_name("secret.key")
    key.write_text("nobody’s business")
    ended = run("move-to", there)
    assert f"Attachments stay where they are. Set ATTACHMENTS to {beside}\n" in ended.text
    assert f"Set SECRET_KEY to what is in {key}, or people" in ended.text
    assert "business" not in ended.text


@pytest.mark.parametrize(
    ("url", "status", "said"),
    [
        ("sqlite:///other.db", 2, "A register is moved into a PostgreSQL"),
        ("mysql://somebody@localhost/register", 2, "A register is moved into a PostgreSQL"),
        ("register", 3, "That is no address of a database"),
        # No server: a folder without a socket. The password is nobody's business.
        ("postgresql://me:secret@/register?host=/nowhere", 3, "me:***@/register?host=%2Fnowhere cannot be used"),
    ],
)  # fmt: skip
def test_what_is_no_postgresql_or_not_there(
    register: str, run: Run, url: str, status: int, said: str
) -> None:
    ended = run("move-to", url)
    assert (ended.status, ended.out) == (status, b"")
    assert said in ended.err
    assert "secret" not in ended.err


def test_a_store_that_is_not_migrated_is_not_moved(
    tmp_path: Path, run: Run, there: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "old.db"
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{path}")
    assert "There is no database at" in run("move-to", there).err
    path.touch()
    ended = run("move-to", there)
    assert ended.status == 3
    assert "python -m app migrate" in ended.err
