"""A few cars from which samples are drawn, and a draw of them."""

from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from app.actions import audits
from app.actions.audits import NewAudit, Selected
from app.rules.audit_points import built_in_points
from app.store.audits import Audit
from app.store.cars import RegisterFilter
from app.store.tables import Party
from tests.pages.fleet_cast import QUILLON, STAMP, add

EVERY = tuple(each.id for each in built_in_points())


def fleet_of(db: Session, count: int) -> list[int]:
    """So many cars of one owner, all alike; their keys."""
    return [add(db, "ZQKX", 1001 + at, date(2017, 4, 15)) for at in range(count)]


def every_car(**wanted: Any) -> Selected:
    return Selected("fleet", {}, RegisterFilter(**wanted), "Cars in the register.")


def drawn_audit(db: Session, size: int = 3, seed: str = "17", **other: Any) -> Audit:
    party = db.query(Party).filter(Party.name == QUILLON).one()
    new = NewAudit("Spring audit", other.pop("selected", every_car()), size, seed, EVERY, **other)
    return audits.draw(db, party.id, new, STAMP)
