"""Loads the demo as a person would: files through the import, then changes through actions."""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy.orm import Session

from app.actions import imports
from app.actions.stamp import Stamp
from app.files import sheets
from app.files.columns import Kind
from seed_demo import afterwards
from seed_demo.demo_files import texts
from seed_demo.shapes import Days

ORDER: tuple[Kind, ...] = ("ladings", "cars", "components", "events")


def load(db: Session, stamp: Stamp, tell: Callable[..., None]) -> None:
    """Bring the whole demo into the store of `db`, which is empty; the caller commits.

    `tell` is called with a step, how much of it is done, and of how much.
    """
    files = texts(stamp.today)
    for kind in ORDER:
        name = f"demo-{kind}.csv"
        sheet = sheets.read(name, files[kind].encode())
        imports.apply(db, kind, sheet, stamp, tell)
    tell("Changes and corrections", 0, 0)
    afterwards.happen(db, Days(stamp.today), stamp)
