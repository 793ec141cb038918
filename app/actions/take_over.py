"""Taking over a car from the file of a hand-over: all of its rows under keys of this register, and due dates anew.

Each row is recorded here at the moment of the taking over; when and by whom it was recorded before stands in
`origin`. So nobody who asks what was known here on an earlier day is told of the car.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from sqlalchemy import Table
from sqlalchemy.exc import StatementError
from sqlalchemy.orm import Session

from app.actions import due, facts, hand_over, names, pictures, rows, told_orders
from app.actions.changes import NewOwnership
from app.actions.stamp import Stamp
from app.errors import Conflict, Refused
from app.files import archive, hand_overs
from app.files.hand_overs import HandOverFile, HandOverManifest, StatedDue
from app.pictures import Attachments, decoded
from app.store import cars, handing_over, imports, reach, reports
from app.store.asked import Standpoint
from app.store.columns import BEGINNING, table_of
from app.store.derived import ImportRun
from app.store.gathering import note
from app.store.handing_over import GOES_ALONG, Origin
from app.store.tables import Car, Standing

# A picture that was kept was looked at before; this only keeps a made-up file from filling the memory.
MOST_PIXELS = 100_000_000
BLOCK = 1024 * 1024
TORN = "The file does not hold together, so nothing was changed."
# What a row of another table is called by in a row; `row_id` of a withdrawal is of the table that it names.
NAMED = {
    "component_id": "component", "installation_id": "installation", "event_id": "event",
    "report_id": "report",
}  # fmt: skip
# The numbers of installations that entries of a report speak of.
SAID = ("installation_id", "off_installation_id")
Keys = dict[tuple[str, int], int]


@dataclass(frozen=True, slots=True)
class Difference:
    """A due item that is otherwise here than where the car came from; None where it is not there at all."""

    item: str
    there: StatedDue | None
    here: StatedDue | None


@dataclass(frozen=True, slots=True)
class Taken:
    """What was taken over, or would be: the car's key, the file's manifest, its rows, and what falls due otherwise.

    `new_company`: that whose the car is now was not known before.
    """

    car_id: int
    import_id: int
    manifest: HandOverManifest
    rows: int
    differences: tuple[Difference, ...]
    new_company: bool


def must_be_sound(path: Path, wanted_sum: str = "", most_bytes: int | None = None) -> None:
    """Raise Refused unless the file is the one meant, no larger than this unpacked, and every sum in it is right."""
    must_have_sum(path, wanted_sum)
    with archive.opened_as(HandOverManifest, path) as opened:
        unpacked = sum(each.bytes for each in opened.manifest.members)
        if most_bytes is not None and unpacked > most_bytes:
            raise Refused(
                f"{path.name} holds {unpacked:,} bytes when it is unpacked; at most {most_bytes:,} are taken "
                f"here. Whoever looks after the program can take it over with the command take-over."
            )
        hand_overs.must_be_whole(opened, path.name)


def must_have_sum(path: Path, wanted: str) -> None:
    """Raise Refused unless the file has the SHA-256 that somebody was told; empty: nobody was."""
    found = sum_of(path)
    if wanted and wanted.strip().lower() != found:
        raise Refused(f"{path.name} is not the file that was meant: its SHA-256 is {found}.")


def take_over(
    db: Session, attachments: Attachments | None, path: Path, stamp: Stamp, *, keep: bool = True
) -> Taken:
    """Store all of a file or nothing. With `keep` false tell what it would come to, and leave nothing.

    Without `attachments` its photographs are there already (see `bring_pictures`). Raises Refused when the file
    is damaged or none of ours, Conflict when the car is here already, OSError when the file cannot be read.
    """
    with _opened(path) as (opened, told):
        whole = db.begin_nested()
        try:
            taken = _Taking(db, opened.manifest, path, stamp).take(told)
        except (KeyError, StatementError) as wrong:
            whole.rollback()
            raise Refused(TORN) from wrong
        except BaseException:
            whole.rollback()
            raise
        if keep:
            if attachments is not None:
                _put_pictures(attachments, opened, told)
            whole.commit()
        else:
            whole.rollback()
        return taken


def bring_pictures(attachments: Attachments, path: Path) -> None:
    """Keep the photographs of a file before its rows are stored: looking at them takes long, and no session is held."""
    with _opened(path) as (opened, told):
        _put_pictures(attachments, opened, told)


@contextmanager
def _opened(path: Path) -> Iterator[tuple[HandOverFile, dict[str, list[dict[str, Any]]]]]:
    """A file that is whole, and its rows by table. Raises Refused as `take_over` does."""
    with archive.opened_as(HandOverManifest, path) as opened:
        hand_overs.must_be_whole(opened, path.name)
        told = _read(opened)
        _must_hold_pictures(opened, told)
        yield opened, told


def _read(opened: HandOverFile) -> dict[str, list[dict[str, Any]]]:
    """The rows by table. Raises Refused for what is no such row: another version wrote it."""
    held = {each.table: each for each in opened.manifest.tables}
    tables = {table_of(mapped).name: table_of(mapped) for mapped in GOES_ALONG}
    if held.keys() != tables.keys():
        raise Refused(_other_version(opened, "tables"))
    try:
        return {
            name: [
                handing_over.read_back(table, json.loads(line)) for line in opened.lines(held[name])
            ]
            for name, table in tables.items()
        }
    except (ValueError, TypeError, ArithmeticError, AttributeError) as wrong:
        raise Refused(_other_version(opened, f"rows ({wrong})")) from wrong


def _other_version(opened: HandOverFile, what: str) -> str:
    return (
        f"The file was written by version {opened.manifest.program_version}, and its {what} are not those of "
        f"this version. Bring both registers to one version first. Nothing was changed."
    )


def _must_hold_pictures(opened: HandOverFile, told: Mapping[str, list[dict[str, Any]]]) -> None:
    held = {each.member.rsplit("/", 1)[1]: each for each in opened.manifest.attachments}
    for digest in sorted({row["sha256"] for row in told["photograph"]}):
        if digest not in held or held[digest].sha256 != digest:
            raise Refused(f"The photograph {digest[:12]}… is not in the file. Nothing was changed.")


def _put_pictures(
    attachments: Attachments, opened: HandOverFile, told: Mapping[str, list[dict[str, Any]]]
) -> None:
    """Put the files before the rows count; a file that no row names does no harm."""
    held = {each.sha256: each for each in opened.manifest.attachments}
    for digest in {row["sha256"] for row in told["photograph"]}:
        content = b"".join(opened.blocks(held[digest]))
        small = decoded(content, MOST_PIXELS, keep_place=True).small
        attachments.put(pictures.small_name(digest), small)
        attachments.put(pictures.name(digest), content)


def sum_of(path: Path) -> str:
    """The SHA-256 of a file."""
    digest = sha256()
    with path.open("rb") as source:
        while block := source.read(BLOCK):
            digest.update(block)
    return digest.hexdigest()


class _Taking:
    """The rows of one file on their way into the store."""

    def __init__(self, db: Session, manifest: HandOverManifest, path: Path, stamp: Stamp) -> None:
        self.db, self.manifest, self.path = db, manifest, path
        self.sum = sum_of(path)
        self.stamp = stamp
        self.keys: Keys = {}
        self.new_company = cars.party_by_name(db, manifest.to_party) is None

    def take(self, told: Mapping[str, list[dict[str, Any]]]) -> Taken:
        self._must_be_new()
        car = self._car(told)
        note(self.db, "car.taken_over", ("car", car.id))
        run = self._begin(sum(map(len, told.values())))
        stamp = Stamp(self.stamp.by, self.stamp.at, self.stamp.today, run.id)
        for mapped in GOES_ALONG:
            table = table_of(mapped)
            for values in told[table.name]:
                self._store(mapped, table, values, car.id, stamp)
            if mapped is Standing:
                # Names and standings say who bore a name when.
                names.must_not_overlap(self.db, car, BEGINNING)
        self._own(car, told, stamp)
        told_orders.keep(self.db, self.manifest.orders, car.id, run.id, stamp)
        due.refresh(self.db, [car.id], stamp.today)
        return Taken(
            car.id, run.id, self.manifest, run.rows, tuple(self._differences(car)), self.new_company
        )

    def _must_be_new(self) -> None:
        before = imports.by_content(self.db, "cars", self.sum)
        if before is not None:
            raise Conflict(f"This file was taken over already: it is import {before.id}.")

    def _car(self, told: Mapping[str, list[dict[str, Any]]]) -> Car:
        """The car, under the name that it bears. Raises Conflict when another here bears it."""
        name, tank = _latest(told["car_name"]), _latest(told["construction"])
        standing = _latest(told["standing"])
        names.must_be_free(self.db, name["mark"], name["number"], None)
        owner = rows.party(self.db, self.manifest.to_party)
        car = Car(
            owner_id=owner.id, keeper_id=owner.kept_by or owner.id, mark=name["mark"],
            number=name["number"], specification=tank["specification"],
            standing=standing["standing"],
        )  # fmt: skip
        self.db.add(car)
        rows.flush(self.db, names.taken(name["mark"], name["number"]))
        return car

    def _begin(self, count: int) -> ImportRun:
        whose = reach.of(self.db)
        run = ImportRun(
            kind="cars", file_name=self.path.name[:200], sha256=self.sum, rows=count, added=1,
            changed=0, repeated=0, recorded_at=self.stamp.at, recorded_by=self.stamp.by,
            person_id=whose.person_id, parties=sorted(whose.named) or None,
        )  # fmt: skip
        self.db.add(run)
        self.db.flush()  # for its key
        return run

    def _store(
        self, mapped: type[Any], table: Table, told: Mapping[str, Any], car_id: int, stamp: Stamp
    ) -> None:
        values = {name: self._here(table, name, value) for name, value in told.items()}
        if "row_id" in values:
            values["row_id"] = self.keys[told["table_name"], told["row_id"]]
        if table.name == "field_entry":
            values["says"] = self._said(told["says"], car_id)
        if "car_id" in table.c:
            values["car_id"] = car_id
        if "recorded_at" in values:
            values |= self._stamped(table, told, stamp)
        old = values.pop("id", None)
        make: Callable[..., Any] = mapped
        row = make(**values)
        rows.add(self.db, row, TORN)
        if old is not None:
            self.keys[table.name, old] = row.id
            if "recorded_at" in told:
                self._keep_origin(table.name, row.id, told, car_id, stamp)

    def _here(self, table: Table, name: str, value: Any) -> Any:
        """A value as it is in this register."""
        if value is None:
            return None
        if name in handing_over.parties_in(table):
            return self._party(table, value)
        if name in ("corrects", "original_id"):
            return self.keys[table.name, value]
        if name in NAMED and table.name != "withdrawal":
            return self.keys[NAMED[name], value]
        return value

    def _party(self, table: Table, name: str) -> int:
        """The company of a name here; what was put on the car goes over to its new owner with it."""
        buyer = self.manifest.to_party
        if name == buyer or (table.name == "component" and name == self.manifest.from_party):
            return rows.party(self.db, buyer).id
        return rows.party_anywhere(self.db, name).id

    def _said(self, text: str, car_id: int) -> str:
        """What an entry of a report says, with the numbers that its parts and its car have here."""
        says = json.loads(text)
        for name in SAID:
            if says.get(name) is not None:
                says[name] = self.keys["installation", says[name]]
        if "car_id" in says:
            says["car_id"], says["visit_id"] = car_id, None
        return reports.written(says)

    def _stamped(self, table: Table, told: Mapping[str, Any], stamp: Stamp) -> dict[str, Any]:
        by = f"{told['recorded_by']} ({self.manifest.from_party})"[:200]
        values: dict[str, Any] = {"recorded_at": stamp.at, "recorded_by": by}
        if "superseded_at" in told:
            values["superseded_at"] = told["superseded_at"] and stamp.at
        return values | ({"import_id": stamp.import_id} if "import_id" in table.c else {})

    def _keep_origin(
        self, table: str, row_id: int, told: Mapping[str, Any], car_id: int, stamp: Stamp
    ) -> None:
        self.db.add(
            Origin(
                import_id=stamp.import_id, car_id=car_id, table_name=table, row_id=row_id,
                recorded_at=told["recorded_at"], recorded_by=told["recorded_by"],
                superseded_at=told.get("superseded_at"),
            )
        )  # fmt: skip

    def _own(self, car: Car, told: Mapping[str, list[dict[str, Any]]], stamp: Stamp) -> None:
        """The change of owner, as of the day of the hand-over."""
        held = _latest(told["ownership"])
        whose = NewOwnership(
            self.manifest.to_party, held["region"], held["lining_owner_id"],
            held["equipment_owner_id"], self.manifest.handed_on,
        )  # fmt: skip
        on = self.manifest.handed_on
        facts.write(self.db, car, whose, on, stamp, owner_id=car.owner_id)

    def _differences(self, car: Car) -> Iterator[Difference]:
        at = Standpoint(self.manifest.as_of)
        here = {
            each.item: each
            for each in hand_over.stated(hand_over.answer_of(self.db, car.id, at, car.owner_id))
        }
        there = {each.item: each for each in self.manifest.due}
        for item in dict.fromkeys((*there, *here)):
            if there.get(item) != here.get(item):
                yield Difference(item, there.get(item), here.get(item))


def _latest(told: list[dict[str, Any]]) -> dict[str, Any]:
    """The row in force. Raises Refused where there is none: then it is no car."""
    counts = [row for row in told if row["superseded_at"] is None]
    if not counts:
        raise Refused(
            "The file holds no car: it names no mark and number, owner or specification that counts."
        )
    return max(counts, key=lambda row: (row["from_on"], row["id"]))
