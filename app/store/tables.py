"""The record proper: parties, cars and their dated facts, components, events and readings, the list of ladings."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Literal

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Date,
    ForeignKey,
    Index,
    Integer,
    SmallInteger,
    String,
    Text,
    false,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column

from app.core.facts import SHELL_AND_HEAD_ZONES, STENCILED_ITEMS, ZONES, Extent, Outcome
from app.store.columns import (
    Base,
    CarFact,
    Exact,
    Id,
    Key,
    Measures,
    Moment,
    Recorded,
    Words,
    above_zero,
    by_car,
    named,
    one_of,
    zero_or_more,
)

STANDINGS = ("in_service", "out_of_service", "stored", "sold", "scrapped", "withdrawn")
# A car in one of these answers to its mark and number; in the others the name is free for another car.
IN_RECORD = ("in_service", "out_of_service", "stored")
OUT_OF_RECORD = tuple(each for each in STANDINGS if each not in IN_RECORD)
# Component kinds that are relief devices, and the kind of device the calculator knows each as.
RELIEF_KINDS: dict[str, Literal["valve", "disc", "combination"] | None] = {
    "relief_valve": "valve",
    "relief_disc": "disc",
    "relief_combination": "combination",
    "relief_device": None,
}
# Component kinds that count as service equipment: a change of one asks for a leakage test (180.509(j)).
EQUIPMENT_KINDS = (
    "valve", "gauge", "hatch", "manway", "coil", "thermometer_well", "sample_line", "bottom_outlet",
)  # fmt: skip
# What is known of the pressures of a lading in a car, psig (173.31(c)).
PRESSURES = (
    "vapor_pressure_psig_115f", "vapor_pressure_psig_105f", "static_head_psig", "gas_pad_psig",
    "loading_pressure_psig",
)  # fmt: skip


class Party(Base):
    __tablename__ = "party"
    id: Mapped[Id]
    name: Mapped[Words]
    time_zone: Mapped[str] = mapped_column(String(60), default="UTC")
    kept_by: Mapped[int | None] = mapped_column(
        Key, ForeignKey("party.id"), comment="whose people keep its records; null: its own"
    )
    keeps_register: Mapped[bool] = mapped_column(Boolean, default=False, server_default=false())
    keeps_photo_place: Mapped[bool] = mapped_column(
        Boolean,
        default=False,
        server_default=false(),
        comment="photographs of its cars keep where they were taken",
    )
    __table_args__ = (
        # Apart from its keeper nobody can tell from a name that a party exists.
        Index(
            "uq_party_own_name", "name", unique=True,
            sqlite_where=text("kept_by IS NULL"), postgresql_where=text("kept_by IS NULL"),
        ),
        Index("uq_party_kept_name", "kept_by", "name", unique=True),
        Index(
            "uq_party_keeps_register", "keeps_register", unique=True,
            sqlite_where=text("keeps_register"), postgresql_where=text("keeps_register"),
        ),
    )  # fmt: skip


class Car(Base):
    """A car is its own key. All but the key is a projection of the facts in force, for lists."""

    __tablename__ = "car"
    id: Mapped[Id]
    owner_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"))
    keeper_id: Mapped[int] = mapped_column(
        Key,
        ForeignKey("party.id"),
        comment="whose people keep its records: the owner or its keeper",
    )
    twin: Mapped[int] = mapped_column(
        Key, default=0, server_default="0",
        comment="its own key where it came to a keeper who had a car of its name in record, else 0",
    )  # fmt: skip
    mark: Mapped[str] = mapped_column(String(4))
    number: Mapped[int] = mapped_column(Integer)
    region: Mapped[Words] = mapped_column(default="")
    standing: Mapped[str] = mapped_column(String(20), default="in_service")
    specification: Mapped[str] = mapped_column(String(60))
    specification_class: Mapped[str] = mapped_column(String(3), default="")
    commodity: Mapped[Words] = mapped_column(default="")
    built_on: Mapped[date | None]
    next_item: Mapped[str | None] = mapped_column(String(30), comment="what falls due first")
    next_state: Mapped[str | None] = mapped_column(String(12))
    next_due_on: Mapped[date | None]

    __table_args__ = (
        *named("car"),
        one_of("standing", STANDINGS),
        Index(
            # Whether another's register has a car of this name is not told, so it is not asked.
            "uq_car_name_in_record", "mark", "number", "keeper_id", "twin", unique=True,
            sqlite_where=text("standing IN ('in_service', 'out_of_service', 'stored')"),
            postgresql_where=text("standing IN ('in_service', 'out_of_service', 'stored')"),
        ),
        Index("ix_car_register", "mark", "number", "id", "standing"),
        Index("ix_car_standing_register", "standing", "mark", "number", "id"),
        Index("ix_car_owner_register", "owner_id", "mark", "number", "id", "standing"),
        Index("ix_car_region_register", "region", "mark", "number", "id", "standing"),
    )  # fmt: skip


class CarName(CarFact, Base):
    """Mark and number, also those the car had before it was re-marked."""

    __tablename__ = "car_name"
    mark: Mapped[str] = mapped_column(String(4))
    number: Mapped[int] = mapped_column(Integer)
    __table_args__ = (
        *named("car_name"),
        by_car("car_name"),
        Index("ix_car_name_mark_number", "mark", "number"),
    )


class Ownership(CarFact, Base):
    __tablename__ = "ownership"
    owner_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"))
    lining_owner_id: Mapped[int | None] = mapped_column(
        Key,
        ForeignKey("party.id"),
        comment="who pays for the lining, where not the owner (180.503)",
    )
    equipment_owner_id: Mapped[int | None] = mapped_column(
        Key, ForeignKey("party.id"), comment="who maintains service equipment, where not the owner"
    )
    region: Mapped[Words] = mapped_column(default="")
    __table_args__ = (by_car("ownership"),)


class Standing(CarFact, Base):
    """In service, out of service, stored, sold, scrapped; or withdrawn with the import that brought the car."""

    __tablename__ = "standing"
    standing: Mapped[str] = mapped_column(String(20))
    reason: Mapped[str] = mapped_column(Text, default="")
    __table_args__ = (one_of("standing", STANDINGS), by_car("standing"))


class HoldFact(CarFact, Base):
    """Somebody stops the car from being loaded, or lets it go again, and says why."""

    __tablename__ = "hold"
    held: Mapped[bool] = mapped_column(Boolean)
    reason: Mapped[str] = mapped_column(Text)
    __table_args__ = (CheckConstraint("length(reason) > 0", name="reason"), by_car("hold"))


class Construction(CarFact, Base):
    """The specification and the tank, as they are from a day on (a conversion starts a new row)."""

    __tablename__ = "construction"
    specification: Mapped[str] = mapped_column(String(60))
    builder: Mapped[str | None] = mapped_column(String(200))
    design: Mapped[str | None] = mapped_column(
        String(200), comment="the drawing or approval that it was built by"
    )
    built_on: Mapped[date | None]
    rebuilt_on: Mapped[date | None]
    material: Mapped[str | None] = mapped_column(String(20))
    tensile_psi: Mapped[Decimal | None] = mapped_column(Exact)
    inside_diameter_in: Mapped[Decimal | None] = mapped_column(Exact)
    joint_efficiency: Mapped[Decimal | None] = mapped_column(Exact)
    head_shape: Mapped[str | None] = mapped_column(String(3))
    jacketed: Mapped[bool | None]
    insulated: Mapped[bool | None]
    thermal_protection: Mapped[bool | None]
    built_to: Mapped[str | None] = mapped_column(String(20))
    normalized_steel: Mapped[bool | None]
    required_shell_top_in: Mapped[Decimal | None] = mapped_column(Exact)
    required_shell_bottom_in: Mapped[Decimal | None] = mapped_column(Exact)
    required_head_a_in: Mapped[Decimal | None] = mapped_column(Exact)
    required_head_b_in: Mapped[Decimal | None] = mapped_column(Exact)
    __table_args__ = (
        one_of("head_shape", ("2:1", "3:1")),
        above_zero("tensile_psi"),
        above_zero("inside_diameter_in"),
        above_zero("joint_efficiency"),
        *(above_zero(f"required_{zone}_in") for zone in SHELL_AND_HEAD_ZONES),
        CheckConstraint("rebuilt_on >= built_on", name="rebuilt_after_built"),
        by_car("construction"),
    )


class ServiceFact(CarFact, Base):
    """The lading the car carries from a day on, as stated for this car."""

    __tablename__ = "service"
    commodity: Mapped[Words]
    un: Mapped[str | None] = mapped_column(String(6))
    hazardous: Mapped[bool] = mapped_column(Boolean, default=True)
    hazard_class: Mapped[str | None] = mapped_column(String(10))
    packing_group: Mapped[str | None] = mapped_column(String(3))
    poison_by_inhalation: Mapped[bool | None]
    corrosive_or_reactive: Mapped[bool | None] = mapped_column(
        comment="as the owner stated; null is not stated"
    )
    corrosion_rate_mil_per_year: Mapped[Decimal | None] = mapped_column(Exact)
    fluorinated_hydrocarbon_only: Mapped[bool] = mapped_column(Boolean, default=False)
    vapor_pressure_psig_115f: Mapped[Decimal | None] = mapped_column(Exact)
    vapor_pressure_psig_105f: Mapped[Decimal | None] = mapped_column(Exact)
    static_head_psig: Mapped[Decimal | None] = mapped_column(Exact)
    gas_pad_psig: Mapped[Decimal | None] = mapped_column(Exact)
    loading_pressure_psig: Mapped[Decimal | None] = mapped_column(Exact)
    __table_args__ = (
        one_of("packing_group", ("I", "II", "III")),
        CheckConstraint("corrosion_rate_mil_per_year >= 0", name="rate"),
        *(zero_or_more(pressure) for pressure in PRESSURES),
        by_car("service"),
    )


class LiningFact(CarFact, Base):
    """What is known of the lining; a row with `lined` false says that none is known."""

    __tablename__ = "lining"
    lined: Mapped[bool] = mapped_column(Boolean, default=True)
    kind: Mapped[str | None] = mapped_column(String(80))
    applied_on: Mapped[date | None]
    owner_interval_months: Mapped[int | None] = mapped_column(SmallInteger)
    documented: Mapped[bool] = mapped_column(Boolean, default=False)
    __table_args__ = (above_zero("owner_interval_months"), by_car("lining"))


class Fitting(CarFact, Base):
    """The owner's interval for service equipment, the sheeting, and whether there is a relief device at all."""

    __tablename__ = "fitting"
    has_relief_device: Mapped[bool | None] = mapped_column(comment="false: the car has none")
    service_equipment_interval_months: Mapped[int | None] = mapped_column(SmallInteger)
    sheeting_installed_on: Mapped[date | None]
    sheeting_method: Mapped[str | None] = mapped_column(String(20))
    __table_args__ = (
        above_zero("service_equipment_interval_months"),
        one_of("sheeting_method", ("replacement", "comparator")),
        by_car("fitting"),
    )


class StencilFact(CarFact, Base):
    """The due dates as painted on the car: `YYYY-MM-DD`, `YYYY-MM` or `YYYY` for each item."""

    __tablename__ = "stencil"
    marked_on: Mapped[date | None]
    visual: Mapped[str | None] = mapped_column(String(10))
    structural_integrity: Mapped[str | None] = mapped_column(String(10))
    safety_systems: Mapped[str | None] = mapped_column(String(10))
    thickness: Mapped[str | None] = mapped_column(String(10))
    lining: Mapped[str | None] = mapped_column(String(10))
    service_equipment: Mapped[str | None] = mapped_column(String(10))
    relief_device: Mapped[str | None] = mapped_column(String(10))
    __table_args__ = (
        *(CheckConstraint(f"length({item}) IN (4, 7, 10)", name=item) for item in STENCILED_ITEMS),
        by_car("stencil"),
    )


class ApprovalFact(CarFact, Base):
    """An approved other interval for an item (180.509(l)); one without an interval ends the one of its reference."""

    __tablename__ = "approval"
    item: Mapped[str] = mapped_column(String(30))
    interval_months: Mapped[int | None] = mapped_column(SmallInteger)
    reference: Mapped[Words] = mapped_column(default="")
    stenciled: Mapped[bool] = mapped_column(Boolean, default=False)
    __table_args__ = (
        one_of("item", STENCILED_ITEMS),
        above_zero("interval_months"),
        by_car("approval"),
    )


class Component(Recorded, Base):
    """A thing with a life of its own: it can be put on one car, taken off, and put on another."""

    __tablename__ = "component"
    kind: Mapped[str] = mapped_column(String(40))
    maker: Mapped[Words] = mapped_column(default="")
    model: Mapped[Words] = mapped_column(default="")
    lot: Mapped[Words] = mapped_column(default="")
    serial: Mapped[Words] = mapped_column(default="")
    owner_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"))
    __table_args__ = (Index("ix_component_kind_maker_model", "kind", "maker", "model", "lot"),)


class Installation(CarFact, Measures, Base):
    """A component put on a car, with what was known of it then; `from_on` is `installed_on` or BEGINNING."""

    __tablename__ = "installation"
    component_id: Mapped[int] = mapped_column(Key, ForeignKey("component.id"), index=True)
    position: Mapped[str] = mapped_column(String(60), default="")
    installed_on: Mapped[date | None]
    installed_month_only: Mapped[bool] = mapped_column(Boolean, default=False)
    tested_on: Mapped[date | None]
    set_psig: Mapped[Decimal | None] = mapped_column(Exact)
    protected_in_storage: Mapped[bool | None]
    owner_interval_months: Mapped[int | None] = mapped_column(SmallInteger)
    found_psig: Mapped[Decimal | None] = mapped_column(Exact)
    left_psig: Mapped[Decimal | None] = mapped_column(Exact)
    vapor_tight_psig: Mapped[Decimal | None] = mapped_column(Exact)
    __table_args__ = (
        above_zero("set_psig"),
        above_zero("owner_interval_months"),
        above_zero("vapor_tight_psig"),
        by_car("installation"),
    )


class Removal(Recorded, Base):
    """A component taken off; one installation ends once."""

    __tablename__ = "removal"
    installation_id: Mapped[int] = mapped_column(Key, ForeignKey("installation.id"), index=True)
    removed_on: Mapped[date] = mapped_column(Date)
    __table_args__ = (
        Index(
            "uq_removal_installation", "installation_id", unique=True,
            sqlite_where=text("superseded_at IS NULL"), postgresql_where=text("superseded_at IS NULL"),
        ),
    )  # fmt: skip


class EventRow(Recorded, Base):
    """An inspection or a change. `items` and `opens` hold item names joined by ';' in the calculator's order."""

    __tablename__ = "event"
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"))
    happened_on: Mapped[date] = mapped_column(Date)
    month_only: Mapped[bool] = mapped_column(Boolean, default=False)
    items: Mapped[str] = mapped_column(String(300))
    outcome: Mapped[Outcome] = mapped_column(String(4), default="pass")
    opens: Mapped[str] = mapped_column(String(300), default="")
    facility: Mapped[Words] = mapped_column(default="")
    inspector: Mapped[Words] = mapped_column(default="")
    reference: Mapped[Words] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(Text, default="")
    form_key: Mapped[str | None] = mapped_column(
        String(40), comment="a form sent twice is one event"
    )
    original_id: Mapped[int | None] = mapped_column(
        Key,
        comment="the first row of its chain of corrections, which gives its place within the day",
    )

    __table_args__ = (
        one_of("outcome", ("pass", "fail")),
        CheckConstraint("length(items) > 0", name="items"),
        Index(
            "uq_event_known_by", "car_id", "happened_on", "items", "facility", unique=True,
            sqlite_where=text("superseded_at IS NULL"), postgresql_where=text("superseded_at IS NULL"),
        ),
        Index("uq_event_form_key", "form_key", "car_id", unique=True),
        Index("ix_event_by_car", "car_id", "happened_on"),
    )  # fmt: skip


class ReadingRow(Measures, Base):
    __tablename__ = "reading"
    event_id: Mapped[int] = mapped_column(Key, ForeignKey("event.id"), primary_key=True)
    place: Mapped[int] = mapped_column(
        SmallInteger, primary_key=True, comment="its place in the report"
    )
    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"), index=True)
    zone: Mapped[str] = mapped_column(String(20))
    inches: Mapped[Decimal] = mapped_column(Exact)
    extent: Mapped[Extent] = mapped_column(String(10), default="general")
    span_in: Mapped[Decimal | None] = mapped_column(Exact)
    apart_in: Mapped[Decimal | None] = mapped_column(Exact)
    __table_args__ = (
        one_of("zone", ZONES),
        one_of("extent", ("general", "local")),
        above_zero("inches"),
        CheckConstraint("span_in >= 0", name="span"),
        CheckConstraint("apart_in >= 0", name="apart"),
    )


class Withdrawal(Base):
    """Why a row was superseded with none in its place, and by whom."""

    __tablename__ = "withdrawal"
    id: Mapped[Id]
    table_name: Mapped[str] = mapped_column(String(30))
    row_id: Mapped[int] = mapped_column(Key)
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]
    reason: Mapped[str] = mapped_column(Text, default="")
    __table_args__ = (Index("uq_withdrawal_row", "table_name", "row_id", unique=True),)


class Lading(Base):
    """An entry of the list of ladings to choose from; choosing copies it onto the car's service."""

    __tablename__ = "lading"
    id: Mapped[Id]
    name: Mapped[Words] = mapped_column(unique=True)
    un: Mapped[str | None] = mapped_column(String(6))
    hazardous: Mapped[bool] = mapped_column(Boolean, default=True)
    hazard_class: Mapped[str | None] = mapped_column(String(10))
    packing_group: Mapped[str | None] = mapped_column(String(3))
    poison_by_inhalation: Mapped[bool | None]
    corrosive_or_reactive: Mapped[bool | None]
    corrosion_rate_mil_per_year: Mapped[Decimal | None] = mapped_column(Exact)
    vapor_pressure_psig_115f: Mapped[Decimal | None] = mapped_column(Exact)
    vapor_pressure_psig_105f: Mapped[Decimal | None] = mapped_column(Exact)
    static_head_psig: Mapped[Decimal | None] = mapped_column(Exact)
    gas_pad_psig: Mapped[Decimal | None] = mapped_column(Exact)
    loading_pressure_psig: Mapped[Decimal | None] = mapped_column(Exact)
    __table_args__ = (
        one_of("packing_group", ("I", "II", "III")),
        CheckConstraint("corrosion_rate_mil_per_year >= 0", name="rate"),
        *(zero_or_more(pressure) for pressure in PRESSURES),
    )
