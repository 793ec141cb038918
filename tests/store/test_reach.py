"""Who keeps the records of cars: brought up to date for all at once, and nobody learns from it of another's car."""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.access import Reach
from app.store import reach
from app.store.tables import Car, Party
from app.store.visits import CarReach
from tests.store.counting import statements

# Owners of cars of one name in the order of their keys, with how each stands; K is whose people keep all of them from
# now on. Then which of them are another car of that name in the same register.
CASES = [
    ("nobody else's", [("K", "in_service")], [False]),
    ("another's comes to one of K", [("K", "stored"), ("A", "in_service")], [False, True]),
    ("the same, recorded before it", [("A", "in_service"), ("K", "stored")], [True, False]),
    ("two come at once: the first has the name", [("A", "in_service"), ("B", "stored")], [False, True]),
    ("three", [("A", "stored"), ("B", "stored"), ("K", "stored")], [True, True, False]),
    ("the name is free: K's was sold", [("K", "sold"), ("A", "in_service")], [False, False]),
    ("as free as where the first that comes was", [("A", "scrapped"), ("B", "stored")], [False, False]),
]  # fmt: skip


def recorded(db: Session, owner: Party, standing: str, number: int = 1) -> Car:
    car = Car(
        owner_id=owner.id, keeper_id=owner.id, mark="ZQAX", number=number, standing=standing,
        specification="DOT 111A100W1",
    )  # fmt: skip
    db.add(car)
    db.flush()
    return car


def parties(db: Session) -> dict[str, Party]:
    """Each stands for itself."""
    made = {name: Party(name=name) for name in "KAB"}
    db.add_all(made.values())
    db.flush()
    return made


def keep_all(db: Session, found: dict[str, Party]) -> None:
    """K keeps the others from now on."""
    for name in "AB":
        found[name].kept_by = found["K"].id
    db.flush()


@pytest.mark.parametrize(("name", "standing", "twins"), CASES, ids=[case[0] for case in CASES])
def test_a_keeper_gets_cars_of_a_name_that_it_has_beside_its_own(
    any_db: Session, name: str, standing: list[tuple[str, str]], twins: list[bool]
) -> None:
    found = parties(any_db)
    cars = [recorded(any_db, found[owner], how) for owner, how in standing]
    keep_all(any_db, found)
    reach.settle_keepers(any_db)
    rows = any_db.execute(select(Car.id, Car.keeper_id, Car.twin).order_by(Car.id)).all()
    keeper = found["K"].id
    wanted = [
        (car.id, keeper, car.id if twin else 0) for car, twin in zip(cars, twins, strict=True)
    ]
    assert [tuple(row) for row in rows] == wanted


def test_only_the_cars_that_were_named_are_brought_up_to_date(any_db: Session) -> None:
    found = parties(any_db)
    first, second = (recorded(any_db, found[owner], "stored") for owner in "AB")
    keep_all(any_db, found)
    reach.settle_keepers(any_db, [second.id])
    rows = any_db.execute(select(Car.id, Car.keeper_id, Car.twin).order_by(Car.id)).all()
    # The first one has not come, so the name is free.
    assert [tuple(row) for row in rows] == [
        (first.id, found["A"].id, 0), (second.id, found["K"].id, 0)
    ]  # fmt: skip
    reach.settle_keepers(any_db)
    twin = any_db.scalar(select(Car.twin).where(Car.id == first.id))
    assert twin == first.id


def test_however_many_cars_come_one_statement_settles_them(any_db: Session) -> None:
    found = parties(any_db)
    for number in range(1, 40):
        recorded(any_db, found["A"], "stored", number)
    keep_all(any_db, found)
    with statements(any_db) as sent:
        reach.settle_keepers(any_db)
    assert len(sent) == 1


def test_who_has_one_car_in_the_shop_sees_of_another_no_more_than_is_shared(
    any_db: Session,
) -> None:
    """A shop that owns another car's lining: of that it finds the lining alone."""
    found = parties(any_db)
    in_shop, lined = (recorded(any_db, found["A"], "in_service", number) for number in (1, 2))
    mine = found["K"].id
    any_db.add(CarReach(car_id=in_shop.id, party_id=mine, kind="shop"))
    any_db.add(CarReach(car_id=lined.id, party_id=mine, kind="lining"))
    any_db.flush()
    any_db.info["reach"] = Reach(frozenset((mine,)), frozenset(("shop", "lining")))
    cars = select(Car.id).order_by(Car.id)
    assert any_db.scalars(cars.where(reach.whole(any_db, Car.owner_id, Car.id))).all() == [
        in_shop.id
    ]
    assert any_db.scalars(cars.where(reach.some(any_db, Car.owner_id, Car.id))).all() == [
        in_shop.id,
        lined.id,
    ]
    assert reach.items_of(any_db, in_shop.id) is None
    assert reach.items_of(any_db, lined.id) == {"lining"}
