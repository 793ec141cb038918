"""Relief device checks: the allowed setting, and a bench test as found and as left (179.15; ton tanks 180.519(b)).

Pressures are psig as exact fractions.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Literal

from app.core.facts import Reason
from app.core.rule import Rulebook
from app.core.stencil import Specification

BenchVerdict = Literal["within", "outside", "unknown"]


@dataclass(frozen=True, slots=True)
class Range:
    """What a setting may be, both ends included; why in `reasons`. None where nothing says."""

    least_psig: Fraction | None
    most_psig: Fraction | None
    reasons: tuple[Reason, ...]

    def holds(self, psig: Fraction) -> bool:
        return (self.least_psig is None or psig >= self.least_psig) and (
            self.most_psig is None or psig <= self.most_psig
        )


@dataclass(frozen=True, slots=True)
class Judged:
    """One value of a bench test against its range."""

    psig: Fraction
    verdict: BenchVerdict
    range: Range


def setting_range(
    spec: Specification, kind: str | None, built_on: date | None, rulebook: Rulebook
) -> Range:
    """The allowed start-to-discharge pressure of a valve, or burst pressure of a disc, for this car."""
    if spec.regime in ("cryogenic", "seamless"):
        return Range(None, None, (Reason("The rule for this class sets no range here"),))
    if spec.regime == "ton_tank":
        told = Reason(
            "The valve discharges at or below the table's pressure", "49 CFR 180.519(b)(3)"
        )
        return Range(None, spec.relief_max_psig, (told,))
    if spec.burst_psig is None:
        told = Reason("The tables give no burst pressure for this specification, so no range")
        return Range(None, None, (told,))
    if kind == "disc":
        return _disc(spec, spec.burst_psig, rulebook)
    return _valve(spec.burst_psig, built_on, rulebook)


def _valve(burst: Fraction, built_on: date | None, rulebook: Rulebook) -> Range:
    old, rule = rulebook.rule("relief_range_old"), rulebook.rule("relief_range")
    if burst <= old.limit("most_burst_psig") and built_on and built_on < old.turning_day:
        shares = old.limit("least_share"), old.limit("most_share")
        return Range(burst * shares[0], burst * shares[1], (old.reason,))
    reasons: tuple[Reason, ...] = (rule.reason,)
    if built_on is None and burst <= old.limit("most_burst_psig"):
        reasons += (
            Reason(
                "When the car was built is not known: judged as a newer car, the narrower range"
            ),
        )
    return Range(rule.limit("least_psig"), burst * rule.limit("most_share"), reasons)


def _disc(spec: Specification, burst: Fraction, rulebook: Rulebook) -> Range:
    rule = rulebook.rule("relief_disc")
    nominal = max(spec.test_psig or Fraction(0), burst * rule.limit("share"))
    return Range(nominal * (1 - rule.limit("less")), nominal, (rule.reason,))


def tolerance(set_psig: Fraction, rulebook: Rulebook) -> Range:
    """How far a valve's start-to-discharge may lie from its setting."""
    rule = rulebook.rule("relief_tolerance")
    within = (
        rule.limit("psi")
        if set_psig <= rule.limit("up_to_psig")
        else set_psig * rule.limit("share")
    )
    return Range(set_psig - within, set_psig + within, (rule.reason,))


def vapor_tight(set_psig: Fraction, rulebook: Rulebook) -> Range:
    """At which pressure at least a valve must still be vapor tight."""
    rule = rulebook.rule("relief_vapor_tight")
    return Range(set_psig * rule.limit("share"), None, (rule.reason,))


def judged(psig: Fraction, allowed: Range) -> Judged:
    """A measured pressure against what is allowed."""
    if allowed.least_psig is None and allowed.most_psig is None:
        return Judged(psig, "unknown", allowed)
    return Judged(psig, "within" if allowed.holds(psig) else "outside", allowed)
