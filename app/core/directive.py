"""Which cars and components a directive is about: its condition, what is known of a car, and whether that matches.

All that a condition states must hold. What is not on record, or cannot be compared, is neither yes nor no: somebody
has to look.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import date
from functools import lru_cache
from itertools import chain
from typing import Any, Literal

Found = Literal["frozen", "recorded_later", "later", "followed"]
# `not_concerned`: looked at, and none of those meant; `gone`: a component that is on the car no more.
Outcome = Literal["nothing_found", "mended", "not_concerned", "gone"]
Held = bool | None  # None: cannot be told
Fact = tuple[str, str]

# An unspecific kind of component may be any of these.
RELIEF_DEVICES = ("relief_valve", "relief_disc", "relief_combination")
# What a condition asks of a component beside its kind.
OF_COMPONENTS = ("maker", "model", "lot", "serial_from", "serial_to")
AGENCIES = ("DOT", "TC", "AAR", "ICC", "CTC")


@dataclass(frozen=True, slots=True)
class Condition:
    """What must hold, all of it; None is not asked. Without a `kind` it is about cars, else about components.

    Days are inclusive. `serial_from` and `serial_to` are the ends of a range, see `in_range`.
    """

    specification: str | None = None
    design: str | None = None
    builder: str | None = None
    built_from: date | None = None
    built_to: date | None = None
    material: str | None = None
    un: str | None = None
    lading: str | None = None
    owner: str | None = None
    lining: str | None = None
    kind: str | None = None
    maker: str | None = None
    model: str | None = None
    lot: str | None = None
    serial_from: str | None = None
    serial_to: str | None = None

    def stated(self) -> dict[str, Any]:
        """The fields that are asked, in their order, as they are kept: days as text."""
        return {
            name: value.isoformat() if isinstance(value, date) else value
            for name, value in asdict(self).items()
            if value is not None
        }


@dataclass(frozen=True, slots=True)
class CarLooks:
    """What a condition can ask of a car, as it was on a day; None is not known. `lining` is "" for no lining."""

    specification: str
    design: str | None = None
    builder: str | None = None
    built_on: date | None = None
    material: str | None = None
    un: str | None = None
    lading: str | None = None
    owner: str | None = None
    lining: str | None = ""


@dataclass(frozen=True, slots=True)
class ComponentLooks:
    """What a condition can ask of a component; empty is not known."""

    kind: str
    maker: str = ""
    model: str = ""
    lot: str = ""
    serial: str = ""


@dataclass(frozen=True, slots=True)
class Match:
    """That a condition holds, or (`by_hand`) may hold: by which facts, and which cannot be told."""

    by_hand: bool
    why: tuple[Fact, ...]


def condition_of(kept: Mapping[str, Any]) -> Condition:
    """The condition from what `Condition.stated` gave."""
    values = dict(kept)
    for day in {"built_from", "built_to"} & values.keys():
        values[day] = date.fromisoformat(values[day])
    return Condition(**values)


def matches(
    condition: Condition, car: CarLooks, component: ComponentLooks | None = None
) -> Match | None:
    """Whether all that is asked holds; None when anything surely does not."""
    of_component = _asked_of_component(condition, component) if component else ()
    return _judged(chain(of_component, _asked_of_car(condition, car)))


def component_matches(condition: Condition, component: ComponentLooks) -> Match | None:
    """The same of what is asked of a component alone."""
    return _judged(_asked_of_component(condition, component))


def _judged(asked: Iterable[tuple[str, str, Held]]) -> Match | None:
    why: list[Fact] = []
    by_hand = False
    for name, found, held in asked:
        if held is False:
            return None
        why.append((name, found or "not on record"))
        by_hand = by_hand or held is None
    return Match(by_hand, tuple(why))


def _asked_of_car(condition: Condition, car: CarLooks) -> Iterator[tuple[str, str, Held]]:
    """Each fact that the condition asks for: its name, what is on record, and whether it is as asked."""
    if condition.specification is not None:
        found = car.specification
        yield "specification", found, same_design(condition.specification, found)
    for name in ("design", "builder", "material", "un", "lading", "owner"):
        wanted, found = getattr(condition, name), getattr(car, name)
        if wanted is not None:
            yield name, found or "", same(wanted, found)
    if condition.built_from or condition.built_to:
        built = car.built_on
        between = _between(built, condition.built_from, condition.built_to)
        yield "built_on", built.isoformat() if built else "", between
    if condition.lining is not None:
        none = car.lining == ""
        held = False if none else same(condition.lining, car.lining)
        yield "lining", car.lining or "", held


def _asked_of_component(
    condition: Condition, component: ComponentLooks
) -> Iterator[tuple[str, str, Held]]:
    if condition.kind is not None:
        yield "kind", component.kind, same_kind(condition.kind, component.kind)
    for name in ("maker", "model", "lot"):
        wanted = getattr(condition, name)
        if wanted is not None:
            found = getattr(component, name)
            yield name, found, same(wanted, found)
    if condition.serial_from is not None or condition.serial_to is not None:
        held = in_range(component.serial, condition.serial_from, condition.serial_to)
        yield "serial", component.serial, held


def _between(day: date | None, first: date | None, last: date | None) -> Held:
    if day is None:
        return None
    return (first is None or first <= day) and (last is None or day <= last)


@lru_cache(maxsize=65_536)
def plain(text: str) -> str:
    """A name as it is compared: case and the number of spaces do not matter."""
    return " ".join(text.casefold().split())


def same(wanted: str, found: str | None) -> Held:
    """Whether two names are one; None where nothing is on record, or where they differ in spaces and signs alone."""
    if not found or not found.strip():
        return None
    if plain(wanted) == plain(found):
        return True
    return None if _bare(wanted) == _bare(found) else False


def _bare(text: str) -> str:
    return re.sub(r"[\W_]", "", plain(text))


def same_kind(wanted: str, found: str) -> Held:
    """Whether a component is of a kind: a relief device not told closer may be any of them."""
    if wanted == "relief_device" and found in RELIEF_DEVICES:
        return True
    if found == "relief_device" and wanted in RELIEF_DEVICES:
        return None
    return wanted == found


def kinds_asked(wanted: str) -> tuple[str, ...]:
    """The kinds of component that may be of the kind that is asked for."""
    if wanted == "relief_device":
        return (wanted, *RELIEF_DEVICES)
    return (wanted, "relief_device") if wanted in RELIEF_DEVICES else (wanted,)


@lru_cache(maxsize=4096)
def same_design(wanted: str, found: str) -> bool:
    """Whether a stenciled specification begins as wanted: letters and digits count, the agency only if wanted."""
    wanted, found = (re.sub(r"[^A-Z0-9]", "", each.upper()) for each in (wanted, found))
    return found.startswith(wanted) or _without_agency(found).startswith(wanted)


def _without_agency(text: str) -> str:
    agency = next((each for each in AGENCIES if text.startswith(each)), "")
    return text.removeprefix(agency)


def thing_of(component: ComponentLooks, position: str, since: date) -> str:
    """What tells a component on a car from others there, whatever else of it was mended since.

    By its serial; without one by where and since when it is there.
    """
    if component.serial.strip():
        return f"{component.kind} serial {plain(component.serial)}"
    return f"{component.kind} at {plain(position)} since {since}"


def may_be_the_same(one: ComponentLooks, other: ComponentLooks) -> bool:
    """Whether two records of one kind and serial can be of one thing: what both state agrees."""
    return all(
        same(getattr(one, name), getattr(other, name)) is not False or not getattr(one, name)
        for name in ("maker", "model")
    )


# Serial numbers ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Serial:
    """What stands before the number, the number, and what stands behind it ("" for what can be compared)."""

    front: str
    number: int | None
    behind: str


@lru_cache(maxsize=65_536)
def read_serial(text: str, apart: bool = False) -> Serial:
    """A serial in its parts: spaces, hyphens, dots and slashes do not count, nor does case.

    With `apart` those between two figures part a number from another: of 2024-7 the number is 7, else 20247.
    """
    written = re.sub(r"(?<=[0-9])[\s\-./_]+(?=[0-9])", "|" if apart else "", text.upper())
    written = re.sub(r"[\s\-./_]+", "", written)
    parts = re.fullmatch(r"(.*?)([0-9]{1,40})?([^0-9]*)", written, re.DOTALL)
    assert parts is not None  # it takes anything
    front, digits, behind = parts.groups()
    if digits is None:
        return Serial("", None, behind)
    return Serial(front, int(digits), behind)


def in_range(text: str, first: str | None, last: str | None) -> Held:
    """Whether a serial lies between two, both inclusive; None where that cannot be told.

    Compared are serials that end in a number and have the same in front of it, by that number: AB-7 lies between
    AB1 and AB20. Other letters in front are another range. Not to be told are: no serial, or none with a number; and,
    where the number would lie within, letters behind it (AB7R) or in front on one side only (7, of AB1 to AB20); and
    where it depends on whether a sign between figures counts (A1-50, of A1-001 to A1-100).
    """
    joined, apart = (_in_range(text, first, last, reading) for reading in (False, True))
    return joined if joined == apart else None


def _in_range(text: str, first: str | None, last: str | None, apart: bool) -> Held:
    ends = [None if each is None else read_serial(each, apart) for each in (first, last)]
    front = next(each.front for each in ends if each is not None)
    found = read_serial(text, apart)
    if found.number is None:
        return None if not found.behind or found.behind.startswith(front) else False
    if found.front != front and found.front and front:
        return False
    low, high = (None if each is None else each.number for each in ends)
    within = (low is None or low <= found.number) and (high is None or found.number <= high)
    doubt = bool(found.behind) or found.front != front
    return None if within and doubt else within


def comparable(first: str | None, last: str | None) -> str:
    """What is wrong with the ends of a range, as a sentence's end; empty when they can be compared."""
    ends = [read_serial(each) for each in (first, last) if each is not None]
    if any(each.number is None or each.behind for each in ends):
        return "want serials that end in a number, such as AB100"
    if len({each.front for each in ends}) > 1:
        return "want the same in front of both numbers, such as AB100 to AB250"
    numbers = [each.number for each in ends if each.number is not None]
    return "the range ends before it begins" if numbers != sorted(numbers) else ""
