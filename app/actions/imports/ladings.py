"""A file of ladings: the list to choose from when a car is put into another one."""

from __future__ import annotations

from typing import Any

from sqlalchemy import update
from sqlalchemy.orm import Session

from app.actions.imports.report import Report
from app.actions.imports.stated import Repeats, Stated, is_repeated
from app.actions.imports.writing import Writer
from app.actions.stamp import Stamp
from app.store import intake
from app.store.intake import table_of
from app.store.tables import Lading


class Ladings:
    """Takes rows of ladings, known by name whatever its capitals.

    The list is a help for choosing and holds no facts of cars, so a known lading is simply changed.
    """

    def __init__(self, db: Session, stamp: Stamp, writer: Writer, report: Report) -> None:
        self.db, self.writer, self.report = db, writer, report
        self.repeats = Repeats()
        self.known = intake.ladings(db)

    def take(self, rows: list[Stated]) -> None:
        for row in rows:
            said = row.about("lading")
            name = said["name"].casefold()
            if is_repeated(name, row, "lading", self.repeats, self.report):
                continue
            if name in self.known:
                self._compare(row, said, self.known[name])
            else:
                self.writer.add(Lading, **said)
                self.report.added += 1

    def judge(self, rows: list[Stated]) -> None:
        """A lading has no fault beyond that of a single cell."""

    def _compare(self, row: Stated, said: dict[str, Any], stored: dict[str, Any]) -> None:
        new = {field: value for field, value in said.items() if stored[field] != value}
        new.pop("name", None)
        if not new:
            self.report.repeated += 1
            return
        told = [(field, stored[field], value) for field, value in new.items()]
        self.report.change(row.row, stored["name"], told)
        if self.writer.keep:
            held = table_of(Lading)
            self.db.execute(update(held).where(held.c.id == stored["id"]).values(new))
