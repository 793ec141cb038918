"""`refresh-due`: work out every due date anew, as on the day it is now."""

from __future__ import annotations

import argparse
from functools import partial

from app.actions import due
from app.cli.progress import Progress
from app.cli.register import register, today_in, who
from app.cli.status import FINE, STATUSES
from app.settings import read_settings
from app.store import rolled
from app.store.db import write_session
from app.store.doer import Doer

EPILOG = f"""\
example:
  python -m app refresh-due

Recording something does this for the cars it touches. Run it once a day as well, shortly after
midnight, so that facts recorded ahead count from their day on. Running it twice changes nothing.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """None to add."""


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    with (
        register(settings) as factory,
        write_session(factory, doer=Doer(who())) as db,
        Progress() as tell,
    ):
        rolled.recount(db)
        count = due.refresh_all(
            db, today_in(settings.time_zone), partial(tell, "Working out due dates")
        )
    print(f"The due dates of {count:,} cars are worked out anew.")
    return FINE
