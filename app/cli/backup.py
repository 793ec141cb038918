"""`backup`: a copy of the whole register in one file, while the program runs and writes."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from app.actions import copies
from app.cli.progress import Progress
from app.cli.register import moment, store_of_any_version
from app.cli.status import FINE, STATUSES, Unusable
from app.settings import read_settings

EPILOG = f"""\
example:
  python -m app backup copies/register-2026-11-25.zip

The copy is of one moment, however much is recorded meanwhile, and has its name only when it is
whole and on the disk; what is left of one that was stopped ends in .part. No file is overwritten.
It holds everything, also of those who may not see each other's cars: only its owner can read it.
Photographs go along, from where ATTACHMENTS or --attachments says; else from the folder beside an
SQLite database that is named like it with .attachments, or from data/attachments.
Signed-in browsers do not: after a copy is brought back, people sign in anew.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("file", metavar="FILE", type=Path, help="where to write it; must not be there yet")
    add_attachments(parser, "whose files go along")


def add_attachments(parser: argparse.ArgumentParser, what: str) -> None:
    parser.add_argument(
        "--attachments", metavar="PLACE",
        help=f"the folder or object store {what}, where it is another than ATTACHMENTS says",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    place = copies.place_of(settings.database_url, args.attachments or settings.attachments)
    with file_trouble(args.file), store_of_any_version(settings) as engine, Progress() as tell:
        made = copies.keep(engine, place, args.file, moment(), tell)
    print(
        f"{args.file} holds {made.rows:,} rows of {len(made.tables)} tables and "
        f"{len(made.attachments):,} attachments, as of {made.taken_at:%Y-%m-%d %H:%M:%S} UTC."
    )
    if made.change_head:
        print(f"Head of the record of change: {made.change_head.id} {made.change_head.hash}")
    return FINE


@contextmanager
def file_trouble(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as wrong:
        about = wrong.filename or path
        raise Unusable(f"{about} cannot be used: {wrong.strerror or wrong}.") from None
