"""`evidence`: a packet of cars in a folder, as of a day and as known at a moment."""

from datetime import UTC, date, datetime
from hashlib import sha256
from pathlib import Path
from zipfile import ZipFile

import pytest

from app.actions import cars, events
from app.actions.changes import NewEvent, NewStanding
from app.actions.stamp import Stamp
from app.store.cars import by_name
from app.store.db import make_engine, sessions, write_session
from tests.cli.conftest import TODAY, Run
from tests.cli.test_looking_back import LATER
from tests.files.packet_reading import Pdf, squashed


@pytest.fixture(autouse=True)
def on_the_day(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.cli.evidence.today_in", lambda zone: TODAY)


def test_a_packet_is_written_with_its_pdf_beside_it(
    run: Run, register: str, tmp_path: Path
) -> None:
    ended = run("evidence", "zqax-100", "--as-of", "2026-11-25", "--out", str(tmp_path / "audit"))
    assert (ended.status, ended.err) == (0, "")
    named = [Path(line) for line in ended.text.splitlines()]
    assert [each.name for each in named] == [
        "evidence-ZQAX-100-2026-11-25.zip", "evidence-ZQAX-100-2026-11-25.pdf",
    ]  # fmt: skip
    with ZipFile(named[0]) as packed:
        for line in packed.read("SHA256SUMS").decode().splitlines():
            digest, _, name = line.partition("  ")
            assert sha256(packed.read(name)).hexdigest() == digest
        assert packed.read("packet.pdf") == named[1].read_bytes()
    words = Pdf(named[1].read_bytes()).words
    assert squashed("ZQAX 100") in words
    assert squashed("Invented Works") in words
    again = run("evidence", "ZQAX 100", "--as-of", "2026-11-25", "--out", str(tmp_path / "audit"))
    assert again.status == 2
    assert "a packet overwrites nothing" in again.err


def test_a_car_that_was_sold_still_has_its_papers(run: Run, register: str, tmp_path: Path) -> None:
    with write_session(sessions(make_engine(register))) as db:
        car = by_name(db, "ZQBX", 3)
        assert car is not None
        sold = NewStanding("sold", "", date(2026, 11, 24))
        cars.change_standing(db, car.id, sold, Stamp("Ida Example", datetime.now(UTC), TODAY))
    ended = run("evidence", "ZQBX 3", "--out", str(tmp_path))
    assert (ended.status, ended.err) == (0, "")


def test_several_cars_are_one_packet(run: Run, register: str, tmp_path: Path) -> None:
    ended = run("evidence", "ZQAX 100", "ZQBX 3", "--out", str(tmp_path))
    assert ended.status == 0
    name = "evidence-2-cars-2026-11-25"
    assert {each.name for each in tmp_path.glob(f"{name}*")} == {f"{name}.zip", f"{name}.pdf"}


def test_what_was_recorded_after_the_moment_does_not_count(
    run: Run, register: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with write_session(sessions(make_engine(register))) as db:
        car = by_name(db, "ZQBX", 3)
        assert car is not None
        event = NewEvent(date(2026, 11, 1), ("visual",), facility="Invented Yard")
        events.record_event(db, car.id, event, Stamp("Ida Example", LATER, TODAY))
    monkeypatch.setattr("app.cli.evidence.moment", lambda: LATER)
    told = {}
    for moment in ("2099-11-27T07:59", "2099-11-27T08:00"):
        asked = ("--as-of", "2026-11-25", "--known-on", moment)
        ended = run("evidence", "ZQBX 3", *asked, "--out", str(tmp_path))
        assert ended.status == 0, ended.err
        told[moment] = Pdf(Path(ended.text.splitlines()[1]).read_bytes()).words
    before, after = told.values()
    assert squashed("as known at 2099-11-27 07:59 (UTC)") in before
    for words in ("Invented Yard", "2036-11-01"):
        assert squashed(words) not in before
        assert squashed(words) in after
    assert squashed("Visual inspection overdue 2026-05-01") in before


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("ZQZZ 1",), "car: ZQZZ 1 is not in the register"),
        (("no name",), "car: found 'no name'"),
        (("ZQAX 100", "--known-on", "noon"), "--known-on: want a day YYYY-MM-DD"),
        (
            ("ZQAX 100", "--known-on", "2020-01-01"),
            "By all that was known then, ZQAX 100 was not in the register",
        ),
        (("ZQAX 100", "--as-of", "1990-01-01"), "was not built yet on 1990-01-01"),
    ],
)
def test_what_cannot_be_packed_is_told_and_leaves_nothing(
    run: Run, register: str, tmp_path: Path, given: tuple[str, ...], said: str
) -> None:
    ended = run("evidence", *given, "--out", str(tmp_path / "audit"))
    assert ended.status == 2, ended.err
    assert said.rpartition(": ")[2] in ended.err
    assert not list(tmp_path.glob("audit/*"))


def test_a_folder_that_cannot_be_made_is_told(run: Run, register: str, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    ended = run("evidence", "ZQAX 100", "--out", str(tmp_path / "file" / "audit"))
    assert ended.status == 3
    assert "cannot be made" in ended.err
