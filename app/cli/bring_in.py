"""`import`: a whole file of cars, components, events or ladings into the register, or none of it."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

from app.actions import imports
from app.actions.imports import Preview
from app.actions.stamp import Stamp
from app.cli.progress import Progress
from app.cli.register import moment, register, today_in, who
from app.cli.status import FINE, REFUSED, STATUSES, Unusable, tell
from app.errors import Refused
from app.files import sheets
from app.files.columns import COLUMNS, KINDS, Kind
from app.files.sheets import Sheet
from app.settings import Settings, read_settings
from app.store.db import read_session, write_session
from app.store.doer import Doer
from app.store.moments import not_before

EPILOG = f"""\
example:
  python -m app import cars fleet.csv --dry-run
  python -m app import cars fleet.csv --by "A. Planner"

FILE is CSV (UTF-8, commas or semicolons) or XLSX. One bad row and nothing is stored; every bad row
is one line on stderr, "row 12, built_on: found ...; want ...". A file that was brought in before
adds nothing. Bring in cars first, then components and events. In a row that states a known car
anew, what changes is stored as a new dated fact.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("kind", metavar="KIND", choices=KINDS, help=", ".join(KINDS))
    add("file", metavar="FILE", type=Path, nargs="?", help="the file to bring in")
    add("--dry-run", action="store_true", help="tell what it would do, and store nothing")
    add("--template", action="store_true", help="print every column with a line on each")
    add("--by", metavar="NAME", default=who(), help="who brings it in (%(default)s when not given)")


def run(args: argparse.Namespace) -> int:
    if args.template:
        return _columns(args.kind)
    if args.file is None:
        raise Refused("Which file? python -m app import KIND FILE, or --template for the columns.")
    settings = read_settings()
    sheet = sheets.read(args.file.name, _content(args.file))
    if sheet.remark:
        tell(sheet.remark)
    stamp = Stamp(args.by, moment(), today_in(settings.time_zone))
    act = _try if args.dry_run else _store
    return act(settings, args.kind, sheet, stamp)


def _columns(kind: Kind) -> int:
    width = max(len(column.name) for column in COLUMNS[kind])
    for column in COLUMNS[kind]:
        needed = "  (must be there)" if column.required else ""
        print(f"{column.name:<{width}}  {column.says}{needed}")
    return FINE


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as wrong:
        raise Unusable(f"{path} cannot be read: {wrong.strerror or wrong}.") from None


def _store(settings: Settings, kind: Kind, sheet: Sheet, stamp: Stamp) -> int:
    with (
        register(settings) as factory,
        Progress() as tells,
        write_session(factory, doer=Doer(stamp.by)) as db,
    ):
        stamp = replace(stamp, at=not_before(db, stamp.at))
        done = imports.apply(db, kind, sheet, stamp, tells)
        told = f"{_counted(done.rows, done.added, done.changed, done.repeated)}. Import {done.id}."
    print(f"{sheet.name} is in the register: {told}")
    return FINE


def _try(settings: Settings, kind: Kind, sheet: Sheet, stamp: Stamp) -> int:
    with register(settings) as factory, Progress() as tells, read_session(factory) as db:
        seen = imports.preview(db, kind, sheet, stamp, tells)
    for fault in seen.faults:
        tell(str(fault))
    _tell_changes(seen)
    would = "would be brought in" if seen.ready else "cannot be brought in"
    counted = _counted(seen.rows, seen.added, seen.changed, seen.repeated)
    print(f"{sheet.name} {would}: {counted}. Nothing was stored.")
    return FINE if seen.ready else REFUSED


def _tell_changes(seen: Preview) -> None:
    for each in seen.changes:
        print(
            f"row {each.row}, {each.car}: {each.what}, now {each.was!r}, would be {each.will_be!r}"
        )
    for doubt in seen.warnings:
        cited = f" ({doubt.citation})" if doubt.citation else ""
        print(f"row {doubt.row}, {doubt.car}: warning: {doubt.text}{cited}")
    if seen.new_parties:
        print(f"New parties: {', '.join(seen.new_parties)}")
    for remark in seen.remarks:
        print(remark)


def _counted(rows: int, added: int, changed: int, repeated: int) -> str:
    return f"{rows:,} rows, {added:,} added, {changed:,} changed, {repeated:,} repeated"
