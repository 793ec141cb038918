"""What the worker clears up by itself: pieces of photographs of which the rest never came, and old packets."""

import os
import time
from pathlib import Path

import pytest

from app.actions.copies import attachments_of
from app.errors import Away
from app.jobs import worker
from app.pictures import Arriving
from app.settings import Settings

DAY = 24 * 60 * 60


@pytest.mark.parametrize(("days", "left"), [(13, 3), (15, 0)])
def test_pieces_are_forgotten_two_weeks_after_the_last_one_came(
    tmp_path: Path, days: int, left: int
) -> None:
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'store.db'}")
    arriving = Arriving(attachments_of(settings.database_url), "1", "0" * 64)
    arriving.take(0, b"abc")
    then = time.time() - days * DAY
    for each in (tmp_path / "store.db.attachments").rglob("*"):
        os.utime(each, (then, then))
    worker.clear_up(settings)
    assert arriving.received() == left


@pytest.mark.parametrize(("days", "left"), [(13, 1), (15, 0)])
def test_packets_are_forgotten_two_weeks_after_they_were_made(
    tmp_path: Path, days: int, left: int
) -> None:
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'store.db'}")
    kept = attachments_of(settings.database_url)
    kept.put("packets/job.zip", b"a packet")
    kept.put("kept/ab/abcd", b"a photograph, which stays")
    then = time.time() - days * DAY
    for each in (tmp_path / "store.db.attachments").rglob("*"):
        os.utime(each, (then, then))
    worker.clear_up(settings)
    assert len(list(kept.files("packets"))) == left
    assert kept.read("kept/ab/abcd")


def test_where_they_lie_may_be_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def away(*_: object) -> int:
        raise Away

    monkeypatch.setattr("app.actions.pictures.clear_up", away)
    worker.clear_up(Settings(database_url=f"sqlite:///{tmp_path / 'store.db'}"))
    assert "cannot be reached" in caplog.text
