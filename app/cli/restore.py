"""`restore`: the register of a copy, in an empty database of either engine."""

from __future__ import annotations

import argparse
from pathlib import Path

from app.actions import copies
from app.cli.backup import add_attachments, file_trouble
from app.cli.progress import Progress
from app.cli.register import usable
from app.cli.status import FINE, STATUSES
from app.settings import read_settings

EPILOG = f"""\
example:
  DATABASE_URL=sqlite:///./data/again.db python -m app restore copies/register-2026-11-25.zip

The database must be empty: nothing is overwritten. Every sum of the copy is checked before
anything is written, and then all of it is stored or nothing. A copy of an older version is brought
up to this one. Afterwards: python -m app verify --dates --against FILE

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", type=Path, help="the copy to bring back")
    add_attachments(parser, "into which attachments go")


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    place = copies.place_of(settings.database_url, args.attachments or settings.attachments)
    with file_trouble(args.file), usable(settings), Progress() as tell:
        told = copies.bring_back(place, args.file, tell)
    print(
        f"The register of {told.taken_at:%Y-%m-%d %H:%M:%S} UTC is back: {told.rows:,} rows of "
        f"{len(told.tables)} tables and {len(told.attachments):,} attachments."
    )
    return FINE
