"""`retention`: what need be kept no longer, and letting it go; for whoever answers for the papers."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace

from app.actions import retention
from app.actions.stamp import Stamp
from app.cli.register import moment, register, today_in, who
from app.cli.status import FINE, STATUSES
from app.errors import Refused
from app.settings import read_settings
from app.store.db import read_session, write_session
from app.store.doer import Doer
from app.store.moments import not_before

EPILOG = f"""\
example:
  python -m app retention
  python -m app retention --remove 12 15 --reason "asked for by the owner" --by "A. Keeper"

Lists reports of inspections whose duty to be kept has ended (49 CFR 180.517: until the next inspection
of the same type has passed), and cars whose papers of construction may go (a year after the ownership
ended; the register itself holds no papers). Nothing goes by itself.

--remove lets the details of reports go for good: inspector, report number, notes and readings. The
event, its day and its outcome stay, since due dates count from them, and so does what the record of
change says of a report that was typed in. What has to be kept is refused. Ask whoever answers for the
papers first; owners, contracts or other rules may want them longer.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--remove", metavar="EVENT", type=int, nargs="+", help="numbers of reports to let go")
    add("--reason", metavar="TEXT", default="", help="why, for the record of change")
    add("--by", metavar="NAME", default=who(), help="who lets them go (%(default)s when not given)")


def run(args: argparse.Namespace) -> int:
    return _remove(args) if args.remove else _list()


def _list() -> int:
    settings = read_settings()
    today = today_in(settings.time_zone)
    with register(settings) as factory, read_session(factory) as db:
        for each in (*retention.free_reports(db, today), *retention.free_papers(db, today)):
            what = f"event {each.event_id}" if each.event_id else "papers"
            print(f"{each.car}, {what}: since {each.since}, {each.reason} ({each.citation})")
    return FINE


def _remove(args: argparse.Namespace) -> int:
    if not args.reason.strip():
        raise Refused("Say why, with --reason: letting reports go is recorded for good.")
    settings, events = read_settings(), _once(args.remove)
    stamp = Stamp(args.by, moment(), today_in(settings.time_zone))
    with (
        register(settings) as factory,
        write_session(factory, doer=Doer(args.by)) as db,
    ):
        stamp = replace(stamp, at=not_before(db, stamp.at))
        gone = retention.remove(db, events, args.reason, stamp)
    print(f"Details of {len(gone)} reports have gone; the events stay.")
    return FINE


def _once(numbers: Sequence[int]) -> list[int]:
    return sorted(set(numbers))
