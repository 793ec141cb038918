"""Running commands: in this process for tables of cases, as a program for what only one shows."""

import io
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest

from app.cli import main

ROOT = Path(__file__).parents[2]
TODAY = date(2026, 11, 25)
NON_HAZARDOUS = "Vegetable oil,no,no"
CARS = f"""\
mark,number,specification,built_on,owner,commodity,hazardous,corrosive_or_reactive
ZQBX,3,DOT 111A100W1,2016-05-01,Invented Owner A,{NON_HAZARDOUS}
ZQAX,100,DOT 111A100W1,2016-05-01,Invented Owner A,{NON_HAZARDOUS}
ZQAX,20,DOT 111A100W1,2016-05-01,Invented Owner B,{NON_HAZARDOUS}
"""
EVENTS = """\
mark,number,on,items,facility
ZQAX,100,2024-06-01,visual;structural_integrity,Invented Works
"""


@dataclass(frozen=True)
class Ran:
    """What a command left behind."""

    status: int
    out: bytes
    err: str

    @property
    def text(self) -> str:
        return self.out.decode()


Run = Callable[..., Ran]


@pytest.fixture
def run(
    capsysbinary: pytest.CaptureFixture[bytes], monkeypatch: pytest.MonkeyPatch, log_as_it_was: None
) -> Run:
    """Runs a command in this process; a wrong argument ends it as it would end the program."""

    def running(*args: str, stdin: bytes = b"") -> Ran:
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin)))
        try:
            status = main(args)
        except SystemExit as ended:
            status = int(ended.code or 0)
        out, err = capsysbinary.readouterr()
        return Ran(status, out, err.decode())

    return running


@pytest.fixture
def program() -> Run:
    """Runs a command as people do, as a program of its own."""

    def running(*args: str, stdin: bytes = b"", **settings: str) -> Ran:
        ended = subprocess.run(
            [sys.executable, "-m", "app", *args],
            input=stdin,
            capture_output=True,
            check=False,
            cwd=ROOT,
            env=os.environ | settings,
        )
        return Ran(ended.returncode, ended.stdout, ended.stderr.decode())

    return running


@pytest.fixture
def store(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """An empty store that the commands use, on 25 November 2026."""
    monkeypatch.setenv("DATABASE_URL", sqlite_url)
    for command in ("bring_in", "due", "refresh_due"):
        monkeypatch.setattr(f"app.cli.{command}.today_in", lambda zone: TODAY)
    return sqlite_url


@pytest.fixture
def register(store: str, run: Run, tmp_path: Path) -> str:
    """The same with three cars built on one day, of which one was inspected since."""
    for kind, content in (("cars", CARS), ("events", EVENTS)):
        path = tmp_path / f"{kind}.csv"
        path.write_text(content)
        assert run("import", kind, str(path)).status == 0
    return store
