"""A car of one company and two shops that stand for themselves."""

from datetime import date

from sqlalchemy.orm import Session

from app.actions import visits
from app.actions.visits import Sending
from app.store import cars
from tests.access.parties import (
    OTHER_SHOP,
    OWNER,
    SHOP,
    STAMP,
    asks,
    companies,
    lined_car,
)

SENT, ARRIVED, RELEASED = date(2026, 11, 2), date(2026, 11, 5), date(2026, 11, 20)


class Away:
    """A car of one company, and two shops that stand for themselves."""

    def __init__(self, db: Session) -> None:
        self.db = db
        self.party = companies(db, OWNER, SHOP, OTHER_SHOP)
        self.car = lined_car(db, self.party[OWNER])

    def owner(self) -> Session:
        return asks(self.db, self.party[OWNER], "planner", "record_facts")

    def shop(self, name: str = SHOP) -> Session:
        return asks(self.db, self.party[name], "shop", "record_work")

    def send(self, shop: str = SHOP, on: date = SENT) -> int:
        return visits.send(self.owner(), self.car.id, Sending(shop, on, "Look."), STAMP).id

    def reaches(self, name: str) -> bool:
        db = self.shop(name)
        return cars.reached(db, self.car.id)
