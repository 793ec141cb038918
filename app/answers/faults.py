"""From what Pydantic found to a path and a sentence that says what is wanted and what was found."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from app.errors import Fault

# Where a fault of the request as a whole is told.
WHOLE = "request"
_Sentence = Callable[[Mapping[str, Any], str], str]

# Pydantic's error types -> our sentence. The context holds the bound; the second argument is what was found.
_SENTENCES: Mapping[str, _Sentence] = {
    "missing": lambda context, found: "is required",
    "extra_forbidden": lambda context, found: "is not a field that is known here",
    "greater_than": lambda context, found: f"must be above {context['gt']}, got {found}",
    "greater_than_equal": lambda context, found: f"must be at least {context['ge']}, got {found}",
    "less_than_equal": lambda context, found: f"must be at most {context['le']}, got {found}",
    "less_than": lambda context, found: f"must be below {context['lt']}, got {found}",
    "literal_error": lambda context, found: f"must be one of {context['expected']}, got {found}",
    "string_type": lambda context, found: f"must be text, got {found}",
    "bool_type": lambda context, found: f"must be true or false, got {found}",
    "float_type": lambda context, found: f"must be a number, got {found}",
    "finite_number": lambda context, found: f"must be a number, got {found}",
    "int_type": lambda context, found: f"must be a whole number, got {found}",
    "int_from_float": lambda context, found: f"must be a whole number, got {found}",
    "list_type": lambda context, found: f"must be a list, got {found}",
    "dict_type": lambda context, found: f"must be an object, got {found}",
    "model_type": lambda context, found: f"must be an object, got {found}",
    "model_attributes_type": lambda context, found: f"must be an object, got {found}",
    "too_short": lambda context, found: f"must have at least {context['min_length']} entry",
    "too_long": lambda context, found: f"must have at most {context['max_length']} entries",
    "string_too_long": lambda context, found: (
        f"must be at most {context['max_length']} characters long"
    ),
    "string_too_short": lambda context, found: (
        f"must be at least {context['min_length']} characters long, got {found}"
    ),
}


def shown(value: object) -> str:
    """What was found, as it would be typed, cut short when it is long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return "null"
    if isinstance(value, Mapping):
        return "an object"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return "a list"
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 80 else text[:77] + "..."


def sentence(error: ErrorDetails) -> str:
    """One error as a sentence; our own checks raise ValueError with theirs."""
    kind, context = error["type"], error.get("ctx", {})
    if kind == "value_error":
        return str(context["error"])
    made = _SENTENCES.get(kind)
    return (
        made(context, shown(error["input"]))
        if made
        else f"{error['msg']}, got {shown(error['input'])}"
    )


def path(parts: Sequence[str | int]) -> str:
    # A wrong name in an object is told at that name; Pydantic adds a word of its own.
    return ".".join(str(part) for part in parts if part != "[key]") or WHOLE


def faults_of(error: ValidationError) -> tuple[Fault, ...]:
    """Every fault of a failed validation, in the order of the fields."""
    return tuple(Fault(path(one["loc"]), sentence(one)) for one in error.errors(include_url=False))
