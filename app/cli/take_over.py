"""`take-over`: a car from the file of a hand-over, into this register."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from app.actions import copies
from app.actions.stamp import Stamp
from app.actions.take_over import Difference, Taken, must_have_sum, take_over
from app.cli.backup import add_attachments, file_trouble
from app.cli.register import moment, register, today_in, who
from app.cli.status import FINE, STATUSES
from app.core.words import capitalized, label
from app.files.hand_overs import StatedDue, StatedOrder
from app.settings import read_settings
from app.store.db import write_session
from app.store.doer import Doer
from app.store.moments import not_before

EPILOG = f"""\
example:
  python -m app take-over zqkx-1045.zip --dry-run
  python -m app take-over zqkx-1045.zip --sum 9f86d081...

Every sum in the file is checked before anything is written, and then all of it is stored or nothing.
A car whose mark and number another car here bears is refused. Due dates are worked out anew by the rules
in force here, and told where they differ from those in the file.

--sum compares the file itself with the SHA-256 that the former owner told you by another way.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("file", metavar="FILE", type=Path, help="the file of the hand-over")
    add("--dry-run", action="store_true", help="tell what would come, and store nothing")
    add("--sum", metavar="SHA256", default="", help="what the file's SHA-256 has to be")
    add(
        "--by", metavar="NAME", default=who(), help="who takes it over (%(default)s when not given)"
    )
    add_attachments(parser, "into which its photographs go")


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    kept = copies.attachments_of(settings.database_url, args.attachments or settings.attachments)
    stamp = Stamp(args.by, moment(), today_in(settings.time_zone))
    with file_trouble(args.file), register(settings) as factory:
        must_have_sum(args.file, args.sum)
        with write_session(factory, doer=Doer(args.by)) as db:
            stamp = replace(stamp, at=not_before(db, stamp.at))
            taken = take_over(db, kept, args.file, stamp, keep=not args.dry_run)
    for line in _told(taken):
        print(line)
    if args.dry_run:
        print("Nothing was stored.")
    else:
        print(f"{taken.manifest.car} is in the register: import {taken.import_id}.")
    return FINE


def _told(taken: Taken) -> Iterator[str]:
    told = taken.manifest
    yield (
        f"{told.car} from {told.from_party} to {told.to_party} on {told.handed_on}, written by {told.by} at "
        f"{told.taken_at:%Y-%m-%d %H:%M} UTC: {told.rows:,} rows, {len(told.attachments):,} photographs."
    )
    if taken.new_company:
        yield f"{told.to_party} is not known here; check the spelling, a company of this name is added."
    yield f"Due dates there as of {told.as_of} by {told.rulebook}, {told.edition}:"
    yield from (f"  {_item(each)}" for each in told.due)
    yield from map(_order, told.orders)
    if not taken.differences:
        yield "Worked out anew here, each is the same, with the same reasons."
    for each in taken.differences:
        yield from _differs(each)


def _differs(each: Difference) -> Iterator[str]:
    yield f"{capitalized(label(each.item))} differs here:"
    for where, due in (("there", each.there), ("here", each.here)):
        yield f"  {where}: {_item(due) if due else 'no such item'}"
        for text, citation in due.reasons if due else ():
            yield f"    {text}{f' ({citation})' if citation else ''}"


def _order(order: StatedOrder) -> str:
    closed = (
        f"closed on {order.closed_on}"
        if order.closed_on
        else "OPEN: decide whether to issue it here"
    )
    about = f" ({order.about})" if order.about else ""
    return f"Directive there: {order.name}, {order.title}{about}, due {order.due_on}, {closed}."


def _item(due: StatedDue) -> str:
    return f"{label(due.item)}: {due.due_on or label(due.state)}"
