"""Rows to the calculator's facts: the one place where the two meet, for one car or for thousands.

A bounded number of plain selects a call, whatever the number of cars, and no mapped objects.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from fractions import Fraction
from functools import cache, lru_cache
from typing import NamedTuple

from sqlalchemy import BigInteger, and_, func, select, type_coerce
from sqlalchemy.orm import Session

from app.core import facts as core
from app.core import measure
from app.core.devices import Whole, whole_answer
from app.core.months import month_end
from app.core.rule import Rulebook
from app.core.trial import NOTHING, Change, changed
from app.store.asked import AS_OF, CAR_IDS, AnyRow, AnySelect, Asked, InForce, facts_of, known
from app.store.columns import CarFact, Exact
from app.store.open_orders import open_orders
from app.store.tables import (
    PRESSURES,
    RELIEF_KINDS,
    ApprovalFact,
    CarName,
    Component,
    Construction,
    EventRow,
    Fitting,
    HoldFact,
    Installation,
    LiningFact,
    Ownership,
    ReadingRow,
    Removal,
    ServiceFact,
    Standing,
    StencilFact,
)

DEFAULTS = core.Settings()
# Facts of which one row is in force at a time, and those without which there is no car.
ONE_IN_FORCE: tuple[type[CarFact], ...] = (
    Construction, CarName, Ownership, ServiceFact, LiningFact, Fitting, StencilFact, Standing, HoldFact,
)  # fmt: skip
NEEDED = (CarName, Construction, Ownership)


class Relief(NamedTuple):
    """A relief device on the car; the label tells it from the others there."""

    installation_id: int
    device: core.ReliefDevice
    label: str


@dataclass(frozen=True, slots=True)
class CarRecord:
    """What is known of a car, and whose it is. `car` has no relief device; ask `facts` for one."""

    car_id: int
    car: core.Car
    relief_devices: tuple[Relief, ...]
    events: tuple[core.Event, ...]
    settings: core.Settings
    owner_id: int
    region: str
    standing: str

    def facts(self, as_of: date, device: int | None = None) -> core.Facts:
        """The question to ask on `as_of`, with the device at this place of `relief_devices`.

        Without a place it is the first device, and every event counts. With one, a change of
        another device of the car is left out: it says nothing about this one's dates.
        """
        devices = self.relief_devices
        chosen = devices[device or 0].device if devices else self.car.relief_device
        events = self.events if device is None else self._events_of(devices[device].device)
        return core.Facts(as_of, replace(self.car, relief_device=chosen), events, self.settings)

    def whole_answer(self, as_of: date, rulebook: Rulebook, tried: Change = NOTHING) -> Whole:
        """The calculator's answer for the car on a day, all its relief devices looked at.

        With something `tried`, the answer if that were so.
        """

        def asked(device: int | None = None) -> core.Facts:
            return changed(self.facts(as_of, device), tried, rulebook)

        places = enumerate(self.relief_devices)
        devices = [(each.label, asked(place)) for place, each in places]
        return whole_answer(asked(), devices, rulebook)

    def _events_of(self, device: core.ReliefDevice) -> tuple[core.Event, ...]:
        others = {each.device.installed_on for each in self.relief_devices}
        others -= {device.installed_on, None}
        return tuple(
            _without_change(event) if event.on in others else event for event in self.events
        )


def _without_change(event: core.Event) -> core.Event:
    items = tuple(item for item in event.items if item != "relief_device_changed")
    return event if items == event.items else replace(event, items=items)


def load(
    db: Session,
    car_ids: Sequence[int],
    as_of: date,
    known_at: datetime | None = None,
    settings: core.Settings = DEFAULTS,
) -> dict[int, CarRecord]:
    """What holds of these cars on `as_of`, as known at a moment (None: now), by car key.

    A car of which no specification, name or owner was known then is not in the answer.
    """
    asked = Asked(db, car_ids, as_of, known_at)
    held = asked.each_latest(ONE_IN_FORCE)
    approvals, devices, events = _approvals(asked), _relief_devices(asked), _events(asked)
    orders, told = _orders(asked)
    found = {}
    for car_id in car_ids:
        rows = held.get(car_id)
        if rows and all(rows[table] for table in NEEDED):
            on_it = _denied(rows[Fitting], devices.get(car_id, ()))
            car = replace(
                _car(rows, approvals.get(car_id, ()), on_it), hold=_hold(rows[HoldFact]),
                orders=orders.get(car_id, ()), told_orders=told.get(car_id, ()),
            )  # fmt: skip
            happened = tuple(events.get(car_id, ()))
            found[car_id] = _record(car_id, car, on_it, happened, settings, rows)
    return found


def _car(
    rows: InForce,
    approvals: tuple[core.Approval, ...],
    on_it: tuple[Relief, ...],
) -> core.Car:
    """The car as its rows state it, without a relief device."""
    name, built, fitting = rows[CarName], rows[Construction], rows[Fitting]
    return core.Car(
        mark=name.mark,
        number=name.number,
        specification=built.specification,
        built_on=built.built_on,
        rebuilt_on=built.rebuilt_on,
        tank=tank_of(built),
        lining=_lining(rows[LiningFact]),
        service=_service(rows[ServiceFact]),
        relief_device=_none_at_all(fitting, on_it),
        service_equipment_interval_months=_equipment_interval(fitting),
        reflective_sheeting=_sheeting(fitting),
        stencil=_stencil(rows[StencilFact]),
        approvals=approvals,
        on_record=True,
        stands=_stands(rows[Standing]),
    )


def _stands(row: AnyRow | None) -> core.Stands | None:
    if row is None or row.standing == "in_service":
        return None
    return core.Stands(row.standing, row.from_on, row.reason)


def _record(
    car_id: int,
    car: core.Car,
    on_it: tuple[Relief, ...],
    happened: tuple[core.Event, ...],
    settings: core.Settings,
    rows: InForce,
) -> CarRecord:
    owned, standing = rows[Ownership], rows[Standing]
    return CarRecord(
        car_id, car, on_it, happened, settings,
        owned.owner_id, owned.region, standing.standing if standing else "in_service",
    )  # fmt: skip


@lru_cache(maxsize=65_536)
def _exact(millionths: int | None) -> Fraction | None:
    return None if millionths is None else Fraction(millionths, Exact.SCALE)


def tank_of(row: AnyRow) -> core.Tank:
    required = (
        (zone, _exact(getattr(row, f"required_{zone}_in"))) for zone in core.SHELL_AND_HEAD_ZONES
    )
    return core.Tank(
        material=row.material,
        tensile_psi=_exact(row.tensile_psi),
        inside_diameter_in=_exact(row.inside_diameter_in),
        joint_efficiency=_exact(row.joint_efficiency),
        head_shape=row.head_shape or "2:1",
        jacketed=row.jacketed,
        insulated=row.insulated,
        thermal_protection=row.thermal_protection,
        built_to=row.built_to,
        normalized_steel=row.normalized_steel,
        required_thickness_in=tuple((zone, inches) for zone, inches in required if inches),
    )


def _lining(row: AnyRow | None) -> core.Lining | None:
    if row is None or not row.lined:
        return None
    return core.Lining(row.kind, row.applied_on, row.owner_interval_months, row.documented)


def service_of(row: AnyRow | None) -> core.Service:
    # Nothing known of the lading: hazardous, the safe side.
    if row is None:
        return core.Service()
    return core.Service(
        commodity=row.commodity or None,
        un=row.un,
        hazardous=row.hazardous,
        hazard_class=row.hazard_class,
        packing_group=row.packing_group,
        poison_by_inhalation=row.poison_by_inhalation,
        corrosive_or_reactive=row.corrosive_or_reactive,
        corrosion_rate_mil_per_year=_exact(row.corrosion_rate_mil_per_year),
        fluorinated_hydrocarbon_only=row.fluorinated_hydrocarbon_only,
    )


def _service(row: AnyRow | None) -> core.Service:
    """What the car carries, with the pressures of it, which no due date depends on."""
    if row is None:
        return core.Service()
    known = core.LadingPressures(**{name: _exact(getattr(row, name)) for name in PRESSURES})
    return replace(service_of(row), pressures=known)


def _equipment_interval(fitting: AnyRow | None) -> int | None:
    return fitting.service_equipment_interval_months if fitting else None


def _none_at_all(fitting: AnyRow | None, devices: tuple[Relief, ...]) -> core.ReliefDevice | None:
    return core.ReliefDevice(kind="none") if _said_none(fitting) and not devices else None


def _denied(fitting: AnyRow | None, devices: Sequence[Relief]) -> tuple[Relief, ...]:
    """Devices on a car that is said to have none count, and say so."""
    if not _said_none(fitting):
        return tuple(devices)
    return tuple(each._replace(device=replace(each.device, denied=True)) for each in devices)


def _said_none(fitting: AnyRow | None) -> bool:
    return fitting is not None and fitting.has_relief_device is False


def _sheeting(row: AnyRow | None) -> core.ReflectiveSheeting:
    if row is None:
        return core.ReflectiveSheeting()
    return core.ReflectiveSheeting(row.sheeting_installed_on, row.sheeting_method or "replacement")


def _stencil(row: AnyRow | None) -> core.StencilMarks:
    if row is None:
        return core.StencilMarks()
    painted = ((item, getattr(row, item)) for item in core.STENCILED_ITEMS)
    return core.StencilMarks(
        row.marked_on, tuple((item, _day_or_year(text)) for item, text in painted if text)
    )


def _day_or_year(text: str) -> str:
    # A month painted alone counts from its first day, the earliest and so the safe one.
    return f"{text}-01" if len(text) == len("YYYY-MM") else text


def _hold(row: AnyRow | None) -> core.Hold | None:
    return core.Hold(row.from_on, row.reason) if row and row.held else None


_Orders = dict[int, tuple[core.Order, ...]]


def _orders(asked: Asked) -> tuple[_Orders, _Orders]:
    """By car, in their order: the directives that are open, and those told that nobody has decided about."""
    own: _Orders = {}
    told: _Orders = {}
    for car_id, due_on, name, title, forbids, about, told_by in open_orders(asked):
        found = told if told_by else own
        order = core.Order(name, title, due_on, forbids, about)
        found[car_id] = (*found.get(car_id, ()), order)
    return own, told


def _approvals(asked: Asked) -> dict[int, tuple[core.Approval, ...]]:
    held: dict[int, dict[tuple[str, str], core.Approval | None]] = defaultdict(dict)
    for row in asked.rows(ApprovalFact, facts_of(ApprovalFact)):
        months = row.interval_months
        stated = core.Approval(row.item, months, row.reference or None, row.stenciled)
        held[row.car_id][row.item, row.reference] = stated if months else None
    return {
        car_id: tuple(each for each in stated.values() if each) for car_id, stated in held.items()
    }


@cache
def _devices_query(now: bool) -> AnySelect:
    """The relief devices that are on a car."""
    gone = and_(
        Removal.installation_id == Installation.id,
        Removal.removed_on <= AS_OF,
        known(Removal, now),
    )
    return (
        select(
            Installation.car_id,
            Installation.id,
            Installation.position,
            Installation.installed_on,
            Installation.installed_month_only,
            Installation.tested_on,
            type_coerce(Installation.set_psig, BigInteger).label("set_psig"),
            Installation.stated,
            Installation.protected_in_storage,
            Installation.owner_interval_months,
            Component.kind,
            Component.serial,
        )
        .join(Component, Component.id == Installation.component_id)
        .outerjoin(Removal, gone)
        .where(Removal.id.is_(None), Component.kind.in_(RELIEF_KINDS))
    )


def _relief_devices(asked: Asked) -> dict[int, list[Relief]]:
    found: dict[int, list[Relief]] = defaultdict(list)
    for row in asked.rows(Installation, _devices_query(asked.now)):
        label = " ".join(part for part in (row.position, row.serial) if part)
        found[row.car_id].append(Relief(row.id, _device(row), label or f"number {row.id}"))
    return found


def _device(row: AnyRow) -> core.ReliefDevice:
    installed = row.installed_on
    by = month_end(installed) if installed and row.installed_month_only else installed
    return core.ReliefDevice(
        kind=RELIEF_KINDS[row.kind],
        set_psig=_exact(row.set_psig)
        if row.stated is None
        else next(_otherwise(row.stated, set_psig=row.set_psig)),
        tested_on=row.tested_on,
        installed_on=installed,
        installed_by=by,
        protected_in_storage=row.protected_in_storage,
        owner_interval_months=row.owner_interval_months,
    )


@cache
def _events_query(now: bool) -> AnySelect:
    return (
        select(
            EventRow.car_id, EventRow.id, EventRow.happened_on, EventRow.items, EventRow.outcome,
            EventRow.opens, EventRow.reference, EventRow.month_only,
        )
        .where(
            EventRow.car_id.in_(CAR_IDS),
            known(EventRow, now),
            EventRow.happened_on <= AS_OF,
        )
        .order_by(
            EventRow.car_id,
            EventRow.happened_on,
            func.coalesce(EventRow.original_id, EventRow.id),
        )
    )  # fmt: skip


def _events(asked: Asked) -> dict[int, list[core.Event]]:
    measured = _readings(asked)
    rows = asked.ask(_events_query(asked.now))
    found: dict[int, list[core.Event]] = defaultdict(list)
    for car_id, event_id, on, items, outcome, opens, reference, month_only in rows:
        found[car_id].append(
            core.Event(
                on, _names(items), outcome, tuple(measured.get(event_id, ())), _names(opens),
                reference or None, month_only=month_only,
            )
        )  # fmt: skip
    return found


@lru_cache(maxsize=4096)
def _names(joined: str) -> tuple[str, ...]:
    return tuple(joined.split(";")) if joined else ()


READINGS = (
        select(
            ReadingRow.event_id, ReadingRow.zone, type_coerce(ReadingRow.inches, BigInteger),
            ReadingRow.extent, type_coerce(ReadingRow.span_in, BigInteger),
            type_coerce(ReadingRow.apart_in, BigInteger), ReadingRow.stated,
        )
        .where(ReadingRow.car_id.in_(CAR_IDS))
        .order_by(ReadingRow.event_id, ReadingRow.place)
    )  # fmt: skip


def _readings(asked: Asked) -> dict[int, list[core.Reading]]:
    rows = asked.ask(READINGS)
    found: dict[int, list[core.Reading]] = defaultdict(list)
    for event_id, zone, inches, extent, span, apart, stated in rows:
        if stated is None:
            measured = Fraction(inches, Exact.SCALE), extent, _exact(span), _exact(apart)
        else:
            thickness = measure.exactly("inches", inches, stated)
            measured = thickness, extent, *_otherwise(stated, span_in=span, apart_in=apart)
        found[event_id].append(core.Reading(zone, *measured))
    return found


def _otherwise(stated: str, **millionths: int | None) -> Iterator[Fraction | None]:
    """Measures of a row that states some in another unit."""
    for name, held in millionths.items():
        yield None if held is None else measure.exactly(name, held, stated)
