"""Invented people who may sign in to the demo, one for each thing there is to see; and what is shared with them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from app.actions import cars, invitations, passwords, people, plans, visits
from app.actions.changes import NewOwnership
from app.actions.invitations import Newcomer
from app.actions.stamp import Stamp
from app.actions.visits import Sending
from app.core.plan.basis import FIRST as FIRST_BASIS
from app.core.plan.basis import Move, PlanShop
from app.store import cars as register
from app.store.tables import Party
from seed_demo import directive
from seed_demo.shapes import OWNERS, REGIONS, SHOPS, TOUR_MARK, TOUR_REGION, Days

KEEPER = "Example Register Keepers (invented)"
LININGS = "Example Linings (invented)"
# Sent to the shop: an overdue car, and one with thickness readings. Lined by the lining owner's company.
AT_THE_SHOP = (101, 131)
LINED = (141, 142)


@dataclass(frozen=True, slots=True)
class DemoPerson:
    name: str
    email: str
    party: str
    roles: tuple[str, ...]


FIRST = DemoPerson(
    "Pat Planner (invented)", "planner@demo.invalid", KEEPER,
    ("planner", "compliance", "administrator"),
)  # fmt: skip
OTHERS = (
    DemoPerson("Indra Inspector (invented)", "inspector@demo.invalid", KEEPER, ("inspector",)),
    DemoPerson("Sam Shop (invented)", "shop@demo.invalid", SHOPS[0], ("shop",)),
    DemoPerson("Rae Rack (invented)", "rack@demo.invalid", OWNERS[0], ("loading_rack",)),
    DemoPerson("Lin Lining (invented)", "lining@demo.invalid", LININGS, ("planner",)),
)
PEOPLE = (FIRST, *OTHERS)


def settle(db: Session, stamp: Stamp, password: str) -> tuple[DemoPerson, ...]:
    """Add the people, all with one password, and share some cars of the fleet with them.

    The store has cars and nobody yet; the caller commits.
    """
    key = invitations.set_up_link(db, stamp.at)
    if key is None:
        raise LookupError("there are accounts already")
    new = Newcomer(FIRST.name, FIRST.email, password, password)
    invitations.set_up(db, key, new, KEEPER, FIRST.roles, stamp.at)
    for each in OTHERS:
        _add(db, each, password, stamp)
    _share(db, stamp)
    keeper = register.party_anywhere(db, KEEPER)
    if keeper is None:
        raise LookupError("nobody keeps the register")
    _plan_by(db, keeper, stamp)
    directive.order(db, keeper.id, stamp)
    return PEOPLE


def _plan_by(db: Session, keeper: Party, stamp: Stamp) -> None:
    """Standards for shop plans: three shops, invented days and costs."""
    shops = tuple(
        PlanShop(name, does, days, {}, cost)
        for name, does, days, cost in (
            (SHOPS[0], ("tank", "lining", "valve", "running gear"), 120.0, 1600.0),
            (SHOPS[1], ("tank", "valve", "running gear"), 90.0, 1300.0),
            (SHOPS[2], ("valve", "running gear"), 40.0, 900.0),
        )
    )
    moves = tuple(Move(region, SHOPS[at % 3], 700.0) for at, region in enumerate(REGIONS))
    plans.keep_basis(db, keeper.id, replace(FIRST_BASIS, shops=shops, moves=moves), stamp)


def _add(db: Session, new: DemoPerson, password: str, stamp: Stamp) -> None:
    party = register.party_anywhere(db, new.party) or people.add_party(db, new.party)
    person = people.new_person(db, new.name, new.email, stamp.at)
    passwords.put(person, password, stamp.at)
    people.add_memberships(db, person, party.id, new.roles, stamp.by, stamp.at)


def _share(db: Session, stamp: Stamp) -> None:
    days = Days(stamp.today)
    for number in AT_THE_SHOP:
        sending = Sending(SHOPS[0], days.day(0, 3), "Look at the whole car (invented).")
        visits.send(db, _car(db, number), sending, stamp)
    for number in LINED:
        car = register.car_or_raise(db, _car(db, number))
        owner = db.get(Party, car.owner_id)
        if owner is None:
            raise LookupError(f"the tour's car {number} has no owner")
        owned = NewOwnership(owner.name, TOUR_REGION, lining_owner=LININGS, from_on=days.day(1))
        cars.change_ownership(db, car.id, owned, stamp)


def _car(db: Session, number: int) -> int:
    car = register.by_name(db, TOUR_MARK, number)
    if car is None:
        raise LookupError(f"the tour lacks car {number}")
    return car.id
