"""What can be changed about a car, as plain frozen data: the forms, files and the API all speak it.

Names are those of the tables. `from_on` is the day from which a fact holds; None means that nobody
knows, so it holds from the beginning. Decimals have at most six places; lengths are inches.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal

from app.core.facts import Extent, Outcome
from app.core.measure import Amount


@dataclass(frozen=True, slots=True)
class NewName:
    mark: str
    number: int
    from_on: date | None = None


@dataclass(frozen=True, slots=True)
class NewOwnership:
    """Parties by name; one that is not known yet is added."""

    owner: str
    region: str = ""
    lining_owner: str | None = None
    equipment_owner: str | None = None
    from_on: date | None = None


@dataclass(frozen=True, slots=True)
class NewStanding:
    standing: str
    reason: str = ""
    from_on: date | None = None


@dataclass(frozen=True, slots=True)
class NewHold:
    """The car is stopped from being loaded, or let go again."""

    held: bool
    reason: str
    from_on: date | None = None


@dataclass(frozen=True, slots=True)
class CarDetails:
    """Specification and tank; `from_on` later than built is a conversion."""

    specification: str
    built_on: date | None = None
    rebuilt_on: date | None = None
    material: str | None = None
    tensile_psi: Decimal | None = None
    inside_diameter_in: Decimal | None = None
    joint_efficiency: Decimal | None = None
    head_shape: Literal["2:1", "3:1"] | None = None
    jacketed: bool | None = None
    insulated: bool | None = None
    thermal_protection: bool | None = None
    built_to: str | None = None
    normalized_steel: bool | None = None
    builder: str | None = None
    design: str | None = None
    required_shell_top_in: Decimal | None = None
    required_shell_bottom_in: Decimal | None = None
    required_head_a_in: Decimal | None = None
    required_head_b_in: Decimal | None = None
    from_on: date | None = None


@dataclass(frozen=True, slots=True)
class NewService:
    """`hazardous` is true unless stated otherwise; the other yes-or-no facts may be not stated."""

    commodity: str
    un: str | None = None
    hazardous: bool = True
    hazard_class: str | None = None
    packing_group: str | None = None
    poison_by_inhalation: bool | None = None
    corrosive_or_reactive: bool | None = None
    corrosion_rate_mil_per_year: Decimal | None = None
    fluorinated_hydrocarbon_only: bool = False
    vapor_pressure_psig_115f: Decimal | None = None
    vapor_pressure_psig_105f: Decimal | None = None
    static_head_psig: Decimal | None = None
    gas_pad_psig: Decimal | None = None
    loading_pressure_psig: Decimal | None = None
    from_on: date | None = None


@dataclass(frozen=True, slots=True)
class NewLining:
    """`lined` false says that the car is known to have none from that day."""

    lined: bool = True
    kind: str | None = None
    applied_on: date | None = None
    owner_interval_months: int | None = None
    documented: bool = False
    from_on: date | None = None


@dataclass(frozen=True, slots=True)
class NewFitting:
    """`has_relief_device` false says that the car has none at all."""

    service_equipment_interval_months: int | None = None
    sheeting_installed_on: date | None = None
    sheeting_method: Literal["replacement", "comparator"] | None = None
    has_relief_device: bool | None = None
    from_on: date | None = None


@dataclass(frozen=True, slots=True)
class NewStencil:
    """The due dates as painted: `YYYY-MM-DD`, `YYYY-MM` or `YYYY` for an item."""

    marked_on: date | None = None
    visual: str | None = None
    structural_integrity: str | None = None
    safety_systems: str | None = None
    thickness: str | None = None
    lining: str | None = None
    service_equipment: str | None = None
    relief_device: str | None = None
    from_on: date | None = None


@dataclass(frozen=True, slots=True)
class NewApproval:
    """An approved other interval; without one it ends the approval of its item and reference."""

    item: str
    interval_months: int | None = None
    reference: str = ""
    stenciled: bool = False
    from_on: date | None = None


@dataclass(frozen=True, slots=True)
class NewCar:
    name: NewName
    ownership: NewOwnership
    details: CarDetails
    standing: NewStanding = NewStanding("in_service")
    service: NewService | None = None
    lining: NewLining | None = None
    fitting: NewFitting | None = None
    stencil: NewStencil | None = None
    approvals: tuple[NewApproval, ...] = ()


@dataclass(frozen=True, slots=True)
class NewReading:
    """`confirmed` says that a person has looked again at an unlikely number of inches."""

    zone: str
    inches: Amount
    extent: Extent = "general"
    span_in: Amount | None = None
    apart_in: Amount | None = None
    confirmed: bool = False


@dataclass(frozen=True, slots=True)
class NewEvent:
    """An inspection, a change to the car, or both; with `month_only` on the first of the month.

    `form_key` is one form's own; sent again with the same key, it adds nothing.
    """

    happened_on: date
    items: tuple[str, ...]
    outcome: Outcome = "pass"
    month_only: bool = False
    opens: tuple[str, ...] = ()
    facility: str = ""
    inspector: str = ""
    reference: str = ""
    notes: str = ""
    readings: tuple[NewReading, ...] = ()
    form_key: str | None = None


@dataclass(frozen=True, slots=True)
class NewComponent:
    """Kinds with meaning to the calculator are in `store.tables`; any other word is taken too."""

    kind: str
    maker: str = ""
    model: str = ""
    lot: str = ""
    serial: str = ""


@dataclass(frozen=True, slots=True)
class NewInstallation:
    """`installed_month_only`: the day is the first of the month, and the month's last was possible.

    `is_change` records the change as an event of the day, so that the leakage test it asks for
    (180.509(j)) is owed; leave it false when writing down what has long been on the car.
    `confirmed` says that a person has looked again at a pressure left outside its tolerance, and
    `beside_another` that another relief device is in the same place, and stays there.
    """

    component: NewComponent
    position: str = ""
    installed_on: date | None = None
    installed_month_only: bool = False
    tested_on: date | None = None
    set_psig: Amount | None = None
    protected_in_storage: bool | None = None
    owner_interval_months: int | None = None
    found_psig: Amount | None = None
    left_psig: Amount | None = None
    vapor_tight_psig: Amount | None = None
    is_change: bool = False
    confirmed: bool = False
    beside_another: bool = False


@dataclass(frozen=True, slots=True)
class NewLading:
    name: str
    un: str | None = None
    hazardous: bool = True
    hazard_class: str | None = None
    packing_group: str | None = None
    poison_by_inhalation: bool | None = None
    corrosive_or_reactive: bool | None = None
    corrosion_rate_mil_per_year: Decimal | None = None
    vapor_pressure_psig_115f: Decimal | None = None
    vapor_pressure_psig_105f: Decimal | None = None
    static_head_psig: Decimal | None = None
    gas_pad_psig: Decimal | None = None
    loading_pressure_psig: Decimal | None = None
