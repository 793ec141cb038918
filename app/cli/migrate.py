"""`migrate`: make the database, or bring it up to this version."""

from __future__ import annotations

import argparse

from app.cli.register import migrated
from app.cli.status import FINE, STATUSES
from app.settings import read_settings

EPILOG = f"""\
example:
  DATABASE_URL=sqlite:///./data/stencilbook.db python -m app migrate

Running it again changes nothing. Before an update: python -m app backup FILE, since an older version
cannot read what a newer one has migrated.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """None to add."""


def run(args: argparse.Namespace) -> int:
    migrated(read_settings())
    print("The database is up to this version.")
    return FINE
