"""hand-over and take-over as people run them: from one register into another, what they print, their exit statuses."""

from pathlib import Path

import pytest

from app.access import EVERYTHING
from app.store.db import make_engine, sessions
from tests.cli.conftest import Run
from tests.store.cast import add_car

BUYER = "Marrow Creek Cars (invented)"


@pytest.fixture
def register(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """A register with one car, which the commands use."""
    engine = make_engine(sqlite_url)
    with sessions(engine)(info={"reach": EVERYTHING}) as db:
        add_car(db)
        db.commit()
    engine.dispose()
    monkeypatch.setenv("DATABASE_URL", sqlite_url)
    return sqlite_url


def hand_over(run: Run, out: Path, car: str = "ZQKX 1045", to: str = BUYER):
    return run("hand-over", car, "--to", to, "--on", "2026-11-25", "--out", str(out))


@pytest.fixture
def elsewhere(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Lets the commands use another register, which is empty."""

    def go() -> None:
        monkeypatch.setenv("DATABASE_URL", f"sqlite:///{tmp_path / 'elsewhere' / 'store.db'}")
        assert run("migrate").status == 0

    return go


def test_a_car_goes_from_one_register_into_another(register, run, tmp_path, elsewhere):
    out = tmp_path / "car.zip"
    handed = hand_over(run, out)
    assert handed.status == 0, handed.err
    assert f"ZQKX 1045 is handed over to {BUYER} from 2026-11-25 on." in handed.text
    assert "until 2027-11-25 the certificate of construction" in handed.text
    digest = handed.text.split("SHA-256 of the file: ")[1].split()[0]
    elsewhere()
    looked = run("take-over", str(out), "--dry-run")
    assert looked.status == 0, looked.err
    assert "Nothing was stored." in looked.text
    taken = run("take-over", str(out), "--sum", digest)
    assert taken.status == 0, taken.err
    assert "each is the same, with the same reasons" in taken.text
    assert "ZQKX 1045 is in the register: import 1." in taken.text
    assert "ZQKX,1045" in run("due", "--before", "2040-01-01").text
    verified = run("verify", "--dates")
    assert verified.status == 0, verified.err


def test_the_former_register_is_sound_and_lists_the_car_no_longer(register, run, tmp_path):
    assert hand_over(run, tmp_path / "car.zip").status == 0
    assert "ZQKX,1045" not in run("due", "--before", "2040-01-01").text
    verified = run("verify", "--dates")
    assert verified.status == 0, verified.err


def test_another_file_than_the_one_meant_is_refused(register, run, tmp_path, elsewhere):
    out = tmp_path / "car.zip"
    hand_over(run, out)
    elsewhere()
    ended = run("take-over", str(out), "--sum", "0" * 64)
    assert ended.status != 0
    assert "is not the file that was meant" in ended.err


@pytest.mark.parametrize(
    ("car", "to", "said"),
    [
        ("ZQKX 7", BUYER, "There is no car ZQKX 7"),
        ("ZQKX", BUYER, "is not a mark and number"),
        ("ZQKX 1045", " ", "say to which company"),
    ],
)
def test_what_cannot_be_handed_over_leaves_no_file(register, run, tmp_path, car, to, said):
    out = tmp_path / "car.zip"
    ended = hand_over(run, out, car, to)
    assert ended.status != 0
    assert said in ended.err
    assert not out.exists()


def test_a_file_that_is_there_stays_and_the_car_too(register, run, tmp_path):
    out = tmp_path / "car.zip"
    out.write_text("mine")
    ended = hand_over(run, out)
    assert ended.status != 0
    assert "is there already" in ended.err
    assert out.read_text() == "mine"
    assert "ZQKX,1045" in run("due", "--before", "2040-01-01").text
