"""How a person wants days and measures written. Only words: nothing is compared by what stands here.

A figure that had to be rounded has ≈ before it, and is rounded to the side that looks worse.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor
from typing import Literal

from app.core.measure import KPA_PER_PSI, MM_PER_INCH

Length = Literal["in", "mm"]
Pressure = Literal["psi", "kPa"]
Days = Literal["iso", "day_first", "month_first"]
Side = Literal["down", "up", "near"]
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
# So many places are shown of a figure that is exact in them, and of one that is not.
MOST_PLACES = 5
ROUNDED_TO = {"in": 5, "mm": 3, "psi": 3, "kPa": 2}

ISO_DAY = re.compile(r"(?<![\d-])(\d{4})-(\d\d)-(\d\d)(?![\d-])")
# A whole number before "in" may be anything; the calculator writes thickness with its decimals.
INCHES = re.compile(r"(?<![\d./])(\d+\.\d+) in\b(?! \()")
PSI = re.compile(r"(?<![\d.,])(?:(\d+(?:\.\d+)?) to )?(\d+(?:\.\d+)?) psig?\b(?! \()")


@dataclass(frozen=True, slots=True)
class Preferences:
    """What a person chose; as it is until somebody chooses."""

    length: Length = "in"
    pressure: Pressure = "psi"
    days: Days = "iso"

    @property
    def gauge(self) -> str:
        """The unit of a pressure above that of the air."""
        return "psig" if self.pressure == "psi" else "kPa"


AS_STORED = Preferences()


def day(value: date, way: Days) -> str:
    """2026-11-30, 30 Nov 2026 or Nov 30, 2026: never digits alone that could be read two ways."""
    if way == "iso":
        return value.isoformat()[:10]
    month = MONTHS[value.month - 1]
    if way == "day_first":
        return f"{value.day} {month} {value.year}"
    return f"{month} {value.day}, {value.year}"


def month(value: date, way: Days) -> str:
    """2026-11 or Nov 2026."""
    return value.isoformat()[:7] if way == "iso" else f"{MONTHS[value.month - 1]} {value.year}"


def length(value: Fraction | Decimal, unit: Length, side: Side = "near") -> str:
    """Inches in the unit, without its name."""
    exact = Fraction(value)
    return _figure(exact * MM_PER_INCH if unit == "mm" else exact, ROUNDED_TO[unit], side)


def pressure(value: Fraction | Decimal, unit: Pressure, side: Side = "near") -> str:
    """Psi in the unit, without its name; above the air or not alike, since both count from the same zero."""
    exact = Fraction(value)
    return _figure(exact * KPA_PER_PSI if unit == "kPa" else exact, ROUNDED_TO[unit], side)


def in_words(text: str, prefers: Preferences) -> str:
    """A sentence with its days as the person writes them, and the person's unit in brackets behind each figure."""
    if prefers.days != "iso":
        text = ISO_DAY.sub(lambda found: _day_or_as_is(found, prefers.days), text)
    if prefers.length == "mm":
        text = INCHES.sub(lambda each: f"{each[0]} ({length(Decimal(each[1]), 'mm')} mm)", text)
    if prefers.pressure == "kPa":
        text = PSI.sub(lambda each: f"{each[0]} ({_in_kpa(each)} kPa)", text)
    return text


def margin(text: str, unit: Length) -> str:
    """Such as "0.031 in above line C" in the unit alone: how much is left rounded down, how much lacks rounded up."""
    if unit == "in":
        return text

    def turned(found: re.Match[str]) -> str:
        side: Side = "up" if text[found.end() :].startswith(" below") else "down"
        return f"{length(Decimal(found[1]), unit, side)} {unit}"

    return INCHES.sub(turned, text)


def _in_kpa(found: re.Match[str]) -> str:
    ends = [pressure(Decimal(each), "kPa") for each in found.groups() if each]
    return " to ".join(ends)


def _day_or_as_is(found: re.Match[str], way: Days) -> str:
    try:
        return day(date(int(found[1]), int(found[2]), int(found[3])), way)
    except ValueError:
        return found[0]


def _figure(value: Fraction, places: int, side: Side) -> str:
    if (value * 10**MOST_PLACES).denominator == 1:
        return _decimal(int(value * 10**MOST_PLACES), MOST_PLACES)
    scaled = value * 10**places
    turned = {"down": floor, "up": ceil, "near": lambda each: floor(each + Fraction(1, 2))}[side]
    return f"≈\u202f{_decimal(turned(scaled), places)}"


def _decimal(units: int, places: int) -> str:
    return f"{Decimal(units).scaleb(-places).normalize():f}"
