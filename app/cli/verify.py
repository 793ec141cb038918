"""`verify`: is the register sound? Changes nothing, and may run beside a program that writes."""

from __future__ import annotations

import argparse
from pathlib import Path

from app.actions.verifying import Asked, verify
from app.cli.backup import file_trouble
from app.cli.progress import Progress
from app.cli.register import register, today_in
from app.cli.status import FINE, tell
from app.files import archive
from app.files.archive import Manifest
from app.settings import read_settings
from app.store.copies.reading import steady
from app.store.db import read_session, sessions

UNSOUND = 1
EPILOG = """\
example:
  python -m app verify --dates --against copies/register-2026-11-25.zip

Checks the file of the database, what its rows name, and what keeps the record from being changed.
--dates works out the due dates of every car anew and compares them with those stored; for a large
fleet that takes minutes. Run refresh-due first when the day has changed since it last ran.

exit statuses:
  0  everything that was checked is as it should be
  1  something is not: the first thing wrong of each check is one line on stderr
  2  what was given is wrong; each fault is one line on stderr
  3  the database or a file cannot be used: locked, from a newer version, unreadable"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--against", metavar="FILE", type=Path, help="a copy: no row of the record is lost since")
    add("--dates", action="store_true", help="work out every stored due date anew")


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    asked = Asked(today_in(settings.time_zone), _manifest(args.against), args.dates)
    wrong = 0
    with (
        register(settings) as factory,
        Progress() as progress,
        read_session(sessions(steady(factory.kw["bind"]))) as db,
    ):
        for name, found in verify(db, asked, progress):
            wrong += bool(found)
            _say(name, found)
    return UNSOUND if wrong else FINE


def _say(name: str, found: str | None) -> None:
    if found:
        tell(f"{name}: {found}")
    else:
        print(f"{name}: as it should be")


def _manifest(path: Path | None) -> Manifest | None:
    if path is None:
        return None
    with file_trouble(path), archive.opened(path) as copy:
        return copy.manifest
