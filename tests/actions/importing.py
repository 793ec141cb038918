"""How the import tests speak: files as text, brought in on one day, and what the store then holds."""

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import select, text
from sqlalchemy.orm import Session

from app.actions import imports
from app.actions.imports import Preview
from app.actions.stamp import Stamp
from app.files import sheets
from app.files.columns import Kind
from app.store.columns import Base
from app.store.derived import ImportRun
from app.store.tables import Car

TODAY = date(2026, 11, 25)
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
CARS = """\
mark,number,specification,built_on,owner,commodity,un
ZQKX,1,DOT 111A100W1,1998-04-20,Example Alpha Lines,Hydrochloric acid,UN1789
ZQKX,2,DOT 117R100W,2012-05,Example Alpha Lines,Ethanol,UN1170
"""


def stamp(days: int = 0, by: str = "Ida Example") -> Stamp:
    return Stamp(by, NOON + timedelta(days=days), TODAY + timedelta(days=days))


def bring_in(db: Session, kind: Kind, content: str, days: int = 0) -> ImportRun:
    run = imports.apply(db, kind, sheets.read(f"{kind}.csv", content.encode()), stamp(days))
    db.commit()
    return run


def look(db: Session, kind: Kind, content: str, days: int = 0) -> Preview:
    preview = imports.preview(db, kind, sheets.read(f"{kind}.csv", content.encode()), stamp(days))
    db.rollback()
    return preview


def counts(run: ImportRun | Preview) -> tuple[int, int, int]:
    """How many rows added something, changed something, repeated what was known."""
    return run.added, run.changed, run.repeated


def faults(db: Session, kind: Kind, content: str) -> list[str]:
    return [str(fault) for fault in look(db, kind, content).faults]


def car(db: Session, number: int = 1, mark: str = "ZQKX") -> Car:
    found = select(Car).where(Car.mark == mark, Car.number == number, Car.standing != "withdrawn")
    return db.scalars(found.execution_options(populate_existing=True)).one()


def rows(db: Session, table: type[Base], **where: Any) -> list[Any]:
    """What counts of a table, oldest first."""
    query = select(table).filter_by(**where).order_by(table.__table__.c.id)
    if "superseded_at" in table.__table__.c:
        query = query.where(table.__table__.c.superseded_at.is_(None))
    return list(db.scalars(query.execution_options(populate_existing=True)))


def everything(db: Session) -> dict[str, list[Any]]:
    """Every row of every table but the imports themselves, as the database has it.

    An entry of the record of change that tells of nothing but an import is left out with it.
    """
    apart = {"import_run", "change", "change_about"}
    names = [each.name for each in Base.metadata.sorted_tables if each.name not in apart]
    held = {name: list(db.execute(text(f"SELECT * FROM {name}"))) for name in names}
    entries = db.execute(text("SELECT * FROM change ORDER BY id"))
    about = db.execute(text("SELECT * FROM change_about ORDER BY change_id, kind, key")).all()
    told = [entry for entry in entries if not tells_of_an_import_alone(json.loads(entry.body))]
    kept = {entry.id for entry in told}
    return held | {"change": told, "change_about": [row for row in about if row.change_id in kept]}


def tells_of_an_import_alone(body: dict[str, Any]) -> bool:
    tables = [row["table"] for row in body["rows"]]
    return tables == ["import_run"] and not any(each["brought"] for each in body.get("bulk", ()))


def what_is_due(db: Session) -> list[Any]:
    """The derived rows, all of them, in one order."""
    return list(db.execute(text("SELECT * FROM due ORDER BY car_id, item_no")))
