"""Questions about what is mounted on a car, and where each component has been."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import Select, and_, or_, select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.store import reach
from app.store.cars import withdrawals
from app.store.prepared import by_key
from app.store.tables import RELIEF_KINDS, Car, Component, Installation, Removal, Withdrawal


@dataclass(frozen=True, slots=True)
class Mounted:
    """A component on a car: what it is, how it was put on, and when it was taken off."""

    installation: Installation
    component: Component
    removal: Removal | None
    withdrawal: Withdrawal | None = None

    @property
    def removed_on(self) -> date | None:
        return self.removal.removed_on if self.removal else None

    @property
    def is_relief_device(self) -> bool:
        return self.component.kind in RELIEF_KINDS

    @property
    def in_force(self) -> bool:
        return self.installation.superseded_at is None


def installation_or_raise(db: Session, installation_id: int) -> Installation:
    found = (
        select(Installation)
        .join(Car, Car.id == Installation.car_id)
        .where(Installation.id == installation_id, reach.whole(db, Car.owner_id, Car.id))
    )
    installation = db.scalars(found).first()
    if installation is None:
        raise NotFound(f"There is no installation with the number {installation_id}.")
    return installation


def component_of(db: Session, installation: Installation) -> Component:
    return db.get_one(Component, installation.component_id)


def same_as(db: Session, kind: str, maker: str, model: str, serial: str) -> Sequence[Component]:
    """The component that these tell from any other: several rows where its lot was stated otherwise."""
    return db.scalars(
        select(Component)
        .where(
            Component.kind == kind,
            Component.maker == maker,
            Component.model == model,
            Component.serial == serial,
            Component.superseded_at.is_(None),
            reach.owned(db, Component.owner_id),
        )
        .order_by(Component.id)
    ).all()


def removal_of(db: Session, installation_id: int) -> Removal | None:
    """How this installation ended, if it did."""
    return db.scalars(
        select(Removal).where(
            Removal.installation_id == installation_id, Removal.superseded_at.is_(None)
        )
    ).first()


def corrected_by(db: Session, installation_id: int) -> Installation | None:
    """The row that replaced this installation, if one did."""
    return db.scalars(select(Installation).where(Installation.corrects == installation_id)).first()


def as_corrected(db: Session, row: Installation) -> list[Installation]:
    """The row and those that it replaced, back to the first."""
    found = [row]
    while found[-1].corrects is not None:
        found.append(db.get_one(Installation, found[-1].corrects))
    return found


def removals_of(db: Session, row: Installation) -> list[Removal]:
    """Every removal that was ever recorded of it, also of the rows that it replaced."""
    ids = [each.id for each in as_corrected(db, row)]
    return list(db.scalars(select(Removal).where(Removal.installation_id.in_(ids))))


def others_moved(
    db: Session, row: Installation, on: date, except_removal: Removal | None
) -> set[str]:
    """Kinds of what else was put on the row's car, or taken off it, on a day; of the row only the other end."""
    put_on = select(Installation, Component.kind).where(
        Installation.installed_on == on, Installation.superseded_at.is_(None)
    )
    taken_off = (
        select(Removal, Component.kind)
        .join(Installation, Installation.id == Removal.installation_id)
        .where(Removal.removed_on == on, Removal.superseded_at.is_(None))
    )
    itself = row if except_removal is None else except_removal
    kinds = set()
    for query in (put_on, taken_off):
        there = query.join(Component, Component.id == Installation.component_id).where(
            Installation.car_id == row.car_id
        )
        kinds |= {kind for each, kind in db.execute(there) if each is not itself}
    return kinds


@dataclass(frozen=True, slots=True)
class Place:
    """A car that a component is on, and since when."""

    car_id: int
    mark: str
    number: int
    from_on: date


def where_mounted(db: Session, component_id: int, day: date | None) -> Place | None:
    """The car that a component is on now, or was still on after `day`."""
    still = Removal.id.is_(None)
    found = db.execute(
        select(Car.id, Car.mark, Car.number, Installation.from_on)
        .join(Installation, Installation.car_id == Car.id)
        .outerjoin(
            Removal,
            and_(Removal.installation_id == Installation.id, Removal.superseded_at.is_(None)),
        )
        .where(
            Installation.component_id == component_id,
            Installation.superseded_at.is_(None),
            still if day is None else or_(still, Removal.removed_on > day),
        )
    )
    first = found.first()
    return Place(*first) if first else None


def on_car(db: Session, car_id: int, day: date) -> list[Mounted]:
    """What is on the car on a day, by position; a component is off from the day of its removal."""
    found = db.execute(
        _mounted(car_id)
        .where(
            Installation.superseded_at.is_(None),
            Installation.from_on <= day,
            or_(Removal.id.is_(None), Removal.removed_on > day),
        )
        .order_by(Component.kind, Installation.position, Installation.id)
    )
    return [Mounted(*row) for row in found]


def history(db: Session, car_id: int) -> list[Mounted]:
    """Everything that was ever recorded as mounted on the car, latest first, corrected rows too."""
    query = _mounted(car_id).order_by(Installation.from_on.desc(), Installation.id.desc())
    found = db.execute(query).all()
    gone = withdrawals(db, "installation", [row[0].id for row in found if row[0].superseded_at])
    return [Mounted(*row, withdrawal=gone.get(row[0].id)) for row in found]


def like(db: Session, car_id: int, kind: str, serial: str, day: date | None) -> list[Installation]:
    """What of this kind and serial is on the car now, or was still on after `day`; oldest first."""
    still = Removal.id.is_(None)
    found = db.execute(
        _mounted(car_id)
        .where(
            Installation.superseded_at.is_(None),
            Component.kind == kind,
            Component.serial == serial,
            still if day is None else or_(still, Removal.removed_on > day),
        )
        .order_by(Installation.from_on, Installation.id)
    )
    return [row[0] for row in found]


def _mounted(car_id: int) -> Select[Installation, Component, Removal]:
    return by_key(
        select(Installation, Component, Removal)
        .join(Component, Component.id == Installation.component_id)
        .outerjoin(
            Removal,
            and_(Removal.installation_id == Installation.id, Removal.superseded_at.is_(None)),
        )
        .where(Installation.car_id == car_id)
    )
