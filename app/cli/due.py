"""`due`: what falls due in the register, as a table for a spreadsheet or for another program."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any, BinaryIO
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.actions.standpoint import in_text, lookback
from app.cli.due_lines import COLUMNS, Question, lines
from app.cli.register import moment, register, today_in
from app.cli.status import FINE, STATUSES, Unusable
from app.errors import Fault, Refused
from app.files.tables_out import csv_bytes, json_bytes, plain, xlsx_bytes
from app.settings import Settings, read_settings
from app.store.asked import Standpoint
from app.store.cars import party_by_name
from app.store.db import read_session
from app.store.tables import Party

# What a table says beside, that was asked as known at a moment.
SEEN_FROM = ("as_of", "known_at")
EPILOG = f"""\
example:
  python -m app due --before 2027-06-30 --overdue --owner "Northern Example Leasing"

Lists {",".join(COLUMNS)} of every dated item of the cars in service,
soonest first, then by mark, number and item. What is due now is among them.
Dates are an aid: the rule in force, the owner's instructions and the qualified shop decide.

{STATUSES}"""


def a_day(text: str) -> date:
    """An argument that is a day, written one way only."""
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII):
            raise ValueError("the other ways to write a day are refused")
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"found {text!r}, want a day, YYYY-MM-DD") from None


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--before", type=a_day, required=True, metavar="DATE", help="due on or before this day")
    add(
        "--as-of", type=a_day, metavar="DATE",
        help="seen from this day: what happened later does not count (today, where the owner is)",
    )  # fmt: skip
    add(
        "--known", metavar="MOMENT",
        help="as known at this moment, YYYY-MM-DDTHH:MM, with :SS, a fraction and Z or +HH:MM where "
        "they matter, or a day, by the rules in force then: what was recorded later does not count; "
        "adds the columns as_of and known_at",
    )  # fmt: skip
    add("--overdue", action="store_true", help="only what is overdue or due now")
    add("--owner", metavar="NAME", help="only the cars of this owner, by the whole name")
    add("--format", choices=("csv", "json", "xlsx"), default="csv", help="csv when not given")
    add("-o", "--output", type=Path, metavar="FILE", help="write to a file instead of stdout")


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    with register(settings) as factory, read_session(factory) as db:
        owner = _owner(db, args.owner)
        zone = owner.time_zone if owner else settings.time_zone
        today = today_in(zone)
        question = _question(args, owner, today, zone, settings)
        rows = lines(db, question, today)
        with _output(args.output, binary=args.format == "xlsx") as out:
            if question.known_at is None:
                _write(out, args.format, COLUMNS, rows)
            else:
                said = (question.as_of, in_text(question.known_at))
                _write(out, args.format, (*COLUMNS, *SEEN_FROM), ((*row, *said) for row in rows))
    return FINE


def _question(
    args: argparse.Namespace, owner: Party | None, today: date, zone: str, settings: Settings
) -> Question:
    as_of, known_at = args.as_of or today, None
    if args.known is not None:
        back = _known(args, zone)
        as_of, known_at = back.as_of, back.known_at
    return Question(
        before=args.before,
        as_of=as_of,
        soon_days=settings.soon_days,
        overdue=args.overdue,
        owner_id=owner.id if owner else None,
        known_at=known_at,
    )


def _known(args: argparse.Namespace, zone: str) -> Standpoint:
    try:
        back = lookback(args.as_of, args.known, moment(), ZoneInfo(zone))
    except Refused as wrong:
        named = {"as_of": "--as-of", "known": "--known"}
        raise Refused.because(
            Fault(named[each.path], each.problem) for each in wrong.faults
        ) from None
    assert back is not None  # a moment was given
    return back.at


def _owner(db: Session, name: str | None) -> Party | None:
    if name is None:
        return None
    found = party_by_name(db, name)
    if found is None:
        told = (
            f"there is no owner named {name!r}; want the whole name, as it stands in the register"
        )
        raise Refused.because([Fault("--owner", told)])
    return found


def _write(out: BinaryIO, kind: str, columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    if kind == "json":
        pieces = json_bytes(columns, rows)
    elif kind == "xlsx":
        pieces = xlsx_bytes(plain(*columns), rows, "Due")
    else:
        # For programs as much as for people: no byte order mark before the first column's name.
        pieces = csv_bytes(columns, rows, byte_order_mark=False)
    for piece in pieces:
        out.write(piece)
    out.flush()


@contextmanager
def _output(path: Path | None, *, binary: bool) -> Iterator[BinaryIO]:
    """Where to write; a file appears under its name when it is whole."""
    if path is None:
        if binary and sys.stdout.isatty():
            raise Refused("A workbook is nothing to read on a terminal; give -o FILE.")
        yield sys.stdout.buffer
        return
    part = path.with_name(f"{path.name}.part")
    try:
        with part.open("wb") as out:
            yield out
        part.replace(path)
    except OSError as wrong:
        raise Unusable(f"{path} cannot be written: {wrong.strerror or wrong}.") from None
    finally:
        part.unlink(missing_ok=True)
