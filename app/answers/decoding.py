"""What a stenciled specification means, as plain JSON values."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from app.core.rule import Rulebook
from app.core.stencil import Specification, Unreadable
from app.core.stencil import decode as read
from app.errors import Fault, Refused
from app.rules.reader import default_rulebook


def decode(text: str) -> dict[str, Any]:
    """The decoded specification; raises Refused that shows the place where the text cannot be read."""
    return decode_with(text, default_rulebook())


def decode_with(text: str, rulebook: Rulebook) -> dict[str, Any]:
    try:
        return _as_json(read(text, rulebook.stencils), rulebook)
    except Unreadable as error:
        raise Refused.because([Fault("specification", str(error))]) from error


def _as_json(spec: Specification, rulebook: Rulebook) -> dict[str, Any]:
    return {
        "agency": spec.agency,
        "class": spec.class_,
        "class_kind": spec.class_kind,
        "delimiter": spec.delimiter,
        "delimiter_meaning": spec.delimiter_meaning,
        "test_pressure_psig": _number(spec.test_psig),
        "material": spec.material,
        "material_meaning": spec.material_meaning,
        "weld": spec.weld,
        "suffix": spec.suffix,
        "suffix_meaning": spec.suffix_meaning,
        "burst_psig": _number(spec.burst_psig),
        "minimum_plate_in": _number(spec.plate_in),
        "bottom_outlet": spec.bottom_outlet,
        "insulation": spec.insulation,
        "relief_max_psig": _number(spec.relief_max_psig),
        "citations": _citations(spec, rulebook),
        "warnings": [
            *_warned(spec.warnings, spec.family.citation),
            *_warned(spec.unverified, rulebook.stencils.grammar_citation),
        ],
    }


def _warned(texts: Iterable[str], citation: str) -> list[dict[str, str]]:
    return [{"text": text, "citation": citation} for text in texts]


def _citations(spec: Specification, rulebook: Rulebook) -> list[str]:
    """Where the grammar, the class and the table row stand, each once."""
    row = [spec.row.citation] if spec.row else []
    relief = (
        [rulebook.rule("relief_maximum").citation]
        if spec.burst_psig and spec.relief_max_psig
        else []
    )
    return list(
        dict.fromkeys([rulebook.stencils.grammar_citation, spec.family.citation, *row, *relief])
    )


def _number(value: Fraction | None) -> int | float | None:
    if value is None:
        return None
    return int(value) if value.denominator == 1 else float(value)
