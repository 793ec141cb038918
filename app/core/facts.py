"""What the calculator needs to know about a car, and what it answers: plain frozen data.

Lengths are inches and pressures psig, as exact fractions. A fact nobody knows is None.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Literal

Outcome = Literal["pass", "fail"]
Extent = Literal["general", "local"]
Status = Literal["due_now", "overdue", "soon", "in_date", "by_event", "unknown", "not_required"]
State = Literal["owed", "dated", "by_event", "unknown", "not_required"]
Confidence = Literal["verified", "memory"]
Verdict = Literal[
    "condemned", "at_or_below_c", "above_c", "not_measured", "unknown", "owner_judged"
]
# What the rule asks; what is owed and what closes it; what was counted from; what was taken for granted on the safe
# side; what would change the answer; and what stands beside it: a mechanical item told with the loading answer.
Part = Literal["asks", "owed", "closes", "counted", "assumed", "would_change", "mechanical"]
# The part 179 table, the plate formula, the owner's design minimum.
ThicknessSource = Literal["table", "formula", "owner"]
LoadingVerdict = Literal["may_load", "check", "may_not_load"]

SHELL_AND_HEAD_ZONES = ("shell_top", "shell_bottom", "head_a", "head_b")
OWNER_JUDGED_ZONES = ("sump", "nozzle", "housing")
ZONES = SHELL_AND_HEAD_ZONES + OWNER_JUDGED_ZONES

# Due items in the order in which every list and answer shows them.
ITEMS = (
    "visual", "structural_integrity", "safety_systems", "thickness", "lining",
    "service_equipment", "relief_device", "rupture_disc", "tank_retest", "leakage",
    "air_brake", "reflective_sheeting", "age_limit", "service_end", "directive",
)  # fmt: skip
# What a rule asks for; a directive is its own authority, and is closed for itself, whatever is inspected.
RULE_ITEMS = tuple(item for item in ITEMS if item != "directive")
# Last days of a car are counted, never inspected.
EVENT_ITEMS = tuple(item for item in RULE_ITEMS if item not in ("age_limit", "service_end"))
# What work in a shop can put in date again, and a visit be planned for.
VISIT_ITEMS = (*EVENT_ITEMS, "directive")
# What can be done or happen to a car that is no qualification but may open one (180.509(b), (d)(2), (f), (j)).
CHANGES = (
    "damage", "fire_damage", "ordered_inspection", "lining_removed", "insulation_removed",
    "thermal_protection_removed", "head_protection_removed", "repair_reducing_thickness",
    "service_equipment_changed", "relief_device_changed", "lining_applied",
    "lining_repaired_locally", "sheeting_replaced",
)  # fmt: skip
# Items whose date a stencil, an approval or the due precision may move.
STENCILED_ITEMS = (
    "visual", "structural_integrity", "safety_systems", "thickness", "lining",
    "service_equipment", "relief_device",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tank:
    """The tank as built. `required_thickness_in` is the owner's design minimum by zone."""

    material: str | None = None
    tensile_psi: Fraction | None = None
    inside_diameter_in: Fraction | None = None
    joint_efficiency: Fraction | None = None
    head_shape: Literal["2:1", "3:1"] = "2:1"
    jacketed: bool | None = None
    insulated: bool | None = None
    thermal_protection: bool | None = None
    built_to: str | None = None
    normalized_steel: bool | None = None
    required_thickness_in: tuple[tuple[str, Fraction], ...] = ()


@dataclass(frozen=True, slots=True)
class Lining:
    """A lining or coating; `documented` means service history or analysis supports more than 8 years."""

    kind: str | None = None
    applied_on: date | None = None
    owner_interval_months: int | None = None
    documented: bool = False


@dataclass(frozen=True, slots=True)
class LadingPressures:
    """What is known of the pressures of a lading in a car, psig (173.31(c))."""

    vapor_pressure_psig_115f: Fraction | None = None
    vapor_pressure_psig_105f: Fraction | None = None
    static_head_psig: Fraction | None = None
    gas_pad_psig: Fraction | None = None
    loading_pressure_psig: Fraction | None = None

    @property
    def has_vapor_pressure(self) -> bool:
        return (
            self.vapor_pressure_psig_115f is not None or self.vapor_pressure_psig_105f is not None
        )


@dataclass(frozen=True, slots=True)
class Service:
    """The lading the car carries. `corrosive_or_reactive` is what the owner stated; None is not stated."""

    commodity: str | None = None
    un: str | None = None
    hazardous: bool = True
    hazard_class: str | None = None
    packing_group: str | None = None
    poison_by_inhalation: bool | None = None
    corrosive_or_reactive: bool | None = None
    corrosion_rate_mil_per_year: Fraction | None = None
    fluorinated_hydrocarbon_only: bool = False
    pressures: LadingPressures = LadingPressures()


@dataclass(frozen=True, slots=True)
class ReliefDevice:
    """The relief device on the car now.

    `installed_by` is the last day it can have been installed on: the month's last day when only a
    month is known, else `installed_on` itself. `denied` when the car is stated elsewhere to have none.
    """

    kind: Literal["valve", "disc", "combination", "none"] | None = None
    set_psig: Fraction | None = None
    tested_on: date | None = None
    installed_on: date | None = None
    installed_by: date | None = None
    protected_in_storage: bool | None = None
    owner_interval_months: int | None = None
    denied: bool = False


@dataclass(frozen=True, slots=True)
class ReflectiveSheeting:
    installed_on: date | None = None
    method: Literal["replacement", "comparator"] = "replacement"


@dataclass(frozen=True, slots=True)
class StencilMarks:
    """The due dates painted on the car: per item a day (`YYYY-MM-DD`) or a year (`YYYY`), as painted."""

    marked_on: date | None = None
    due: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Approval:
    item: str
    interval_months: int
    reference: str | None = None
    stenciled: bool = False


@dataclass(frozen=True, slots=True)
class Reading:
    """A measured thickness. A local reading says how far the thin area spans and how far it lies from the next."""

    zone: str
    inches: Fraction
    extent: Extent = "general"
    span_in: Fraction | None = None
    apart_in: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Event:
    """An inspection (`items` with an outcome) or a change to the car, or both on one day.

    `opens_left_out` are what `opens` named that the car does not have, once that was left out;
    with `month_only`, `on` is the first of the only month that is known.
    """

    on: date
    items: tuple[str, ...]
    outcome: Outcome = "pass"
    readings: tuple[Reading, ...] = ()
    opens: tuple[str, ...] = ()
    reference: str | None = None
    opens_left_out: tuple[str, ...] = ()
    month_only: bool = False


@dataclass(frozen=True, slots=True)
class Hold:
    """Somebody stopped the car, for a reason, from a day on."""

    since: date
    reason: str


@dataclass(frozen=True, slots=True)
class Stands:
    """That the car is not in service, as what (`out_of_service`, `stored`), since when and why."""

    standing: str
    since: date
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Order:
    """What an authority or a maker orders to be checked on the car, and is not closed yet.

    `name` is who ordered it and its number; `about` says of what it is, where that is a component.
    """

    name: str
    title: str
    due_on: date
    forbids_loading: bool = False
    about: str = ""


@dataclass(frozen=True, slots=True)
class Car:
    mark: str
    number: int
    specification: str
    built_on: date | None = None
    rebuilt_on: date | None = None
    tank: Tank = Tank()
    lining: Lining | None = None
    service: Service = Service()
    relief_device: ReliefDevice | None = None
    service_equipment_interval_months: int | None = None
    reflective_sheeting: ReflectiveSheeting = ReflectiveSheeting()
    stencil: StencilMarks = StencilMarks()
    approvals: tuple[Approval, ...] = ()
    # Whether a register holds the car: of its lading more can be stated then, and what is not is missing.
    on_record: bool = False
    stands: Stands | None = None
    hold: Hold | None = None
    orders: tuple[Order, ...] = ()
    # What was open where the car came from, and nobody has decided about yet: no due items here.
    told_orders: tuple[Order, ...] = ()

    @property
    def name(self) -> str:
        return f"{self.mark} {self.number}"


@dataclass(frozen=True, slots=True)
class Settings:
    """How dates are rounded and read where the rule text is silent (open questions of 180.509 and 180.515)."""

    due_precision: Literal["day", "month_end", "year_end"] = "day"
    stencil_year: Literal["start", "end"] = "start"
    soon_days: int = 180


@dataclass(frozen=True, slots=True)
class Facts:
    """One question: this car with these events, in their order, asked for on `as_of`."""

    as_of: date
    car: Car
    events: tuple[Event, ...] = ()
    settings: Settings = field(default_factory=Settings)


@dataclass(frozen=True, slots=True)
class Reason:
    """A sentence and the rule it rests on. `part` is what it does in an explanation, for headings alone.

    `path` is the field of a question that a warning is about, as programs name it. `known_from` is what told
    of the rule, where its own text was not seen.
    """

    text: str
    citation: str | None = None
    part: Part | None = field(default=None, compare=False)
    path: str | None = field(default=None, compare=False)
    known_from: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Due:
    """One due item. `due_on` is None under the states without a date; the calendar fields stay whatever the state.

    `rule` is the id of the rule that governs it: of several the one that sets its interval.
    """

    item: str
    state: State
    due_on: date | None = None
    basis_on: date | None = None
    interval_months: int | None = None
    calculated_due_on: date | None = None
    confidence: Confidence = "verified"
    reasons: tuple[Reason, ...] = ()
    rule: str = ""


@dataclass(frozen=True, slots=True)
class Required:
    """One of the up to three that ask for a thickness of a zone, inches; `governs` when it asks for the most."""

    source: ThicknessSource
    inches: Fraction
    reason: Reason
    confidence: Confidence
    governs: bool = False


@dataclass(frozen=True, slots=True)
class ZoneThickness:
    """A zone against its lines, in inches. Lines are None where nothing gives a required thickness.

    With `measured_month_only`, `measured_on` is the first of the only month that is known.
    """

    zone: str
    verdict: Verdict
    required_in: Fraction | None = None
    line_c_in: Fraction | None = None
    line_d_in: Fraction | None = None
    line_e_in: Fraction | None = None
    reading_in: Fraction | None = None
    measured_on: date | None = None
    extent: Extent | None = None
    reasons: tuple[Reason, ...] = ()
    sources: tuple[Required, ...] = ()
    measured_month_only: bool = False


@dataclass(frozen=True, slots=True)
class Loading:
    verdict: LoadingVerdict
    reasons: tuple[Reason, ...]
    caution: str


@dataclass(frozen=True, slots=True)
class Answer:
    """Everything the calculator says of one car on one day."""

    facts: Facts
    rulebook_id: str
    rulebook_edition: str
    items: tuple[Due, ...]
    next: Due | None
    thickness: tuple[ZoneThickness, ...]
    loading: Loading
    warnings: tuple[Reason, ...] = ()

    def item(self, name: str) -> Due | None:
        return next((due for due in self.items if due.item == name), None)
