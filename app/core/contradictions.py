"""Where the facts of a car contradict what is stenciled on it: each a sentence with its citation.

Only what is stated is held against the stencil; what nobody knows contradicts nothing, but for a
lining that the stencil asks for.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace

from app.core.facts import Car, Event, Reason
from app.core.lining import latest_step, lining_steps
from app.core.rule import Rule, Rulebook
from app.core.stencil import Specification, Unreadable, decode

# What the last digit says where no table row does (179.201-1), and the material letter of a lined tank.
NO_OUTLET, INSULATED = ("2", "4", "5", "7"), ("3", "4")
LINED_MATERIAL = "B"
BOTTOM_OUTLET = "bottom_outlet"


@dataclass(frozen=True, slots=True)
class Beside:
    """What is known beside the car's own facts.

    `lined` is None where neither a fact nor an event tells of a lining, and False after its removal.
    """

    lined: bool | None = None
    bottom_outlet: bool = False


def of_car(
    car: Car, events: Iterable[Event], kinds: Collection[str], rulebook: Rulebook
) -> tuple[Reason, ...]:
    """What contradicts the stencil of a car with these events and kinds of components on it.

    A stencil that cannot be read contradicts nothing.
    """
    try:
        spec = decode(car.specification, rulebook.stencils)
    except Unreadable:
        return ()
    steps = lining_steps(car.lining, events)
    lined = latest_step(steps)[1] if steps else bool(car.lining) or None
    return contradictions(spec, car, Beside(lined, BOTTOM_OUTLET in kinds), rulebook)


def contradictions(
    spec: Specification, car: Car, known: Beside, rulebook: Rulebook
) -> tuple[Reason, ...]:
    """Every contradiction, in the order in which a stencil is read."""
    finders = (_delimiter, _protection, _material, _weld, _outlet, _insulation, _lining)
    return tuple(told for find in finders for told in find(spec, car, known, rulebook))


def _told(rule: Rule, fact: str) -> Reason:
    return rule.because(f"{rule.text}; but {fact}")


def _by_row(spec: Specification, rule: Rule, fact: str) -> Reason:
    """The same, citing the table in which the specification stands."""
    told = _told(rule, fact)
    return replace(told, citation=spec.row.citation) if spec.row else told


def _delimiter(
    spec: Specification, car: Car, known: Beside, rulebook: Rulebook
) -> Iterator[Reason]:
    """Jacket and thermal protection as the delimiter claims them (179.22(c), (d))."""
    names = {"J": "says_jacket", "H": "says_enhanced", "T": "says_no_jacket"}
    name = names.get(spec.delimiter or "")
    if name is None or spec.regime != "fusion_welded":
        return
    rule = rulebook.rule(name)
    if spec.delimiter == "T" and car.tank.jacketed:
        yield _told(rule, "a jacket is recorded")
    if spec.delimiter != "T" and car.tank.jacketed is False:
        yield _told(rule, "the car is recorded as without a jacket")
    if car.tank.thermal_protection is False:
        yield _told(rule, "the car is recorded as without thermal protection")


def _protection(
    spec: Specification, car: Car, known: Beside, rulebook: Rulebook
) -> Iterator[Reason]:
    claimed_by_delimiter = spec.delimiter in ("J", "T", "H")
    if spec.class_ == "117" and not claimed_by_delimiter and car.tank.thermal_protection is False:
        rule = rulebook.rule("says_thermal_protection")
        yield _told(rule, "the car is recorded as without thermal protection")


def _material(spec: Specification, car: Car, known: Beside, rulebook: Rulebook) -> Iterator[Reason]:
    material = car.tank.material
    if material is None or "AL" not in spec.family.materials:
        return
    if (spec.material == "AL") != material.startswith("AL"):
        yield _told(rulebook.rule("says_aluminum"), f"{material} is recorded as the material")


def _weld(spec: Specification, car: Car, known: Beside, rulebook: Rulebook) -> Iterator[Reason]:
    if spec.weld != "I":
        return
    yield rulebook.rule("interim_dropped").reason
    rule = rulebook.rule("says_interim")
    if car.built_on and car.built_on <= rule.turning_day:
        yield _told(rule, f"this one was built on {car.built_on}")


def outlet_told(spec: Specification, known: Beside, rulebook: Rulebook) -> Iterator[Reason]:
    """A bottom outlet on a car whose class has none."""
    none = spec.bottom_outlet == "none" or (spec.row is None and spec.suffix in NO_OUTLET)
    if none and known.bottom_outlet:
        rule = rulebook.rule("says_no_bottom_outlet")
        yield _by_row(spec, rule, "one is recorded on the car")


def _outlet(spec: Specification, car: Car, known: Beside, rulebook: Rulebook) -> Iterator[Reason]:
    return outlet_told(spec, known, rulebook)


def _insulation(
    spec: Specification, car: Car, known: Beside, rulebook: Rulebook
) -> Iterator[Reason]:
    required = spec.insulation == "required" or (spec.row is None and spec.suffix in INSULATED)
    if required and car.tank.insulated is False:
        rule = rulebook.rule("says_insulated")
        yield _by_row(spec, rule, "the car is recorded as not insulated")


def _lining(spec: Specification, car: Car, known: Beside, rulebook: Rulebook) -> Iterator[Reason]:
    if spec.regime == "ton_tank" and known.lined:
        yield _told(rulebook.rule("ton_tank_unlined"), "a lining is recorded")
    asked = spec.lined_by_suffix or spec.material == LINED_MATERIAL
    if asked and not known.lined:
        removed = "the latest record of it is its removal"
        fact = "no lining is recorded" if known.lined is None else removed
        yield _told(rulebook.rule("says_lined"), fact)
