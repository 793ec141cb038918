"""What the core says of each distinct build and lading of a fleet: asked once each, then spread over the cars."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import floor
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.bulk.days import Flags, Numbers
from app.bulk.rows import MILLIONTHS
from app.core.facts import (
    SHELL_AND_HEAD_ZONES,
    Car,
    Due,
    Reason,
    Service,
    Settings,
    Tank,
)
from app.core.findings import Findings
from app.core.known import Case
from app.core.lading import Corrosive, corrosive
from app.core.lining import Lined
from app.core.rule import Rulebook
from app.core.service_end import service_end
from app.core.stencil import Specification, Unreadable, decode
from app.core.thickness import all_lines

REGIMES = ("fusion_welded", "ton_tank", "cryogenic", "seamless")
UNREADABLE = -1
# Without line C nothing reads above it.
NO_LINE = 1 << 60


class Build(NamedTuple):
    """`line_c` in whole millionths of an inch and `firm` by zone; `from_memory` when a line rests on such a fact."""

    regime: int
    lined_by_suffix: bool
    line_c: tuple[int, ...] = (NO_LINE,) * 4
    firm: tuple[bool, ...] = (False,) * 4
    from_memory: bool = False


@dataclass(frozen=True, slots=True)
class Builds:
    """The distinct builds as tables, a row each."""

    specs: list[Specification | None]
    regime: Numbers
    lined_by_suffix: Flags
    line_c: Numbers
    firm: Flags
    from_memory: Flags


def builds_of(builds: Sequence[tuple[str, Tank]], rulebook: Rulebook) -> Builds:
    specs = [_readable(text, rulebook) for text, _ in builds]
    told = [
        _build(spec, tank, rulebook) for spec, (_, tank) in zip(specs, builds, strict=True)
    ] or [Build(UNREADABLE, False)]
    return Builds(
        specs,
        np.array([each.regime for each in told]),
        np.array([each.lined_by_suffix for each in told]),
        np.array([each.line_c for each in told]),
        np.array([each.firm for each in told]),
        np.array([each.from_memory for each in told]),
    )


def _readable(text: str, rulebook: Rulebook) -> Specification | None:
    try:
        return decode(text, rulebook.stencils)
    except Unreadable:
        return None


def _build(spec: Specification | None, tank: Tank, rulebook: Rulebook) -> Build:
    if spec is None or spec.regime not in REGIMES:
        return Build(UNREADABLE, False)
    regime = REGIMES.index(spec.regime)
    if spec.regime != "fusion_welded":
        return Build(regime, spec.lined_by_suffix)
    found = all_lines(spec, tank, rulebook)
    lines = [found[zone] for zone in SHELL_AND_HEAD_ZONES]
    return Build(
        regime,
        spec.lined_by_suffix,
        # A reading is a whole number of millionths, so it is at or below C when it is at or below this.
        tuple(NO_LINE if line.c is None else floor(line.c * MILLIONTHS) for line in lines),
        tuple(line.firm for line in lines),
        any(line.confidence == "memory" for line in lines),
    )


@dataclass(frozen=True, slots=True)
class Ladings:
    """The distinct ladings as tables, a row each."""

    corrosive: Flags
    from_memory: Flags
    fluorinated: Flags


def ladings_of(services: Sequence[Service], rulebook: Rulebook) -> Ladings:
    told: list[Corrosive] = [corrosive(each, rulebook) for each in services]
    return Ladings(
        np.array([each.yes for each in told], dtype=bool),
        np.array([each.confidence == "memory" for each in told], dtype=bool),
        np.array([each.fluorinated_hydrocarbon_only for each in services], dtype=bool),
    )


class ServiceEnds:
    """The last day of service of each build with each lading that comes together in the fleet."""

    def __init__(self, rulebook: Rulebook, as_of: date) -> None:
        self.rulebook, self.as_of = rulebook, as_of
        self.found: dict[tuple[object, ...], Due] = {}

    def of(self, spec: Specification, tank: Tank, service: Service) -> Due:
        # Only this of the tank bears on it, so that unequal plates ask once.
        bare = Tank(
            jacketed=tank.jacketed, built_to=tank.built_to, normalized_steel=tank.normalized_steel
        )
        key = (spec.text, bare, service)
        if key not in self.found:
            self.found[key] = self._ask(spec, bare, service)
        return self.found[key]

    def _ask(self, spec: Specification, tank: Tank, service: Service) -> Due:
        car = Car("", 0, spec.text, tank=tank, service=service)
        case = Case(self.as_of, car, spec, (), Settings(), self.rulebook, ())
        nothing = Lined(False, None, Reason(""))
        found = Findings(case, {}, nothing, corrosive(service, self.rulebook), {}, ())
        return service_end(found).due


def distinct_pairs(one: Numbers, other: Numbers) -> tuple[list[tuple[int, int]], NDArray[np.int64]]:
    """The distinct pairs of two columns of codes, and which each row has."""
    wide = int(other.max(initial=0)) + 1
    pairs, which = np.unique(one * wide + other, return_inverse=True)
    return [divmod(int(pair), wide) for pair in pairs], which
