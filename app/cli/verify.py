"""`verify`: is the register sound? Changes nothing, and may run beside a program that writes."""

from __future__ import annotations

import argparse
from pathlib import Path

from app.actions.copies import attachments_of
from app.actions.verifying import Asked, verify
from app.cli.backup import file_trouble
from app.cli.progress import Progress
from app.cli.register import register, today_in
from app.cli.status import FINE, Unusable, tell
from app.files import archive
from app.files.archive import Manifest
from app.settings import read_settings
from app.store import proof
from app.store.copies.reading import steady
from app.store.db import read_session, sessions
from app.store.proof import Head

UNSOUND = 1
NOT_PROVED = (
    "not looked at: stored due dates with their states and rules, the class of each specification, "
    "and what falls due first of each car; --dates works them out anew"
)
NOT_READ = "not looked at: photographs; --photographs reads the file of each"
EPILOG = """\
example:
  python -m app verify --dates --against copies/register-2026-11-25.zip

Checks the file of the database, what its rows name, what keeps the record from being changed, that
the record of change is whole, that rows still say what it tells of them, and that owners, names and
who sees which car follow from what is recorded. What was cut off at its end shows only against a
head that was kept elsewhere (python -m app head): --head FILE. Only --dates proves the due dates: it
works out those of every car anew and compares them with those stored; for a large fleet that takes
minutes. Run refresh-due first when the day has changed since it last ran. Only --photographs reads
photographs, each of them from where ATTACHMENTS says, and compares their bytes with those recorded.

exit statuses:
  0  everything that was checked is as it should be
  1  something is not: the first thing wrong of each check is one line on stderr
  2  what was given is wrong; each fault is one line on stderr
  3  the database or a file cannot be used: locked, from a newer version, unreadable"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--against", metavar="FILE", type=Path, help="a copy: no row of the record is lost since")
    add("--head", metavar="FILE", type=Path, help="a kept head: nothing is cut off or replaced")
    add("--dates", action="store_true", help="work out every stored due date anew")
    add("--photographs", action="store_true", help="read every photograph: each is what was kept")


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    asked = Asked(
        today_in(settings.time_zone), _manifest(args.against), args.dates, _head(args.head),
        attachments_of(settings.database_url, settings.attachments) if args.photographs else None,
    )  # fmt: skip
    wrong = 0
    with (
        register(settings) as factory,
        Progress() as progress,
        read_session(sessions(steady(factory.kw["bind"]))) as db,
    ):
        for name, found in verify(db, asked, progress):
            wrong += bool(found)
            _say(name, found)
    if not args.dates:
        print(NOT_PROVED)
    if not args.photographs:
        print(NOT_READ)
    return UNSOUND if wrong else FINE


def _say(name: str, found: str | None) -> None:
    if found:
        tell(f"{name}: {found}")
    else:
        print(f"{name}: as it should be")


def _head(path: Path | None) -> Head | None:
    if path is None:
        return None
    try:
        return proof.read_head(path.read_text())
    except OSError as wrong:
        raise Unusable(f"{path} cannot be read: {wrong.strerror or wrong}.") from None
    except ValueError:
        raise Unusable(
            f"{path} is no head of a record of change, as head --to writes it."
        ) from None


def _manifest(path: Path | None) -> Manifest | None:
    if path is None:
        return None
    with file_trouble(path), archive.opened(path) as copy:
        return copy.manifest
