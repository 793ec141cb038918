"""Decimals, fractions and thickness readings in cells, taken exactly as written."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from app.core.facts import ZONES, Reading
from app.core.measure import Amount, Stated
from app.files.cells import Cell, Unreadable, one_of, plain

DECIMALS = 6
DECIMAL = re.compile(r"[+]?(\d+(?:\.\d*)?|\.\d+)")
FRACTION = re.compile(r"(?:(\d+)(?: |-| and ))?(\d+) ?/ ?(\d+)")
UNIT = re.compile(r" ?(in|in\.|inch|inches|\"|psi|psig)$", re.IGNORECASE)
# No plate of a tank car comes near two inches; a point in the wrong place does.
TOO_THICK_IN = 2

zone = one_of(ZONES, "a zone of the tank")
READING = re.compile(
    r"([A-Za-z _-]+?) ?[=:] ?(.+?)(?: (general|local)(?: ?\(?([^()]+)\)?)?)?", re.I
)
READING_WANTED = "readings as shell_bottom=0.406;head_b=0.441 local 6/20 (inches; span/distance)"


def exact(cell: Cell, wanted: str = "a number such as 0.4375 or 7/16") -> Decimal:
    """The number as written, at most six decimals; 1,250 may be two numbers, so no commas."""
    seen = UNIT.sub("", plain(cell))
    if isinstance(cell, bool) or "," in seen:
        point = f"; with a point, not a comma: {seen.replace(',', '.')}" if "," in seen else ""
        raise Unreadable(cell, wanted + point)
    if DECIMAL.fullmatch(seen):
        return _held(cell, Decimal(seen), wanted)
    if (match := FRACTION.fullmatch(seen)) and int(match[3]):
        return _of_fraction(
            cell, Fraction(int(match[2]), int(match[3])) + int(match[1] or 0), wanted
        )
    raise Unreadable(cell, wanted)


def _of_fraction(cell: Cell, value: Fraction, wanted: str) -> Decimal:
    if (value * 10**DECIMALS).denominator != 1:
        raise Unreadable(cell, f"{wanted}, with at most six decimals; this fraction has more")
    return Decimal(value.numerator) / Decimal(value.denominator)


def _held(cell: Cell, value: Decimal, wanted: str) -> Decimal:
    if value >= 10**9:
        raise Unreadable(cell, f"{wanted}, below 1000000000")
    if value != round(value, DECIMALS):
        raise Unreadable(cell, f"{wanted}, with at most six decimals")
    return value


def above_zero(what: str, at_most: int | None = None) -> Callable[[Cell], Decimal]:
    """A reader of numbers above 0, called `what` in its sentence."""
    limit = f" and at most {at_most}" if at_most is not None else ""

    def read(cell: Cell) -> Decimal:
        value = exact(cell, what)
        if value <= 0 or (at_most is not None and value > at_most):
            raise Unreadable(cell, f"{what}, above 0{limit}")
        return value

    return read


def zero_or_more(what: str) -> Callable[[Cell], Decimal]:
    """A reader of numbers from 0 on, called `what` in its sentence."""
    return lambda cell: exact(cell, what)


def or_stated(read: Callable[[Cell], Decimal], unit: str) -> Callable[[Cell], Amount]:
    """A reader that takes the measure in another unit as well: 0.438, or 11.1 mm as it stands there."""
    other = re.compile(rf"([0-9.,/+ -]+?) ?{unit}", re.IGNORECASE)

    def take(cell: Cell) -> Amount:
        match = other.fullmatch(plain(cell))
        return Stated(read(match[1]), unit) if match else read(cell)

    return take


def thickness(cell: Cell) -> Decimal:
    """A thickness in inches; one that no tank has is asked about."""
    value = exact(cell, "a thickness in inches such as 0.4375 or 7/16")
    if value <= 0:
        raise Unreadable(cell, "a thickness in inches, above 0")
    if value >= TOO_THICK_IN:
        raise Unreadable(
            cell, f"a thickness below {TOO_THICK_IN} in. Was {_with_point(value)} meant?"
        )
    return value


def _with_point(value: Decimal) -> Decimal:
    while value >= 1:
        value /= 10
    return value


def readings(cell: Cell) -> tuple[Reading, ...]:
    """`shell_bottom=0.406;head_b=0.441 local 6/20`, in the order given."""
    found = tuple(
        _reading(part.strip()) for part in re.split(r"[;\n]", plain(cell)) if part.strip()
    )
    if not found:
        raise Unreadable(cell, READING_WANTED)
    return found


@lru_cache(maxsize=65_536)
def _reading(part: str) -> Reading:
    match = READING.fullmatch(part)
    if not match:
        raise Unreadable(part, READING_WANTED)
    local = (match[3] or "").lower() == "local"
    if match[4] and not local:
        raise Unreadable(part, "a span and a distance only with a local reading")
    span, apart = _span_and_apart(match[4]) if match[4] else (None, None)
    inches = Fraction(thickness(match[2]))
    return Reading(zone(match[1]), inches, "local" if local else "general", span, apart)


def _span_and_apart(seen: str) -> tuple[Fraction, Fraction]:
    """`6/20`: the thin area spans 6 in and lies 20 in from the next."""
    parts = [part.strip() for part in seen.split("/")]
    if len(parts) != 2:
        raise Unreadable(seen, "span and distance in inches as 6/20")
    span, apart = (exact(part, "span and distance in inches as 6/20") for part in parts)
    return Fraction(span), Fraction(apart)
