"""A whole inspection as a tablet records it at one car, from what it took along: what the browser's test taps in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from tests.field.entries import Tablet
from tests.pictures import shots

ITEMS = ("visual", "thickness", "lining", "relief_device", "leakage")
READINGS = [f"0.4{40 + at % 9}" for at in range(40)]
PHOTOGRAPHS = 6
OF_A_HEAD = ("middle", "12 o'clock", "3 o'clock", "6 o'clock", "9 o'clock")
CLOCKS = ((10, "top"), (12, "top"), (2, "top"), (4, "bottom"), (6, "bottom"), (8, "bottom"))
Taken = dict[str, Any]


def inspection(taken: Taken, pictures: Sequence[bytes]) -> Tablet:
    """Everything recorded at the one car that was taken along, in the order in which the screens lead."""
    (car,) = taken["cars"]
    tablet = Tablet(car["id"], f"report of {car['number']}")
    tablet.begin(*ITEMS, happened_on=taken["taken_at"][:10], taken_at=taken["taken_at"])
    _look_over(tablet, taken, car)
    _measure(tablet)
    _photograph(tablet, pictures[: PHOTOGRAPHS // 2])
    _bench(tablet, car)
    _line(tablet)
    _photograph(tablet, pictures[PHOTOGRAPHS // 2 :], about=tablet.last["key"])
    _swap(tablet, car)
    leak = {"what": "The manway gasket", "medium": "air", "psig": "30", "minutes": "10"}
    tablet.add("leak_test", leak | {"outcome": "pass"})
    for item in ITEMS[1:]:
        tablet.outcome(item)
    return tablet.sign()


def _look_over(tablet: Tablet, taken: Taken, car: Taken) -> None:
    _heed(tablet, "entry", "visual")
    for step in taken["instructions"][car["instructions"]["visual"]]["steps"]:
        value = "0.5" if step["measure"] == "number" else None
        says = {"item": "visual", "step": step["id"], "outcome": "ok", "value": value}
        tablet.add("step", says)
    tablet.outcome("visual")


def _heed(tablet: Tablet, caution: str, job: str) -> None:
    tablet.add("caution", {"caution": caution, "job": job, "words": "Site procedures are followed"})


def _measure(tablet: Tablet) -> None:
    check = {"gauge": "TG-0007", "standard_in": "0.500", "read_in": "0.501"}
    tablet.add("gauge_check", check | {"valid_until": "2099-01-01"})
    for (zone, ring, spot), inches in zip(_spots(), READINGS, strict=True):
        tablet.reading(inches, zone, ring=ring, spot=spot)


def _spots() -> Iterator[tuple[str, int | None, str]]:
    """Where the screen leads: the B-end head, five rings by the clock, the A-end head."""
    yield from (("head_b", None, spot) for spot in OF_A_HEAD)
    for ring in range(1, 6):
        for clock, half in CLOCKS:
            yield f"shell_{half}", ring, f"ring {ring}, {clock} o'clock"
    yield from (("head_a", None, spot) for spot in OF_A_HEAD)


def _photograph(tablet: Tablet, pictures: Sequence[bytes], about: str | None = None) -> None:
    for each in pictures:
        says = {"digest": shots.sum_of(each), "bytes": len(each), "type": "image/jpeg"}
        tablet.add("photograph", says | {"about": about, "taken_at": tablet.last["made_at"]})


def _part(car: Taken, kind: str) -> int:
    """The number of the installation of a part of the car."""
    (found,) = [each["installation_id"] for each in car["parts"] if each["kind"] == kind]
    return int(found)


def _bench(tablet: Tablet, car: Taken) -> None:
    for caution in ("loosening", "pressure"):
        _heed(tablet, caution, "relief_device")
    test = {"found_psig": "74", "left_psig": "75", "vapor_tight_psig": "62", "outcome": "pass"}
    tablet.add("bench_test", {"installation_id": _part(car, "relief_valve")} | test)


def _line(tablet: Tablet) -> None:
    """Two areas, the second with the photographs that follow it."""
    for area in ("Ring 1, upper half", "Ring 2, lower half"):
        says = {"area": area, "condition": "sound", "spark_volts": "9000", "holidays": 0}
        tablet.add("lining", says)


def _swap(tablet: Tablet, car: Taken) -> None:
    on = {"kind": "bottom_outlet", "serial": f"BV-2-{car['number']}"}
    on |= {"tested_on": tablet.entries[0]["says"]["happened_on"], "protected_in_storage": True}
    says = {"off_installation_id": _part(car, "bottom_outlet"), "position": "bottom"}
    tablet.add("swap", says | {"on": on})
