"""verify --photographs as people run it, on a register to which a tablet sent a picture."""

from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi import FastAPI

from tests.cli.conftest import Run
from tests.fixtures.desk import Desk, found


@pytest.fixture
def kept(desk: Desk, web_app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The file of the one photograph in the register that the commands use."""
    tablet = found(desk)
    desk.send(tablet)
    desk.send_picture(tablet.report)
    monkeypatch.setenv("DATABASE_URL", str(web_app.state.engine.url))
    [path] = (web_app.state.attachments.folder / "kept").rglob("?" * 64)
    return path


def altered(path: Path) -> None:
    """One bit of it, as a bad disk would leave it."""
    held = bytearray(path.read_bytes())
    held[len(held) // 2] ^= 0x01
    path.write_bytes(held)


def unreadable(path: Path) -> None:
    path.unlink()
    path.symlink_to(path)


def test_photographs_that_are_what_was_kept_are_as_they_should_be(run: Run, kept: Path) -> None:
    ended = run("verify", "--photographs")
    assert (ended.status, ended.err) == (0, "")
    assert "photographs: as it should be\n" in ended.text
    assert "not looked at: photographs" not in ended.text


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (Path.unlink, "is missing"),
        (altered, "does not have the bytes that were recorded"),
        (lambda path: path.write_bytes(b""), "does not have the bytes that were recorded"),
        (unreadable, "cannot be read"),
    ],
)
def test_a_photograph_that_is_not_what_was_kept_is_named(
    run: Run, kept: Path, spoil: Callable[[Path], object], said: str
) -> None:
    spoil(kept)
    ended = run("verify", "--photographs")
    assert ended.status == 1
    assert ended.err == (
        f"photographs: car ZQKX 1045 (its key is 1): photograph {kept.name} {said}\n"
    )


def test_they_are_looked_for_where_the_setting_says(
    run: Run, kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "elsewhere"
    kept.parents[2].rename(place)
    assert "is missing" in run("verify", "--photographs").err
    assert run("verify").status == 0  # nobody asked
    monkeypatch.setenv("ATTACHMENTS", str(place))
    assert run("verify", "--photographs").status == 0


def test_a_copy_takes_them_from_where_the_setting_says_and_brings_them_back_there(
    run: Run, kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place, copy = tmp_path / "elsewhere", str(tmp_path / "copy.zip")
    kept.parents[2].rename(place)
    monkeypatch.setenv("ATTACHMENTS", str(place))
    assert " 2 attachments," in run("backup", copy).text  # with its small picture
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{tmp_path / 'again.db'}")
    assert f"{place} is not empty" in run("restore", copy).err
    monkeypatch.setenv("ATTACHMENTS", str(tmp_path / "again"))
    assert run("restore", copy).status == 0
    assert run("verify", "--photographs").status == 0
