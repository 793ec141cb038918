"""A store full of cars drawn at random from a seed: every regime, and every fact that bears on a date, also oddly.

Rows are put in as they would stand after years of use: facts replaced, withdrawn or of a later day, several events a
day, devices taken off. Nothing keeps them sensible, so that odd paths are met as often as plain ones.
"""

from collections import defaultdict
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from random import Random
from typing import Any

from sqlalchemy import insert
from sqlalchemy.orm import Session

from app.core.facts import CHANGES, EVENT_ITEMS, SHELL_AND_HEAD_ZONES, STENCILED_ITEMS, ZONES
from app.store import tables
from app.store.columns import BEGINNING, table_of
from app.store.directives import Directive, DirectiveClosing, DirectiveMatch, DirectiveTerm

AS_OF = date(2026, 11, 25)
# Recorded after all of it, for the store keeps nothing of days to come.
MOMENT = datetime(2060, 1, 1, tzinfo=UTC)
NAMES = (*EVENT_ITEMS, *CHANGES)
SPECIFICATIONS = (
    "DOT 111A100W1", "DOT 111A100W1", "DOT 111A100W5", "DOT 111A60ALW2", "DOT 105J300W",
    "DOT 105A300I", "DOT 112T340W", "DOT 114A400W", "DOT 115A60W6", "DOT 117J100W",
    "DOT 120S200ALW", "DOT 106A500X", "DOT 110A600W", "DOT 113A60W", "DOT 107A3000", "DOT 112H340W",
)  # fmt: skip
UN = (None, None, "UN1267", "UN1170", "UN1993", "UN1789", "UN1830", "UN1017", "UN1005")
COMMODITIES = (
    "Light cycle oil",
    "Sulphuric acid",
    "Hydrochloric acid, solution",
    "",
    "Invented syrup",
)
MAKERS = ("", "Brindle Invented Valves", "brindle  invented valves", "Invented Works")
SERIALS = ("", "AB1", "AB-20", "ab 7", "XY7", "7", "AB7R", "AB", "AB0300")
PLATES = ("0.25", "0.3125", "0.375", "0.40625", "0.4375", "0.53125", "0.546875", "0.5625")


class Draw(Random):
    def some(self, value: Any, share: float = 0.5) -> Any:
        """The value in a share of cases, else nothing."""
        return value if self.random() < share else None

    def yes(self, share: float = 0.5) -> bool:
        return self.random() < share

    def flag(self) -> bool | None:
        return self.choice((None, True, False))

    def day(self, first: int = 1996, last: int = 2027) -> date:
        start = date(first, 1, 1)
        return start + timedelta(days=self.randrange((date(last, 12, 31) - start).days))

    def inches(self) -> Decimal:
        if self.yes():
            return Decimal(self.choice(PLATES))
        return Decimal(self.randint(20_000, 80_000)) / 100_000

    def months(self) -> int | None:
        return self.some(self.randint(1, 240))


class Fleet:
    """Rows by table, filled car by car and stored at once."""

    def __init__(self, seed: int) -> None:
        self.draw, self.rows = Draw(seed), defaultdict[type, list[dict[str, Any]]](list)
        self.numbers = defaultdict[type, int](int)

    def put(self, table: type, **values: Any) -> int:
        self.numbers[table] += 1
        self.rows[table].append({"id": self.numbers[table], **values})
        return self.numbers[table]

    def fact(self, table: type, car: int, from_on: date | None = None, **values: Any) -> int:
        begun = from_on or self.draw.choice((BEGINNING, BEGINNING, self.draw.day(1990, 2028)))
        withdrawn = self.draw.some(MOMENT, 0.05)
        return self.put(table, car_id=car, from_on=begun, **_recorded(withdrawn), **values)

    def store(self, db: Session) -> None:
        for table, rows in self.rows.items():
            db.execute(insert(table_of(table)), rows)
        db.flush()


def _recorded(superseded_at: datetime | None = None) -> dict[str, Any]:
    return {"recorded_at": MOMENT, "recorded_by": "Alba Testwell", "superseded_at": superseded_at}


def fill(db: Session, cars: int, seed: int) -> list[int]:
    """Put so many cars into an empty store; gives their keys."""
    fleet = Fleet(seed)
    fleet.put(tables.Party, name="Quillmoor Invented Leasing")
    _directives(fleet)
    keys = [_car(fleet, number) for number in range(1, cars + 1)]
    fleet.store(db)
    return keys


def _car(fleet: Fleet, number: int) -> int:
    draw, specification = fleet.draw, fleet.draw.choice(SPECIFICATIONS)
    car = fleet.put(
        tables.Car, owner_id=1, keeper_id=1, mark="ZQKX", number=number, specification=specification
    )
    fleet.put(
        tables.CarName, car_id=car, from_on=BEGINNING, mark="ZQKX", number=number, **_recorded()
    )
    fleet.put(tables.Ownership, car_id=car, from_on=BEGINNING, owner_id=1, **_recorded())
    _construction(fleet, car, specification, BEGINNING)
    if draw.yes(0.1):
        _construction(fleet, car, draw.choice(SPECIFICATIONS), None)
    for _ in range(draw.choice((0, 1, 1, 1, 2))):
        _service(fleet, car)
    days = [draw.day() for _ in range(3)]
    for _ in range(draw.choice((0, 0, 1, 2))):
        _lining(fleet, car, days)
    if draw.yes():
        _fitting(fleet, car)
    for _ in range(draw.choice((0, 0, 1, 2))):
        _stencil(fleet, car, days)
    for _ in range(draw.choice((0, 0, 0, 1, 3))):
        _approval(fleet, car)
    for _ in range(draw.choice((0, 1, 1, 1, 2, 3))):
        _device(fleet, car, days)
    for _ in range(draw.choice((0, 1, 2, 4, 8))):
        _event(fleet, car, days)
    for _ in range(draw.choice((0, 0, 1, 3))):
        _order(fleet, car)
    return car


def _directives(fleet: Fleet) -> None:
    """Five, the last of them withdrawn; days fixed or counted from the find, also on one day for several."""
    for number in range(1, 6):
        directive = fleet.put(
            Directive, party_id=1, ordered_by="maker", orderer="Invented Works", number=f"B-{number}",
            title="Look", what="Look.", caution="", ordered_on=date(2020, 1, 1), condition={"lot": "L1"},
            as_of=date(2020, 1, 1), frozen_on=date(2020, 1, 1), takes_later=True, takes_by_hand=True,
            **_recorded(MOMENT if number == 5 else None),
        )  # fmt: skip
        for replaced in (MOMENT, None):
            days = fleet.draw.choice((None, 0, 400))
            fleet.put(
                DirectiveTerm, directive_id=directive, forbids_loading=fleet.draw.yes(), reason="",
                due_on=date(2026, 12, 1) if days is None else None, due_days=days, **_recorded(replaced),
            )  # fmt: skip


def _order(fleet: Fleet, car: int) -> None:
    draw = fleet.draw
    match = fleet.fact(
        DirectiveMatch, car, directive_id=draw.randint(1, 5), found="frozen", by_hand=draw.yes(), why=[],
        found_on=draw.choice((date(2025, 11, 1), draw.day(2020, 2026))), about="", thing="",
    )  # fmt: skip
    if draw.yes(0.3):
        fleet.put(
            DirectiveClosing, match_id=match, done_on=draw.day(2024, 2027), outcome="mended",
            reference="", finding="", **_recorded(draw.some(MOMENT, 0.2)),
        )  # fmt: skip


def _construction(fleet: Fleet, car: int, specification: str, from_on: date | None) -> None:
    draw = fleet.draw
    built = draw.some(draw.day(1970, 2026), 0.8)
    values = {
        f"required_{zone}_in": draw.some(draw.inches(), 0.15) for zone in SHELL_AND_HEAD_ZONES
    }
    known_plate = draw.yes(0.6)
    row = {
        "car_id": car, "from_on": from_on or draw.day(2000, 2028), **_recorded(),
        "specification": specification, "built_on": built,
        "rebuilt_on": draw.some(built + timedelta(days=draw.randint(0, 9000)), 0.2) if built else None,
        "material": draw.some(draw.choice(("TC128B", "A516-70", "A285C", "AL5083"))) if not known_plate else "TC128B",
        "inside_diameter_in": Decimal(119) if known_plate else draw.some(Decimal(draw.randint(84, 122))),
        "head_shape": draw.choice((None, "2:1", "3:1")),
        "jacketed": draw.flag(), "built_to": draw.choice((None, None, "CPC-1232", "PIH-2009")),
        "normalized_steel": draw.flag(), **values,
    }  # fmt: skip
    fleet.put(tables.Construction, **row)


def _service(fleet: Fleet, car: int) -> None:
    draw = fleet.draw
    fleet.fact(
        tables.ServiceFact, car,
        commodity=draw.choice(COMMODITIES), un=draw.choice(UN), hazardous=draw.yes(0.8),
        hazard_class=draw.choice((None, "3", "8", "2.3", "6.1", "Class 3", "3 (6.1)")),
        packing_group=draw.choice((None, "I", "II", "III")), poison_by_inhalation=draw.flag(),
        corrosive_or_reactive=draw.flag(),
        corrosion_rate_mil_per_year=draw.choice((None, None, Decimal("0.4"), Decimal("2.5"), Decimal("2.6"))),
        fluorinated_hydrocarbon_only=draw.yes(),
    )  # fmt: skip


def _lining(fleet: Fleet, car: int, days: list[date]) -> None:
    draw = fleet.draw
    fleet.fact(
        tables.LiningFact, car, lined=draw.yes(0.8), kind="rubber",
        applied_on=draw.some(draw.choice((*days, draw.day())), 0.7), owner_interval_months=draw.months(),
        documented=draw.yes(),
    )  # fmt: skip


def _fitting(fleet: Fleet, car: int) -> None:
    draw = fleet.draw
    fleet.fact(
        tables.Fitting, car, has_relief_device=draw.flag(),
        service_equipment_interval_months=draw.months(),
        sheeting_installed_on=draw.some(draw.day(2004, 2028)),
        sheeting_method=draw.choice((None, "replacement", "comparator")),
    )  # fmt: skip


def _painted(draw: Draw) -> str:
    day = draw.day(2012, 2044).isoformat()
    return draw.choice((day, day[:7], day[:4]))


def _stencil(fleet: Fleet, car: int, days: list[date]) -> None:
    draw = fleet.draw
    painted = {item: draw.some(_painted(draw)) for item in STENCILED_ITEMS}
    fleet.fact(
        tables.StencilFact,
        car,
        marked_on=draw.some(draw.choice((*days, draw.day(2005, 2027))), 0.8),
        **painted,
    )


def _approval(fleet: Fleet, car: int) -> None:
    draw = fleet.draw
    fleet.fact(
        tables.ApprovalFact, car, item=draw.choice(STENCILED_ITEMS),
        interval_months=draw.some(draw.randint(12, 180), 0.8),
        reference=draw.choice(("ZQ approval 7", "ZQ approval 8")), stenciled=draw.yes(0.7),
    )  # fmt: skip


def _device(fleet: Fleet, car: int, days: list[date]) -> None:
    draw = fleet.draw
    kind = draw.choice((*tables.RELIEF_KINDS, "relief_valve", "gauge"))
    component = fleet.put(
        tables.Component, kind=kind, maker=draw.choice(MAKERS), model=draw.choice(("", "EX-1")),
        lot=draw.choice(("", "L1", "l1", "L2")), serial=draw.choice(SERIALS), owner_id=1, **_recorded(),
    )  # fmt: skip
    installed = draw.some(draw.choice((*days, draw.day())), 0.8)
    month_only = bool(installed) and draw.yes(0.3)
    if installed and month_only:
        installed = installed.replace(day=1)
    tested = draw.some(
        installed - timedelta(days=draw.randint(-40, 400)) if installed else draw.day(), 0.8
    )
    placed = fleet.fact(
        tables.Installation, car, component_id=component, installed_on=installed,
        from_on=installed or BEGINNING, installed_month_only=month_only,
        tested_on=tested, protected_in_storage=draw.choice((None, True, True, False)),
        owner_interval_months=draw.months(),
    )  # fmt: skip
    if draw.yes(0.15):
        fleet.put(
            tables.Removal, installation_id=placed, removed_on=draw.day(2010, 2028),
            **_recorded(draw.some(MOMENT, 0.2)),
        )  # fmt: skip


def _event(fleet: Fleet, car: int, days: list[date]) -> None:
    draw = fleet.draw
    several = draw.sample(NAMES, draw.choice((1, 1, 2, 4, 7)))
    zones = draw.choice(
        ((), (), SHELL_AND_HEAD_ZONES, SHELL_AND_HEAD_ZONES, draw.choices(ZONES, k=3))
    )
    if len(zones) == len(SHELL_AND_HEAD_ZONES) and draw.yes(0.8):
        several.append("thickness")
    event = fleet.put(
        tables.EventRow, car_id=car, happened_on=draw.choice((*days, draw.day())),
        items=";".join(name for name in NAMES if name in several),
        outcome=draw.choice(("pass", "pass", "fail")),
        opens=draw.choice(("", "", "visual", "safety_systems;thickness", "relief_device;tank_retest")),
        facility=f"Made-up Shop {fleet.numbers[tables.EventRow]}", **_recorded(draw.some(MOMENT, 0.05)),
    )  # fmt: skip
    # Mostly sound; else one place lies on a line of the tables, or about it, or each place anywhere.
    chosen = draw.choice((None, None, zones[0] if zones else "", "all"))
    for place, zone in enumerate(zones):
        inches = draw.inches() if chosen in (zone, "all") else Decimal("0.75")
        fleet.rows[tables.ReadingRow].append(_reading(draw, event, place, car, zone, inches))


def _reading(
    draw: Draw, event: int, place: int, car: int, zone: str, inches: Decimal
) -> dict[str, Any]:
    extent = draw.choice(("general", "general", "local"))
    span, apart = (Decimal(4), Decimal(24)) if extent == "local" else (None, None)
    return {
        "event_id": event, "place": place, "car_id": car, "zone": zone, "inches": inches,
        "extent": extent, "span_in": span, "apart_in": apart,
    }  # fmt: skip
