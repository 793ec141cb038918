"""The tank test pressure that a lading asks for (49 CFR 173.31(c)), and whether the car is marked with as much.

Pressures are psig as exact fractions. A fact nobody stated is never taken as the lenient one: without
it the answer is "check", unless what is known already falls short.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from app.core.facts import Car, LadingPressures, Reason
from app.core.rule import Rule, Rulebook
from app.core.stencil import Specification, Unreadable, decode

PressureVerdict = Literal["enough", "short", "check"]


@dataclass(frozen=True, slots=True)
class Term:
    """One of the pressures of which the greatest is needed."""

    psig: Fraction
    text: str


@dataclass(frozen=True, slots=True)
class PressureNeeded:
    """What is needed, by which term, and the marked pressure; `missing` is why it is "check"."""

    needed_psig: Fraction
    marked_psig: Fraction
    verdict: PressureVerdict
    terms: tuple[Term, ...]
    missing: tuple[str, ...]
    reasons: tuple[Reason, ...]

    @property
    def governing(self) -> Term:
        return max(self.terms, key=lambda term: term.psig)


@dataclass(frozen=True, slots=True)
class Within:
    """The pressure in the tank on a hot day, as far as known, and what of it is not known."""

    psig: Fraction
    text: str
    missing: tuple[str, ...]


def pressure_needed(spec: Specification, car: Car, rulebook: Rulebook) -> PressureNeeded | None:
    """What the car's lading asks for.

    None for tanks that 173.31(c) is not about, and where no vapor or marked pressure is known.
    """
    marked, pressures = spec.test_psig, car.service.pressures
    if spec.regime != "fusion_welded" or marked is None or not pressures.has_vapor_pressure:
        return None
    rule = rulebook.rule("test_pressure")
    within = pressure_within(spec, car)
    terms = _terms(within, car, pressures, rule)
    terms.append(Term(marked, f"the part 179 minimum of {spec.text}"))
    needed = max(term.psig for term in terms)
    missing = (*within.missing, *_not_stated(car, pressures, marked, rule))
    verdict: PressureVerdict = "short" if needed > marked else "check" if missing else "enough"
    own = Reason("A test pressure that the regulations name for this very lading is not looked up")
    reasons = (rule.reason, own)
    return PressureNeeded(needed, marked, verdict, tuple(terms), missing, reasons)


def needed_for(car: Car, rulebook: Rulebook) -> PressureNeeded | None:
    """The same for a car as it is stenciled; None as well where that cannot be read."""
    try:
        spec = decode(car.specification, rulebook.stencils)
    except Unreadable:
        return None
    return pressure_needed(spec, car, rulebook)


def _terms(within: Within, car: Car, pressures: LadingPressures, rule: Rule) -> list[Term]:
    share, load = rule.limit("share"), pressures.loading_pressure_psig
    terms = [Term(within.psig * share, f"133 % of {within.text}")]
    if load is not None:
        terms.append(Term(load * share, "133 % of the greatest loading or unloading pressure"))
    if car.service.poison_by_inhalation:
        terms.append(Term(rule.limit("poison_psig"), "a lading poisonous by inhalation"))
    return terms


def _not_stated(
    car: Car, pressures: LadingPressures, marked: Fraction, rule: Rule
) -> Iterator[str]:
    """What could still ask for more than is marked."""
    if pressures.loading_pressure_psig is None:
        yield "the greatest loading or unloading pressure"
    if car.service.poison_by_inhalation is None and marked < rule.limit("poison_psig"):
        yield "whether the lading is poisonous by inhalation"


def is_insulated(spec: Specification, car: Car) -> bool:
    """As stated, else as its class must be; a car of which neither is known counts as not insulated."""
    if car.tank.insulated is not None:
        return car.tank.insulated
    return spec.insulation == "required"


def pressure_within(spec: Specification, car: Car) -> Within:
    """Vapor pressure at the temperature for the car, with static head and gas pad as far as known."""
    pressures = car.service.pressures
    vapor, at, missing = _vapor(is_insulated(spec, car), pressures)
    total, more = vapor, []
    for psig, name in (
        (pressures.static_head_psig, "static head"), (pressures.gas_pad_psig, "gas pad"),
    ):  # fmt: skip
        if psig is None:
            missing.append(f"the {name}")
        else:
            total += psig
            more.append(name)
    text = f"vapor pressure at {at} F" + (f" with {' and '.join(more)}" if more else "")
    return Within(total, text, tuple(missing))


def _vapor(insulated: bool, pressures: LadingPressures) -> tuple[Fraction, int, list[str]]:
    """The vapor pressure, at which temperature, and what is missing where it is not the one for the car."""
    cool, hot = pressures.vapor_pressure_psig_105f, pressures.vapor_pressure_psig_115f
    if insulated and cool is not None:
        return cool, 105, []
    if hot is not None:
        return hot, 115, []
    lacking = "the vapor pressure at 115 F, for a car not known to be insulated"
    return cool or Fraction(0), 105, [lacking]
