"""backup, restore and verify as people run them: what they print, and their exit statuses."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.conftest import ROOT, Run


@pytest.fixture
def copy(register: str, run: Run, tmp_path: Path) -> Path:
    path = tmp_path / "copy.zip"
    ended = run("backup", str(path))
    assert ended.status == 0, ended.err
    assert f"{path} holds " in ended.text
    assert " as of 20" in ended.text
    return path


@pytest.fixture
def again(copy: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The copy, brought back into the database that the commands now use."""
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{tmp_path / 'again' / 'store.db'}")
    ended = run("restore", str(copy))
    assert ended.status == 0, ended.err
    assert "The register of 20" in ended.text
    return tmp_path / "again" / "store.db"


def test_what_was_brought_back_verifies_and_lists_the_same(
    register: str, copy: Path, run: Run, again: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ended = run("verify", "--dates", "--photographs", "--against", str(copy))
    assert ended.status == 0, ended.err
    assert "stored due dates: as it should be" in ended.text
    assert "not looked at" not in ended.text
    asked = ("due", "--before", "2040-01-01")
    listed = run(*asked).text
    monkeypatch.setenv("DATABASE_URL", register)
    assert listed == run(*asked).text
    assert listed.count("\n") > 3


def test_verify_says_what_is_wrong_and_ends_with_1(
    register: str, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.store.copies.soundness.first_reading_astray", lambda _: "a fault")
    ended = run("verify")
    assert ended.status == 1
    assert ended.err == "readings and their events: a fault\n"
    assert "references between rows: as it should be" in ended.text
    assert "stored due dates: " not in ended.text  # nobody asked
    assert "not looked at: stored due dates" in ended.text
    assert "not looked at: photographs" in ended.text


def test_a_copy_overwrites_no_file(run: Run, copy: Path) -> None:
    ended = run("backup", str(copy))
    assert ended.status == 2
    assert "is there already" in ended.err


def test_bringing_back_overwrites_no_register(run: Run, copy: Path) -> None:
    ended = run("restore", str(copy))
    assert ended.status == 2
    assert "This database is not empty" in ended.err


@pytest.mark.parametrize(
    "args", [("backup", "none/copy.zip"), ("restore", "none.zip"), ("verify", "--against", "none")]
)
def test_a_file_that_cannot_be_used_is_one_sentence_and_3(
    run: Run, store: str, args: tuple[str, ...]
) -> None:
    ended = run(*args)
    assert ended.status == 3
    assert "cannot be used: No such file or directory" in ended.err
    assert ended.err.count("\n") == 1


def test_a_file_that_is_no_copy_is_2(run: Run, store: str, tmp_path: Path) -> None:
    (tmp_path / "letter").write_text("This is a letter.")
    for args in (
        ("restore", str(tmp_path / "letter")),
        ("verify", "--against", str(tmp_path / "letter")),
    ):
        ended = run(*args)
        assert ended.status == 2
        assert ended.err.startswith("letter is no copy of a register")


def test_no_copy_is_made_of_a_database_that_is_not_there(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{tmp_path / 'mistyped.db'}")
    assert run("backup", str(tmp_path / "copy.zip")).status == 3
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_a_copy_that_is_killed_leaves_no_file_of_that_name(register: str, tmp_path: Path) -> None:
    """Signal 9 at the first byte, where an ordinary end could still tidy up."""
    folder = tmp_path / "copies"
    folder.mkdir()
    with subprocess.Popen(
        [sys.executable, "-m", "app", "backup", str(folder / "copy.zip")],
        cwd=ROOT,
        env=os.environ | {"DATABASE_URL": register},
    ) as process:
        while not list(folder.iterdir()) and process.poll() is None:
            time.sleep(0.001)
        process.send_signal(signal.SIGKILL)
    left = [each.name for each in folder.iterdir()]
    if process.returncode:  # else it was quicker than we
        assert [name for name in left if not name.endswith(".part")] == []
        assert len(left) == 1
