"""Decoding a specification as stenciled: AGENCY CLASS DELIMITER PRESSURE MATERIAL WELD SUFFIX (179.22, 179.201-1).

Spaces, hyphens and case do not matter. What cannot be read raises Unreadable, which shows the place.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from fractions import Fraction
from functools import lru_cache

from app.core.rule import ClassFamily, ClassKind, Presence, Regime, SpecificationRow, StencilTables

NUMERAL_LEFT_OUT = (
    "The last numeral is left out, as it may be on a converted car (49 CFR 180.515): only what all "
    "of them have in common is known."
)

FROM_MEMORY = "not verified (from memory)"


class Unreadable(ValueError):
    """A specification that no table knows. `place` counts the characters of the text from 1."""

    def __init__(self, text: str, place: int, problem: str) -> None:
        self.text, self.place, self.problem = text, place, problem
        super().__init__(f"at character {place} of {_clipped(text)!r}: {problem}")


def _clipped(text: str) -> str:
    """Enough of it to be known again."""
    return text if len(text) <= 40 else text[:37] + "..."


@dataclass(frozen=True, eq=False, slots=True)
class Specification:
    """What a stencil says. Pressures in psig, plate in inches before the steel's notes; None where no row is."""

    text: str
    agency: str | None
    family: ClassFamily
    delimiter: str | None
    pressure: int | None
    material: str | None
    weld: str | None
    suffix: str | None
    row: SpecificationRow | None
    warnings: tuple[str, ...]
    # Of its letters, what nobody verified. They move no date, so it is told where a stencil is read for itself.
    unverified: tuple[str, ...] = ()

    @property
    def class_(self) -> str:
        return self.family.class_

    @property
    def class_kind(self) -> ClassKind:
        return self.family.kind

    @property
    def regime(self) -> Regime:
        return self.family.regime

    @property
    def delimiter_meaning(self) -> str | None:
        return self.family.delimiters[self.delimiter] if self.delimiter else None

    @property
    def material_meaning(self) -> str | None:
        return self.family.materials[self.material] if self.material else None

    @property
    def suffix_meaning(self) -> str | None:
        return self.family.suffixes[self.suffix] if self.suffix else None

    @property
    def test_psig(self) -> Fraction | None:
        if self.row and self.row.test_psig is not None:
            return self.row.test_psig
        return None if self.pressure is None else Fraction(self.pressure)

    @property
    def burst_psig(self) -> Fraction | None:
        return self.row.burst_psig if self.row else None

    @property
    def plate_in(self) -> Fraction | None:
        return self.row.plate_in if self.row else None

    @property
    def bottom_outlet(self) -> Presence | None:
        return self.row.bottom_outlet if self.row else None

    @property
    def insulation(self) -> Presence | None:
        return self.row.insulation if self.row else None

    @property
    def relief_max_psig(self) -> Fraction | None:
        return self.row.relief_max_psig if self.row else None

    @property
    def lined_by_suffix(self) -> bool:
        """Suffix 5 means an interior lining (179.201-1 with 179.201-3)."""
        return self.suffix == "5"


@lru_cache(maxsize=4096)
def decode(text: str, tables: StencilTables) -> Specification:
    """Read `text` by the tables; raises Unreadable with the place of the first character that no table knows."""
    return _Reader(text, tables).read()


class _Reader:
    """Walks over the letters and digits of a stencil, keeping where each stood in the text."""

    def __init__(self, text: str, tables: StencilTables) -> None:
        self.text, self.tables = text, tables
        kept = [
            (at, char.upper())
            for at, char in enumerate(text, 1)
            if char not in " -\t\u2010\u2011\u2013"
        ]
        self.chars = "".join(char for _, char in kept)
        self.places = [at for at, _ in kept] + [len(text) + 1]
        self.at = 0

    def read(self) -> Specification:
        agency = self.take(self.tables.agencies)
        family = self.family()
        delimiter = self.delimiter(family)
        pressure = self.pressure(family)
        material, weld = self.material_and_weld(family)
        suffix = self.suffix(family, weld)
        if self.at < len(self.chars):
            self.fail(f"{_clipped(self.rest())!r} is more than a {family.class_} specification has")
        row = _row(self.tables, family, delimiter, pressure, material, weld, suffix)
        warnings = _warnings(agency, family, row)
        agency = None if agency == "BE" else agency
        return Specification(
            self.text, agency, family, delimiter, pressure, material, weld, suffix, row, warnings,
            _unverified(self.tables, agency, weld),
        )  # fmt: skip

    def fail(self, problem: str) -> None:
        raise Unreadable(self.text, self.places[self.at], problem)

    def rest(self) -> str:
        return self.chars[self.at :]

    def take(self, words: Iterable[str]) -> str | None:
        """The longest of `words` that stands here, stepped over."""
        found = max(
            (word for word in words if word and self.rest().startswith(word)), key=len, default=None
        )
        self.at += len(found or "")
        return found

    def found(self) -> str:
        return f"found {self.rest()[:1]!r}" if self.rest() else "the text ends"

    def family(self) -> ClassFamily:
        digits = re.match(r"\d*", self.rest())
        number = digits.group() if digits else ""
        if number not in self.tables.families:
            what = (
                f"{_clipped(number)!r} is no class"
                if number
                else f"a class is wanted, {self.found()}"
            )
            self.fail(f"{what}; known are {', '.join(self.tables.families)}")
        self.at += len(number)
        return self.tables.families[number]

    def delimiter(self, family: ClassFamily) -> str | None:
        if family.delimiter_optional and self._material_first(family):
            return None
        found = self.take(family.delimiters)
        if found is None and family.delimiters and not family.delimiter_optional:
            self.fail(
                f"a delimiter of class {family.class_} is wanted ({', '.join(family.delimiters)}), {self.found()}"
            )
        return found

    def _material_first(self, family: ClassFamily) -> bool:
        """103ALW: the letters are the material, not a delimiter and something unknown."""
        return any(self.rest().startswith(code + "W") for code in family.materials)

    def pressure(self, family: ClassFamily) -> int | None:
        if family.any_pressure and self.take(("****",)):
            return None
        digits = re.match(r"\d*", self.rest())
        number = digits.group() if digits else ""
        if not number and family.pressure_optional:
            return None
        if not number or not (family.any_pressure or int(number) in family.pressures):
            known = ", ".join(map(str, family.pressures)) or "the marked test pressure"
            self.fail(
                f"a pressure of class {family.class_} is wanted ({known}), "
                f"found {_clipped(number) or self.rest()[:1]!r}"
            )
        self.at += len(number)
        return int(number)

    def material_and_weld(self, family: ClassFamily) -> tuple[str | None, str | None]:
        material = self.take(family.materials)
        weld = self.take(family.welds)
        if weld is None and not family.weld_optional and self.rest():
            letters = ", ".join((*family.materials, *family.welds))
            self.fail(f"a material or weld letter is wanted ({letters}), {self.found()}")
        if weld is None and not family.weld_optional:
            self.fail(f"a weld letter is wanted ({', '.join(family.welds)}), the text ends")
        return material, weld

    def suffix(self, family: ClassFamily, weld: str | None) -> str | None:
        found = self.take(family.suffixes) if weld else None
        if found is None and family.suffixes and not family.suffix_optional:
            self.fail(
                f"a suffix of class {family.class_} is wanted ({', '.join(family.suffixes)}), {self.found()}"
            )
        return found


def _row(
    tables: StencilTables, family: ClassFamily, delimiter: str | None, pressure: int | None,
    material: str | None, weld: str | None, suffix: str | None,
) -> SpecificationRow | None:  # fmt: skip
    """The table row, if there is one; W and the interim I share it (179.22(e)), a forge weld has none."""
    if weld == "F":
        return None
    alike = [
        row
        for row in tables.rows.get(family.class_, ())
        if row.pressure in (None, pressure)
        and (not row.delimiters or (delimiter or "-") in row.delimiters)
        and row.material == (material or "")
    ]
    for row in alike:
        if row.suffix == (suffix or ""):
            return row
    return _in_common(alike) if alike and suffix is None else None


def _in_common(rows: Sequence[SpecificationRow]) -> SpecificationRow:
    """What all of these rows say, for a stencil whose last numeral is left out (180.515)."""
    agreed = {
        field.name: getattr(rows[0], field.name)
        for field in fields(SpecificationRow)
        if len({getattr(row, field.name) for row in rows}) == 1
    }
    return SpecificationRow(**agreed | {"suffix": "", "note": NUMERAL_LEFT_OUT})


def _warnings(
    agency: str | None, family: ClassFamily, row: SpecificationRow | None
) -> tuple[str, ...]:
    notes = [
        family.note,
        row.note
        if row
        else "No table row for this specification: burst pressure, plate and fittings are not known.",
    ]
    if agency == "BE":
        notes.append("BE is an old prefix of the class 27 tank, not an agency.")
    return tuple(note for note in notes if note)


def _unverified(tables: StencilTables, agency: str | None, weld: str | None) -> tuple[str, ...]:
    letters = ((f"Agency {agency}", agency), (f"Weld letter {weld}", weld))
    return tuple(f"{name}: {FROM_MEMORY}" for name, each in letters if each in tables.from_memory)
