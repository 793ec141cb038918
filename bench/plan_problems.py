"""Shop-planning problems of any size from a seed: invented shops on a plain, cars with a few jobs each."""

from __future__ import annotations

from math import hypot
from random import Random

from app.core.plan.problem import Car, Job, Problem, Shop

SKILLS = ("tank", "lining", "valve")
# Of a job: its skill, shop days, and what one month of its life given away costs.
WORK = (("tank", (3, 4, 5), (8, 25)), ("lining", (4, 6, 8), (10, 40)), ("valve", (1, 1, 2), (2, 8)))
FILLED = 0.8  # of the shops' days, how much the work takes


def problem(
    cars: int, seed: int, shops: int = 12, months: int = 60, filled: float = FILLED
) -> Problem:
    """`cars` cars with three jobs each, which take `filled` of all the days of `shops` shops in `months` months."""
    source = Random(seed)
    places = [(source.uniform(0, 1000), source.uniform(0, 1000)) for _ in range(shops)]
    fleet = tuple(_car(source, at, places, months) for at in range(cars))
    needed = sum(job.days for car in fleet for job in car.jobs if job.latest < months)
    shares = [source.uniform(0.5, 1.5) for _ in range(shops)]
    whole = needed / filled / months / sum(shares)
    return Problem(
        "2027-01",
        months,
        100_000.0,
        tuple(_shop(source, at, whole * share, months) for at, share in enumerate(shares)),
        fleet,
    )


def _shop(source: Random, at: int, days: float, months: int) -> Shop:
    does = SKILLS if at < 3 else tuple(source.sample(SKILLS, source.choice((2, 2, 3))))
    closed = source.randrange(months)
    rooms = tuple(
        0.0 if month == closed else float(max(1, round(days * source.uniform(0.9, 1.1))))
        for month in range(months)
    )
    return Shop(f"SHOP-{at + 1}", frozenset(does), rooms)


def _car(source: Random, at: int, places: list[tuple[float, float]], months: int) -> Car:
    x, y = source.uniform(0, 1000), source.uniform(0, 1000)
    far = {f"SHOP-{to + 1}": hypot(x - a, y - b) for to, (a, b) in enumerate(places)}
    moves = {
        code: round(300 + 2.5 * distance, 2)
        for code, distance in far.items()
        if code in ("SHOP-1", "SHOP-2", "SHOP-3") or source.random() < 0.8
    }
    together = source.randrange(-2, months + 12)
    return Car(
        f"ZQKX {at + 1}",
        float(source.choice((600, 900, 1200))),
        moves,
        tuple(_job(source, *work, together) for work in WORK),
        earliest=source.randrange(0, 6) if source.random() < 0.1 else None,
    )


def _job(
    source: Random, skill: str, days: tuple[int, ...], early: tuple[int, int], together: int
) -> Job:
    latest = max(0, together + source.choice((0, 0, source.randrange(-18, 19))))
    late = None if skill == "tank" and latest > 1 else 400.0
    return Job(
        skill, skill, float(source.choice(days)), latest, round(source.uniform(*early), 2), late
    )
