"""`evidence`: an evidence packet of cars, for an auditor and for the archive."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from zipfile import ZipFile
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.actions import packets
from app.actions.copies import attachments_of
from app.actions.evidence import View, chosen
from app.actions.standpoint import Lookback, lookback
from app.cli.due import a_day
from app.cli.progress import Progress
from app.cli.register import moment, register, today_in
from app.cli.status import FINE, STATUSES, Unusable
from app.errors import Fault, Refused
from app.files import names
from app.settings import Settings, read_settings
from app.store.bearers import bearers, last_before, meant
from app.store.db import read_session

EPILOG = f"""\
example:
  python -m app evidence "ZQKX 104512" --as-of 2026-11-25 --out audit
  python -m app evidence "ZQKX 104512" "ZQKX 104513" --known-on 2026-06-01T00:00 --out audit

Writes two files into the folder: the packet as PDF/A-2a, tagged to PDF/UA-1 (of many cars in volumes),
and a ZIP file of the same, the facts as CSV and JSON, the photographs, and SHA256SUMS, to be checked with
sha256sum --check SHA256SUMS where it was unpacked. A name means the car that bore it on the day.

Dates are an aid: the rule in force, the owner's instructions and the qualified shop decide.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("cars", nargs="+", metavar="CAR", help='mark and number, such as "ZQKX 104512"')
    add(
        "--as-of", type=a_day, metavar="DATE",
        help="seen from this day: what happened later does not count (today)",
    )  # fmt: skip
    add(
        "--known-on", "--known", dest="known", metavar="MOMENT",
        help="as known at this moment, YYYY-MM-DDTHH:MM, with :SS, a fraction and Z or +HH:MM where "
        "they matter, or a day, by the rules in force then: what was recorded later does not count",
    )  # fmt: skip
    add(
        "--out",
        type=Path,
        required=True,
        metavar="DIR",
        help="the folder, made where there is none",
    )


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    today = today_in(settings.time_zone)
    back = _lookback(args, settings)
    view = View.of(back, today, settings.soon_days)
    attachments = attachments_of(settings.database_url, settings.attachments)
    with register(settings) as factory, read_session(factory) as db, Progress() as progress:
        ids = chosen(db, _meant(db, args.cars, view.at.as_of, today))
        path = _free(args.out, f"{_called(args.cars, ids)}-{back.name if back else today}.zip")
        try:
            with path.open("xb") as out:
                packets.write(
                    db, out, ids, view, attachments,
                    lambda done, total: progress("Putting cars into the packet", done, total),
                )  # fmt: skip
        except BaseException:
            path.unlink(missing_ok=True)
            raise
    for each in (path, *_beside(path)):
        print(each)
    return FINE


def _lookback(args: argparse.Namespace, settings: Settings) -> Lookback | None:
    try:
        return lookback(args.as_of, args.known, moment(), ZoneInfo(settings.time_zone))
    except Refused as wrong:
        named = {"as_of": "--as-of", "known": "--known-on"}
        raise Refused.because(
            Fault(named[each.path], each.problem) for each in wrong.faults
        ) from None


def _meant(db: Session, cars: Sequence[str], day: date, today: date) -> list[int]:
    """The car that bore each name on the day. Raises Refused with every name that means none, or several."""
    faults, found = [], []
    for text in cars:
        try:
            name = names.mark_and_number(text)
        except ValueError as wrong:
            faults.append(Fault("car", str(wrong)))
            continue
        borne = bearers(db, [name])[name]
        bore = meant(borne, day, day, today) or last_before(borne, day)
        if len(bore) == 1:
            found.append(bore[0].id)
        elif bore:
            told = " and ".join(f"the one that is {each.name} today" for each in bore)
            faults.append(
                Fault("car", f"{text} was borne by {len(bore)} cars then or since: {told}")
            )
        else:
            faults.append(Fault("car", f"{text} is not in the register"))
    if faults:
        raise Refused.because(faults)
    return found


def _called(cars: Sequence[str], ids: Sequence[int]) -> str:
    if len(ids) > 1:
        return f"evidence-{len(ids)}-cars"
    mark, number = names.mark_and_number(cars[0])
    return f"evidence-{mark}-{number}"


def _free(folder: Path, name: str) -> Path:
    """Where the file goes; raises Refused where one is, since a packet overwrites nothing."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as wrong:
        raise Unusable(f"{folder} cannot be made: {wrong.strerror or wrong}.") from None
    path = folder / name
    if path.exists():
        raise Refused(
            f"{path} is there already, and a packet overwrites nothing. Name another folder."
        )
    return path


def _beside(path: Path) -> list[Path]:
    """The PDF of the packet put beside its ZIP file, under its name."""
    made = []
    with ZipFile(path) as zipped:
        for name in sorted(each for each in zipped.namelist() if each.endswith(".pdf")):
            volume = path.with_name(f"{path.stem}{name.removeprefix('packet')}")
            volume.write_bytes(zipped.read(name))
            made.append(volume)
    return made
