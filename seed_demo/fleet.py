"""The many cars of the invented fleet, drawn from a seed number."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import accumulate
from random import Random

from app.core.months import add_months
from seed_demo.histories import History, inspected, parts_of
from seed_demo.kinds import KINDS, Kind
from seed_demo.ladings import BY_NAME
from seed_demo.shapes import OWNERS, REGIONS, DemoCar

MARKS = {"ZQAX": 0, "ZQBX": 1, "ZQCX": 2, "ZQDX": 3, "ZQEX": 4, "ZQKX": 0}
STARTS = (201, 4810, 10450, 61200, 880, 104400)
WEIGHTS = tuple(accumulate(kind.weight for kind in KINDS))


def cars(count: int, seed: int, today: date) -> list[DemoCar]:
    """`count` cars; the same seed and day give the same cars."""
    draw = Random(seed)
    names = _names(draw)
    return [_car(draw, *next(names), today) for _ in range(count)]


def _names(draw: Random) -> Iterator[tuple[str, int]]:
    """Numbers in short runs, as cars are bought; some of three digits and some of six."""
    next_number = dict(zip(MARKS, STARTS, strict=True))
    while True:
        mark = draw.choice(list(MARKS))
        for _ in range(draw.randint(3, 25)):
            next_number[mark] += draw.choice((1, 1, 1, 2, 7))
            yield mark, next_number[mark]
        next_number[mark] += draw.randint(10, 400)


def _car(draw: Random, mark: str, number: int, today: date) -> DemoCar:
    kind = draw.choices(KINDS, cum_weights=WEIGHTS)[0]
    history = _history(draw, kind, today)
    facts = {
        "built_on": history.built_on.isoformat(),
        "inside_diameter_in": kind.diameter_in,
        **kind.tank,
        **BY_NAME[draw.choice(kind.ladings)].columns(),
        **_lining(draw, kind, history),
        **_stencil(draw, history),
        **_sheeting(draw, history, today),
    }
    if kind.equipment_months != 120:
        facts["service_equipment_interval_months"] = str(kind.equipment_months)
    if draw.random() < 0.03:  # papers lost: what is required is not firm
        facts["inside_diameter_in"] = ""
    owner, region = OWNERS[MARKS[mark]], draw.choice(REGIONS)
    events = inspected(draw, kind, history, today)
    parts = parts_of(draw, kind, history, f"{mark[2]}{number}")
    return DemoCar(mark, number, kind.specification, owner, region, facts, events, parts)


def _history(draw: Random, kind: Kind, today: date) -> History:
    """Qualified about every ten years since built; lately so that few are overdue, some soon."""
    built, compared = _built(draw, kind, today), draw.random() < 0.4
    left = _days_left(draw)
    last = add_months(today + timedelta(days=left), -120)
    done = []
    while last > built + timedelta(days=400):
        done.append(last)
        last -= timedelta(days=draw.randint(3100, 3640))
    if not done and add_months(built, 120) < today:
        done = [today - timedelta(days=draw.randint(30, 900))]
    return History(built, tuple(reversed(done)), compared)


def _built(draw: Random, kind: Kind, today: date) -> date:
    """Within 35 years, and for a few old cars near their age limit."""
    if not kind.since and draw.random() < 0.02:
        return add_months(today, -draw.randint(470, 602))
    first, last = add_months(today, -420), add_months(today, -12)
    if kind.since:
        first = max(first, date.fromisoformat(kind.since))
    if kind.until:
        last = min(last, date.fromisoformat(kind.until) - timedelta(days=1))
    return first + timedelta(days=draw.randint(0, max(0, (last - first).days)))


def _days_left(draw: Random) -> int:
    chance = draw.random()
    if chance < 0.03:
        return -draw.randint(1, 300)
    if chance < 0.10:
        return draw.randint(0, 180)
    return draw.randint(181, 3600)


def _lining(draw: Random, kind: Kind, history: History) -> dict[str, str]:
    if not kind.lining:
        return {}
    months = draw.choice((60, 72, 84, 96))
    return {
        "lining_kind": kind.lining,
        "lining_applied_on": history.latest.isoformat(),
        "lining_interval_months": str(months),
    }


def _stencil(draw: Random, history: History) -> dict[str, str]:
    """About a third of the cars have their painted dates in the register, most as counted."""
    if not history.done or draw.random() > 0.33:
        return {}
    due = add_months(history.latest, 120)
    painted = due.isoformat() if draw.random() < 0.9 else str(due.year)
    items = ("visual", "structural_integrity", "safety_systems")
    marked = {"stencil_marked_on": history.latest.isoformat()}
    return marked | {f"stencil_due_{item}": painted for item in items}


def _sheeting(draw: Random, history: History, today: date) -> dict[str, str]:
    """Compared with a panel, or put on within ten years; a few are late, of a few nobody knows."""
    if history.sheeting_compared:
        return {"reflective_sheeting_method": "comparator"}
    chance = draw.random()
    if chance < 0.04 and history.built_on.year < 2006:
        return {}
    age = draw.randint(3_660, 3_900) if chance > 0.97 else draw.randint(100, 3_600)
    put_on = max(history.built_on, today - timedelta(days=age))
    return {"reflective_sheeting_installed_on": put_on.isoformat()}
