"""`hand-over`: a car goes to a company with a register of its own, with everything on record of it in one file."""

from __future__ import annotations

import argparse
from dataclasses import replace
from datetime import date
from pathlib import Path

from sqlalchemy.orm import Session

from app.actions import copies, hand_over
from app.actions.stamp import Stamp
from app.actions.take_over import sum_of
from app.cli.backup import add_attachments, file_trouble
from app.cli.register import moment, register, today_in, who
from app.cli.status import FINE, STATUSES
from app.errors import NotFound, Refused
from app.files import days
from app.settings import read_settings
from app.store import bearers, cars
from app.store.db import write_session
from app.store.doer import Doer
from app.store.moments import not_before
from app.store.names import read_name
from app.store.tables import Car

EPILOG = f"""\
example:
  python -m app hand-over "ZQKX 1045" --to "Invented Buyer" --on 2026-11-20 --out zqkx-1045.zip

The file holds all that is on record of the car: facts, inspections, readings, components, reports and
photographs, with what was corrected; of other cars nothing, and no accounts. Here the car is the buyer's
from that day and leaves the register; its history stays. The buyer's register takes the file with
take-over. Tell the buyer the file's SHA-256 by another way, so that a changed file is noticed.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("car", metavar="CAR", help="mark and number")
    add("--to", metavar="PARTY", required=True, help="whose it is from then on")
    add("--on", metavar="DATE", type=_day, required=True, help="the day of it, YYYY-MM-DD")
    add("--out", metavar="FILE", type=Path, required=True, help="where to write the file")
    add(
        "--by", metavar="NAME", default=who(), help="who hands it over (%(default)s when not given)"
    )
    add_attachments(parser, "that holds its photographs")


def _day(text: str) -> date:
    try:
        return days.day(text)
    except ValueError as wrong:
        raise argparse.ArgumentTypeError(str(wrong)) from None


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    kept = copies.attachments_of(settings.database_url, args.attachments or settings.attachments)
    stamp = Stamp(args.by, moment(), today_in(settings.time_zone))
    with file_trouble(args.out), register(settings) as factory:
        try:
            with write_session(factory, doer=Doer(args.by)) as db:
                stamp = replace(stamp, at=not_before(db, stamp.at))
                made = hand_over.hand_over(db, _named(db, args.car).id, args.to, args.on, stamp)
                told = hand_over.write_file(db, kept, made, args.out)
        except BaseException:
            # What was there before stays: it was refused.
            if "told" in locals():
                args.out.unlink(missing_ok=True)
            raise
    print(
        f"{told.car} is handed over to {told.to_party} from {told.handed_on} on. {args.out} holds {told.rows:,} rows "
        f"and {len(told.attachments):,} photographs.\nSHA-256 of the file: {sum_of(args.out)}"
    )
    begun = hand_over.clocks(told.handed_on)
    print(
        f"To be kept here ({begun.citation}): until {begun.papers_until} {begun.papers}; {begun.reports}."
    )
    return FINE


def _named(db: Session, text: str) -> Car:
    name = read_name(text)
    found = bearers.all_named(db, [name]).get(name)
    if not found:
        raise NotFound(f"There is no car {text} in the register.")
    if len(found) > 1:
        raise Refused(f"Two companies have a car {text} here. Hand it over on its own page.")
    return cars.car_or_raise(db, found[0])
