"""`python -m app.jobs [worker | refresh-due]`: do the jobs of the store, or refresh its due dates once."""

from __future__ import annotations

import argparse
import sys
from datetime import datetime
from zoneinfo import ZoneInfo

from app.actions import due
from app.errors import Problem
from app.jobs import worker
from app.settings import Settings, read_settings
from app.store import migrate
from app.store.db import make_engine, sessions, write_session


def refresh_due(settings: Settings) -> None:
    """Work out every due date anew and say of how many cars; for a timer shortly after midnight."""
    engine = make_engine(settings.database_url)
    migrate.check(engine)
    today = datetime.now(ZoneInfo(settings.time_zone)).date()
    with write_session(sessions(engine)) as db:
        count = due.refresh_all(db, today)
    engine.dispose()
    sys.stdout.write(f"Due dates of {count} cars worked out as on {today}.\n")


COMMANDS = {"worker": worker.run, "refresh-due": refresh_due}


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m app.jobs", description=__doc__)
    parser.add_argument("command", nargs="?", default="worker", choices=sorted(COMMANDS))
    try:
        COMMANDS[parser.parse_args().command](read_settings())
    except Problem as problem:
        sys.stderr.write(f"{problem}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
