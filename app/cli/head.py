"""`head`: the last entry of the record of change, to be kept where nobody who can write the database can write."""

from __future__ import annotations

import argparse
from pathlib import Path

from app.cli.register import register
from app.cli.status import FINE, STATUSES, Unusable
from app.settings import read_settings
from app.store import proof
from app.store.db import read_session

EPILOG = f"""\
example:
  python -m app head --to heads/2026-11-25.json
  python -m app verify --head heads/2026-11-25.json

Each entry of the record of change holds the hash of the one before it. Whoever can write the database
could still cut off its end, or write all of it anew: a head kept elsewhere shows that. Print it and
file it, or send it to somebody else, once a day.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--to", metavar="FILE", type=Path, help="write it to a file as JSON, too")


def run(args: argparse.Namespace) -> int:
    with register(read_settings()) as factory, read_session(factory) as db:
        head = proof.head(db)
    if head is None:
        raise Unusable("The record of change is empty; not even its first entry is there.")
    if args.to is not None:
        try:
            args.to.write_text(head.as_text() + "\n")
        except OSError as wrong:
            raise Unusable(f"{args.to} cannot be written: {wrong.strerror or wrong}.") from None
    print(f"entry   {head.entry}, of {head.entries:,}")
    print(f"moment  {head.at:%Y-%m-%d %H:%M:%S} UTC")
    print(f"hash    {head.hash}")
    return FINE
