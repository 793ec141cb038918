"""A small invented fleet for the lists. All that falls due on a car counts from the day it was built
(no inspections, a lading stated not to be corrosive), so ten years after it."""

from datetime import UTC, date, datetime

from sqlalchemy.orm import Session

from app.actions import cars
from app.actions.changes import CarDetails, NewCar, NewName, NewOwnership, NewService, NewStanding
from app.actions.stamp import Stamp

TODAY = date(2026, 11, 25)
STAMP = Stamp("Ada Vale", datetime(2026, 11, 20, 9, 30, tzinfo=UTC), TODAY)
OIL = NewService("Vegetable oil", hazardous=False, corrosive_or_reactive=False)
QUILLON, MARROW = "Quillon Tank Lines", "Marrow Creek Cars"


def add(
    db: Session,
    mark: str,
    number: int,
    built_on: date | None,
    owner: str = QUILLON,
    region: str = "Gulf",
    standing: str = "in_service",
    specification: str = "DOT 111A100W1",
) -> int:
    """A car without a relief device; gives its key."""
    new = NewCar(
        NewName(mark, number),
        NewOwnership(owner, region),
        CarDetails(specification, built_on=built_on),
        service=OIL,
        standing=NewStanding(standing),
    )
    return cars.add_car(db, new, STAMP).id


def fleet(db: Session) -> dict[str, int]:
    """The cast by name, with their keys."""
    return {
        # Ten years end on 2026-11-24, yesterday.
        "overdue": add(db, "ZQKX", 1001, date(2016, 11, 24)),
        # Ten years end today; the due day itself is still in date.
        "today": add(db, "ZQKX", 1002, date(2016, 11, 25)),
        # 180 days from today, the last that is soon.
        "soon": add(db, "ZQAX", 2000, date(2017, 5, 24), MARROW, "Prairie"),
        "in date": add(db, "ZQAX", 2001, date(2020, 5, 1), MARROW, "Prairie", specification="DOT 105J300W"),
        # Out of the lists as long as it is stored.
        "stored": add(db, "ZQAX", 2002, date(2010, 1, 1), MARROW, "Prairie", "stored"),
        # Nobody knows when it was built.
        "unknown": add(db, "ZQBX", 3, None, MARROW, ""),
        "sold": add(db, "ZQBX", 4, date(2010, 1, 1), MARROW, "", "sold"),
    }  # fmt: skip


def many(db: Session, count: int, first: int = 1) -> None:
    """So many cars in service, all overdue, numbered from `first`."""
    for number in range(first, first + count):
        add(db, "ZQKX", number, date(2010, 1, 1))
