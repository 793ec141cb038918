"""What was done to a car of the invented fleet: inspections with readings, and its components."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random

from seed_demo.kinds import Kind
from seed_demo.shapes import (
    EQUIPMENT_ITEMS,
    INSPECTORS,
    SHOPS,
    WHOLE,
    Inspection,
    Part,
)

ZONES = ("shell_top", "shell_bottom", "head_a", "head_b")
MAKERS = ("Example Valve Works (invented)", "Sample Fittings (invented)")


@dataclass(frozen=True, slots=True)
class History:
    """The day built, the days of full qualifications, oldest first, and how sheeting is kept up."""

    built_on: date
    done: tuple[date, ...]
    sheeting_compared: bool = False

    @property
    def latest(self) -> date:
        return self.done[-1] if self.done else self.built_on


def inspected(draw: Random, kind: Kind, history: History, today: date) -> tuple[Inspection, ...]:
    """Full qualifications and what lay between them, in the order of days."""
    found = [_full(draw, kind, history, on) for on in history.done]
    found += _between(draw, kind, history, today)
    found += _brakes(draw, history, today)
    found += _mishaps(draw, history, today)
    return tuple(sorted(found, key=lambda event: event.on))


def _full(draw: Random, kind: Kind, history: History, on: date) -> Inspection:
    years = (on - history.built_on).days / 365
    recorded = draw.random() < 0.98  # else the leak test was forgotten in the report
    items = WHOLE if recorded else WHOLE.removesuffix(";leakage")
    return _at_a_shop(draw, on.isoformat(), items, _readings(draw, kind, years))


def _at_a_shop(draw: Random, on: str, items: str, readings: str = "", **more: str) -> Inspection:
    shop, inspector = draw.choice(SHOPS[:3]), draw.choice(INSPECTORS)
    reference = f"R-{draw.randint(10_000, 99_999)}"
    return Inspection(on, items, readings, "", shop, inspector, reference, **more)


def _readings(draw: Random, kind: Kind, years: float) -> str:
    """Thousandths of an inch; the bottom wears fastest, most cars hardly at all."""
    share = min(years / 25, 1) * draw.random() ** 2
    worn = {"shell_bottom": kind.wear_in * share, "shell_top": kind.wear_in * share / 4}
    measured = (
        (zone, kind.plate_in - worn.get(zone, 0) + draw.uniform(-0.004, 0.012)) for zone in ZONES
    )
    return ";".join(f"{zone}={inches:.3f}" for zone, inches in measured)


def _between(draw: Random, kind: Kind, history: History, today: date) -> Iterator[Inspection]:
    """Work of shorter intervals: service equipment, and linings."""
    days = kind.equipment_months * 30
    for start in (history.built_on, *history.done):
        on = start + timedelta(days=draw.randint(days - 90, days - 10))
        if kind.equipment_months < 120 and on < today:
            yield _at_a_shop(draw, on.isoformat(), f"thickness;{EQUIPMENT_ITEMS}",
                             _readings(draw, kind, (on - history.built_on).days / 365))  # fmt: skip
    if kind.lining and history.latest < today - timedelta(days=1500):
        on = history.latest + timedelta(days=draw.randint(1200, 1490))
        yield _at_a_shop(draw, on.isoformat(), "lining")
    if kind.lining and not history.done and draw.random() < 0.9:  # of the others nobody knows
        yield _at_a_shop(draw, history.built_on.isoformat(), "lining_applied;thickness",
                         _readings(draw, kind, 0))  # fmt: skip


def _brakes(draw: Random, history: History, today: date) -> Iterator[Inspection]:
    """Tested within five years, or within eight of built; a few are late."""
    age, late = (today - history.built_on).days, draw.random() < 0.02
    if not late and age < 2_800 and draw.random() < 0.6:
        return
    tested = today - timedelta(days=draw.randint(1_830, 2_000) if late else draw.randint(10, 1_800))
    if tested > history.built_on:
        forgotten = tested > today - timedelta(days=400) and draw.random() < 0.05
        compared = history.sheeting_compared and not forgotten
        items = "air_brake;reflective_sheeting" if compared else "air_brake"
        yield _at_a_shop(draw, tested.isoformat(), items)


def _mishaps(draw: Random, history: History, today: date) -> Iterator[Inspection]:
    """A few cars were hit, had a valve changed, or failed and are not mended yet."""
    chance, day = draw.random(), today - timedelta(days=draw.randint(1, 90))
    if day <= history.latest:
        return
    if chance < 0.01:
        yield _at_a_shop(draw, day.isoformat(), "damage", notes="Struck in a yard (invented).")
    elif chance < 0.02:
        yield _at_a_shop(draw, day.isoformat(), "service_equipment_changed")
    elif chance < 0.03:
        yield Inspection(day.isoformat(), "relief_device", outcome="fail", facility=SHOPS[3],
                         notes="Opened low on the bench (invented).")  # fmt: skip
    elif chance < 0.15:
        yield Inspection(day.isoformat(), "service_equipment_changed;leakage", facility=SHOPS[3])


def parts_of(draw: Random, kind: Kind, history: History, tag: str) -> tuple[Part, ...]:
    """Its relief valves, and the bottom outlet valve where the specification allows one."""
    installed = history.latest
    valves = [
        Part("relief_valve", f"top {letter}", f"EV-{tag}{letter}", draw.choice(MAKERS),
             model=draw.choice(("EX-1", "EX-2")), lot=f"L{draw.randint(10, 40)}",
             set_psig=kind.set_psig, installed_on=installed.isoformat(),
             tested_on=(installed - timedelta(days=draw.randint(0, 150))).isoformat(),
             protected_in_storage=draw.choice(("yes", "yes", "no", "")),
             **_on_the_bench(draw, float(kind.set_psig)))
        for letter in "BA"[: kind.valves]
    ]  # fmt: skip
    outlet = Part("bottom_outlet", "bottom", f"BO-{tag}", MAKERS[1], "EX-9",
                  installed_on=installed.isoformat())  # fmt: skip
    return (*valves, outlet) if kind.may_have_outlet else tuple(valves)


def _on_the_bench(draw: Random, set_psig: float) -> dict[str, str]:
    """Of half the valves the figures of the test are known; of those a few had opened low."""
    if draw.random() < 0.5:
        return {}
    found = draw.uniform(0.90, 0.95) if draw.random() < 0.06 else draw.uniform(0.98, 1.02)
    left, tight = draw.uniform(0.99, 1.01), draw.uniform(0.82, 0.88)
    return {
        "found_psig": f"{set_psig * found:.1f}",
        "left_psig": f"{set_psig * left:.1f}",
        "vapor_tight_psig": f"{set_psig * tight:.1f}",
    }
