"""Relief device checks: the allowed setting, and a bench test as found and as left.

49 CFR 179.15; ton tanks 180.519(b), and 179.301 for the build; cryogenic cars 179.401-1. Pressures are
psig as exact fractions.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Literal

from app.core.facts import Reason
from app.core.rule import Rulebook
from app.core.stencil import Specification
from app.core.test_pressure import Within

BenchVerdict = Literal["within", "outside", "unknown"]
Measure = Literal["set", "found", "left", "vapor_tight"]
MEASURES: tuple[Measure, ...] = ("set", "found", "left", "vapor_tight")
_MEASURED: dict[Measure, str] = {
    "set": "The setting",
    "found": "The pressure at which it was found to open",
    "left": "The pressure at which it was left to open",
    "vapor_tight": "The pressure up to which it was vapor tight",
}


@dataclass(frozen=True, slots=True)
class Range:
    """What a pressure may be, both ends included; why in `reasons`. Neither end where nothing says."""

    least_psig: Fraction | None
    most_psig: Fraction | None
    reasons: tuple[Reason, ...]

    @property
    def says_nothing(self) -> bool:
        return self.least_psig is None and self.most_psig is None

    def beyond(self, psig: Fraction) -> Fraction:
        """How far `psig` lies outside: below zero under the range, above zero over it, else zero."""
        if self.least_psig is not None and psig < self.least_psig:
            return psig - self.least_psig
        if self.most_psig is not None and psig > self.most_psig:
            return psig - self.most_psig
        return Fraction(0)


@dataclass(frozen=True, slots=True)
class Bench:
    """A relief device and its bench test, as far as known. `kind` is the calculator's word for it."""

    kind: str | None = None
    set_psig: Fraction | None = None
    found_psig: Fraction | None = None
    left_psig: Fraction | None = None
    vapor_tight_psig: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Judged:
    """One pressure of a device against what it may be; `psig` is None where nobody knows it.

    `warnings` are stricter figures that it misses without being outside its range.
    """

    measure: Measure
    psig: Fraction | None
    verdict: BenchVerdict
    range: Range
    warnings: tuple[Reason, ...] = ()

    @property
    def beyond_psi(self) -> Fraction:
        return Fraction(0) if self.psig is None else self.range.beyond(self.psig)


def bench_checks(
    spec: Specification, built_on: date | None, bench: Bench, rulebook: Rulebook
) -> tuple[Judged, ...]:
    """The setting, the pressures found and left and the vapor-tight pressure, each against its range.

    The setting is always there, for its range; the others where they were measured.
    """
    ranges = {
        "set": setting_range(spec, bench.kind, built_on, rulebook),
        "found": opening_range(spec, bench, rulebook),
        "left": opening_range(spec, bench, rulebook),
        "vapor_tight": vapor_tight(spec, bench, rulebook),
    }
    values = (bench.set_psig, bench.found_psig, bench.left_psig, bench.vapor_tight_psig)
    judged = (
        _judged(measure, psig, ranges[measure], _built_stricter(spec, measure, psig, rulebook))
        for measure, psig in zip(MEASURES, values, strict=True)
        if psig is not None or measure == "set"
    )
    return tuple(_surely(each, spec, built_on, bench, rulebook) for each in judged)


def _surely(
    each: Judged, spec: Specification, built_on: date | None, bench: Bench, rulebook: Rulebook
) -> Judged:
    """Where no setting is stated, a pressure at which none that is allowed could open is outside all the same."""
    unset = bench.set_psig is None and each.measure in ("found", "left")
    if not unset or each.psig is None or each.verdict != "unknown" or bench.kind == "disc":
        return each
    widest = _any_setting(setting_range(spec, bench.kind, built_on or date.min, rulebook), rulebook)
    if not widest.beyond(each.psig):
        return each
    return Judged(each.measure, each.psig, "outside", widest)


def _any_setting(allowed: Range, rulebook: Rulebook) -> Range:
    """From the least to the most at which a device may open, whichever allowed setting it has."""
    least, most = allowed.least_psig, allowed.most_psig
    if least is None or most is None:
        return Range(None, None, ())
    told = Reason("No setting is stated: with its tolerance, no allowed setting reaches this")
    ends = tolerance(least, rulebook).least_psig, tolerance(most, rulebook).most_psig
    return Range(*ends, (*allowed.reasons, told))


def setting_range(
    spec: Specification, kind: str | None, built_on: date | None, rulebook: Rulebook
) -> Range:
    """The allowed start-to-discharge pressure of a valve, or burst pressure of a disc, for this car."""
    if spec.regime in ("ton_tank", "cryogenic"):
        return _by_table(spec, kind, rulebook)
    if spec.regime == "seamless":
        return Range(None, None, (Reason("The rule for this class sets no range here"),))
    if spec.burst_psig is None:
        told = Reason("The tables give no burst pressure for this specification, so no range")
        return Range(None, None, (told,))
    if kind == "disc":
        return _disc(spec, spec.burst_psig, rulebook)
    return _valve(spec.burst_psig, built_on, rulebook)


def opening_range(spec: Specification, bench: Bench, rulebook: Rulebook) -> Range:
    """Where the device may open on the bench: its setting with the tolerance, or as its table says."""
    if bench.kind == "disc":
        told = Reason("A rupture disc opens once; it is not tested and set again")
        return Range(None, None, (told,))
    if spec.regime in ("ton_tank", "cryogenic"):
        return _by_table(spec, bench.kind, rulebook)
    if bench.set_psig is None:
        told = Reason("The setting is not stated, so there is nothing to hold the test against")
        return Range(None, None, (told,))
    return tolerance(bench.set_psig, rulebook)


def tolerance(set_psig: Fraction, rulebook: Rulebook) -> Range:
    """How far a valve's start-to-discharge may lie from its setting."""
    rule = rulebook.rule("relief_tolerance")
    within = (
        rule.limit("psi")
        if set_psig <= rule.limit("up_to_psig")
        else set_psig * rule.limit("share")
    )
    return Range(set_psig - within, set_psig + within, (rule.reason,))


def vapor_tight(spec: Specification, bench: Bench, rulebook: Rulebook) -> Range:
    """At which pressure at least a valve must still be vapor tight."""
    if bench.kind == "disc":
        return Range(None, None, (Reason("Vapor tightness is asked of valves"),))
    if spec.regime in ("ton_tank", "cryogenic"):
        return Range(_tight_by_table(spec), None, (_table_rule(spec, rulebook),))
    if bench.set_psig is None:
        told = Reason("The setting is not stated, so its share for vapor tightness is not known")
        return Range(None, None, (told,))
    rule = rulebook.rule("relief_vapor_tight")
    return Range(bench.set_psig * rule.limit("share"), None, (rule.reason,))


def for_lading(within: Within, rulebook: Rulebook) -> Range:
    """At which pressure at least a device must open for what its car carries."""
    return Range(within.psig, None, (rulebook.rule("relief_for_lading").reason,))


def in_words(each: Judged) -> str:
    """A judged pressure as a sentence without its stop."""
    if each.psig is None:
        return f"{_MEASURED[each.measure]} is not stated"
    told = f"{_MEASURED[each.measure]}, {psig_in_words(each.psig)} psig,"
    if each.verdict == "unknown":
        return f"{told} cannot be judged"
    allowed = range_in_words(each.range)
    if each.verdict == "within":
        return f"{told} is within what is allowed ({allowed})"
    beyond = each.beyond_psi
    where = "below" if beyond < 0 else "above"
    return f"{told} is {psig_in_words(abs(beyond))} psi {where} what is allowed ({allowed})"


def range_in_words(allowed: Range) -> str:
    """Such as 72 to 78 psig, or at most 375 psig; empty where nothing says."""
    least, most = allowed.least_psig, allowed.most_psig
    if least is not None and most is not None:
        return f"{psig_in_words(least)} to {psig_in_words(most)} psig"
    if most is not None:
        return f"at most {psig_in_words(most)} psig"
    return "" if least is None else f"at least {psig_in_words(least)} psig"


def psig_in_words(psig: Fraction) -> str:
    """To a thousandth, without idle zeros."""
    return f"{float(psig):.3f}".rstrip("0").rstrip(".")


def _judged(
    measure: Measure, psig: Fraction | None, allowed: Range, warnings: tuple[Reason, ...]
) -> Judged:
    if psig is None or allowed.says_nothing:
        return Judged(measure, psig, "unknown", allowed)
    verdict: BenchVerdict = "outside" if allowed.beyond(psig) else "within"
    return Judged(measure, psig, verdict, allowed, warnings)


def _valve(burst: Fraction, built_on: date | None, rulebook: Rulebook) -> Range:
    old, rule = rulebook.rule("relief_range_old"), rulebook.rule("relief_range")
    if burst <= old.limit("most_burst_psig") and built_on and built_on < old.turning_day:
        shares = old.limit("least_share"), old.limit("most_share")
        return Range(burst * shares[0], burst * shares[1], (old.reason,))
    reasons: tuple[Reason, ...] = (rule.reason,)
    if built_on is None and burst <= old.limit("most_burst_psig"):
        told = "When the car was built is not known: judged as a newer car, the narrower range"
        reasons += (Reason(told),)
    return Range(rule.limit("least_psig"), burst * rule.limit("most_share"), reasons)


def _disc(spec: Specification, burst: Fraction, rulebook: Rulebook) -> Range:
    rule = rulebook.rule("relief_disc")
    nominal = max(spec.test_psig or Fraction(0), burst * rule.limit("share"))
    return Range(nominal * (1 - rule.limit("less")), nominal, (rule.reason,))


def _by_table(spec: Specification, kind: str | None, rulebook: Rulebook) -> Range:
    """A ton tank's valve opens at or below its table's pressure, a cryogenic car's about it."""
    if kind == "disc":
        return Range(None, None, (Reason("The table for this class is about valves, not discs"),))
    told = (_table_rule(spec, rulebook),)
    row = spec.row
    if row is None or row.relief_set_psig is None:
        return Range(None, spec.relief_max_psig, told)
    within = row.relief_within_psi or Fraction(0)
    return Range(row.relief_set_psig - within, row.relief_set_psig + within, told)


def _tight_by_table(spec: Specification) -> Fraction | None:
    return spec.row.vapor_tight_psig if spec.row else None


def _table_rule(spec: Specification, rulebook: Rulebook) -> Reason:
    if spec.row is None:
        return Reason("The tables have no row for this specification, so no range")
    name = "relief_ton_tank" if spec.regime == "ton_tank" else "relief_cryogenic"
    return rulebook.rule(name).reason


def _built_stricter(
    spec: Specification, measure: Measure, psig: Fraction | None, rulebook: Rulebook
) -> tuple[Reason, ...]:
    """What a valve that passes its retest misses of the figures for the build (179.301)."""
    row, rule = spec.row, rulebook.rule("relief_ton_tank_built")
    if row is None or psig is None:
        return ()
    least, most = row.build_vapor_tight_psig, row.build_relief_max_psig
    if measure == "vapor_tight":
        missed = least is not None and psig < least
        told = f"{rule.text}: vapor tight at {least} psig at least"
    else:
        missed = most is not None and psig > most
        told = f"{rule.text}: it starts to discharge at {most} psig at most"
    return (rule.because(told),) if missed else ()
