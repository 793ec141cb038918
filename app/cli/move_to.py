"""`move-to`: the whole register into an empty PostgreSQL, proved to be the same there."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import make_url
from sqlalchemy.exc import ArgumentError

from app.actions import copies, move
from app.cli.progress import Progress
from app.cli.register import register, usable
from app.cli.status import FINE, STATUSES, Unusable
from app.settings import KEY_FILE, Settings, read_settings

EPILOG = f"""\
example:
  DATABASE_URL=sqlite:///./data/stencilbook.db python -m app move-to postgresql://me@host/register

Stop the program and its workers first. The register is read as of one moment; when anything was
recorded in it meanwhile, nothing is moved, since that would be lost. The other database must be
empty: nothing is overwritten. All of it is stored there or nothing, and only after every row was
read again and is the same, and the record of change was followed from its beginning. The database
that DATABASE_URL names is only read. It may be a PostgreSQL too; into an SQLite file a register
comes by backup and restore.

Attachments stay where they are. Signed-in browsers do not come along: people sign in anew.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("url", metavar="URL", help="the address of an empty PostgreSQL database")


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    there = _named(args.url)
    began = time.monotonic()
    with (
        register(settings) as factory,
        usable(settings.model_copy(update={"database_url": args.url})),
        Progress() as tell,
    ):
        moved = move.move(factory.kw["bind"], args.url, tell)
    print(
        f"{moved.rows:,} rows of {len(moved.tables)} tables were moved to {there} in "
        f"{time.monotonic() - began:.0f} s. Each was read again there and is the same."
    )
    if moved.head:
        print(f"Head of the record of change, there as here: {moved.head[0]} {moved.head[1]}")
    print("Set DATABASE_URL to that address, and start the program again.")
    for each in _beside_it(settings):
        print(each)
    return FINE


def _named(url: str) -> str:
    """The address without its password."""
    try:
        return make_url(url).render_as_string(hide_password=True)
    except ArgumentError:
        raise Unusable(
            "That is no address of a database, want one such as postgresql://user@host/name"
        ) from None


def _beside_it(settings: Settings) -> Iterator[str]:
    """What stays where it is, and beside an SQLite file was found without being named."""
    place = copies.place_of(settings.database_url, settings.attachments)
    if any(copies.attachments_of(settings.database_url, settings.attachments).files()):
        yield f"Attachments stay where they are. Set ATTACHMENTS to {place.attachments}"
    address = make_url(settings.database_url)
    key = Path(address.database or "").with_name(KEY_FILE)
    if address.get_backend_name() == "sqlite" and not settings.secret_key and key.exists():
        yield f"Set SECRET_KEY to what is in {key}, or people set up their codes anew."
