"""How many cars there are of a kind, and what lists offer to choose by: read from numbers kept with them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from app.store import cars, reach, rolled
from app.store.cars import RegisterFilter
from app.store.derived import CarRolled
from app.store.names import EVERY_NAME
from app.store.tables import IN_RECORD, OUT_OF_RECORD, Car, Party


@dataclass(frozen=True, slots=True)
class Owner:
    id: int
    name: str
    cars: int


def standings(db: Session) -> Counter[str]:
    """How many cars there are of each standing."""
    if _rolled_up(db, reach.some):
        number = func.sum(CarRolled.number)
        query = (
            select(CarRolled.standing, number).where(*_alike(db, "")).group_by(CarRolled.standing)
        )
    else:
        mine = reach.some(db, Car.owner_id, Car.id)
        query = select(Car.standing, func.count()).where(mine).group_by(Car.standing)
    return Counter(dict(db.execute(query).all()))


def _rolled_up(db: Session, reachable: Callable[..., reach.Condition]) -> bool:
    """Whether the numbers of `car_rolled` tell of what is reachable so; they know owners, and no shared cars."""
    mine = reach.of(db)
    shared = mine.foreign if reachable is reach.some else mine.foreign & {"shop"}
    return (mine.parties is None or not shared) and rolled.is_current(db, rolled.CARS)


def _alike(db: Session, what: str) -> list[ColumnElement[bool]]:
    return [CarRolled.what == what, reach.owned(db, CarRolled.owner_id), CarRolled.number > 0]


def count(db: Session, wanted: RegisterFilter) -> int:
    """How many cars the register has of these."""
    alike = {
        "region": wanted.region,
        "specification_class": wanted.specification_class,
        "commodity": wanted.commodity,
    }
    asked = [(what, value) for what, value in alike.items() if value is not None]
    named = wanted.search != EVERY_NAME or wanted.once_so_named or wanted.whole_only
    if named or len(asked) > 1 or not _rolled_up(db, reach.some):
        return count_one_by_one(db, wanted)
    what, value = asked[0] if asked else ("", "")
    kept = [*_alike(db, what), CarRolled.value == value]
    if wanted.owner_id is not None:
        kept.append(CarRolled.owner_id == wanted.owner_id)
    if wanted.standing is None:
        kept.append(CarRolled.standing.in_(IN_RECORD))
    elif wanted.standing != "all":
        kept.append(CarRolled.standing == wanted.standing)
    return db.scalar(select(func.coalesce(func.sum(CarRolled.number), 0)).where(*kept)) or 0


def count_one_by_one(db: Session, wanted: RegisterFilter) -> int:
    """The same from the cars alone: what the rolled up numbers are held against."""
    return db.scalar(select(func.count()).select_from(Car).where(*cars.conditions(db, wanted))) or 0


def owners(db: Session) -> list[Owner]:
    """Who owns cars in record, and how many."""
    if _rolled_up(db, reach.some):
        number = func.sum(CarRolled.number).label("cars")
        in_record = CarRolled.standing.not_in(OUT_OF_RECORD)
        query = select(CarRolled.owner_id, number).where(*_alike(db, ""), in_record)
        counted = query.group_by(CarRolled.owner_id).subquery()
    else:
        mine = reach.some(db, Car.owner_id, Car.id)
        each = select(Car.owner_id, func.count().label("cars"))
        query = each.where(Car.standing.not_in(OUT_OF_RECORD), mine)
        counted = query.group_by(Car.owner_id).subquery()
    found = db.execute(
        select(Party.id, Party.name, counted.c.cars)
        .join(counted, counted.c.owner_id == Party.id)
        .order_by(Party.name)
    )
    return [Owner(*row) for row in found]


def regions(db: Session) -> list[str]:
    return _different(db, "region", reach.whole)


def specification_classes(db: Session) -> list[str]:
    return _different(db, "specification_class", reach.some)


def commodities(db: Session) -> list[str]:
    return _different(db, "commodity", reach.whole)


def _different(db: Session, column: str, reachable: Callable[..., reach.Condition]) -> list[str]:
    if _rolled_up(db, reachable):
        in_record = CarRolled.standing.not_in(OUT_OF_RECORD)
        query = select(CarRolled.value).where(*_alike(db, column), in_record)
    else:
        mine = reachable(db, Car.owner_id, Car.id)
        query = select(getattr(Car, column)).where(Car.standing.not_in(OUT_OF_RECORD), mine)
    return sorted(each for each in db.scalars(query.distinct()) if each)
