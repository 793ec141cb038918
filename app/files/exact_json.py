"""JSON text in, as plain values: every number exactly as written, refusals with their place."""

from __future__ import annotations

import json
import re
from decimal import Decimal, InvalidOperation
from typing import Any, NoReturn

from app.errors import Fault, Refused

# Past this no length, rate or count is meant, and exact arithmetic on it would take for ever.
MOST_DIGITS = 40
# An escape of half a surrogate pair can be neither stored nor answered; one of NUL not stored.
SUSPECT = re.compile(r"\\u([dD][89a-fA-F]|0000)")
UNSTORABLE = re.compile("[\x00\ud800-\udfff]")


def read_json(text: bytes | str) -> object:
    """The value that `text` states: fractions of a number as Decimal, never a binary neighbour.

    Raises Refused with one fault on the whole request, whose sentence names the place.
    """
    try:
        written = _as_text(text)
        value: object = _DECODER.decode(written)
    except json.JSONDecodeError as wrong:
        _refuse(f"not JSON: {_place(wrong)}: {_in_words(wrong.msg)}")
    except RecursionError:
        _refuse("lists and objects are nested too deeply to be read")
    if SUSPECT.search(written):
        _refuse_unstorable(value)
    return value


def _as_text(given: bytes | str) -> str:
    text = _decoded(given) if isinstance(given, bytes) else given
    text = text.removeprefix("\ufeff").strip(" \t\r\n")
    if not text:
        _refuse("nothing was given, want a JSON object")
    return text


def _decoded(given: bytes) -> str:
    try:
        return given.decode("utf-8")
    except UnicodeDecodeError as wrong:
        line = given[: wrong.start].count(b"\n") + 1
        _refuse(f"not UTF-8: byte {given[wrong.start]:#04x} on line {line} is no character")


def _place(wrong: json.JSONDecodeError) -> str:
    line = f"line {wrong.lineno}, " if "\n" in wrong.doc else ""
    return f"{line}column {wrong.colno}"


def _in_words(message: str) -> str:
    """The parser's own message as the end of a sentence of ours."""
    message = message.removesuffix(" starting at").removesuffix(" at")
    return message[:1].lower() + message[1:]


def _whole(digits: str) -> int:
    if len(digits) > MOST_DIGITS:
        _refuse(f"{digits[:12]}... has {len(digits)} digits, at most {MOST_DIGITS} are read")
    return int(digits)


def _exact(digits: str) -> Decimal:
    try:
        number = Decimal(digits)
    except InvalidOperation:
        number = Decimal("NaN")
    in_reach = number.is_finite() and abs(number.adjusted()) <= MOST_DIGITS
    if not in_reach or len(number.as_tuple().digits) > MOST_DIGITS:
        shown = digits if len(digits) <= MOST_DIGITS else f"{digits[:12]}..."
        _refuse(f"{shown} is too large, too small or too long a number to be meant")
    return number


def _no_number(word: str) -> NoReturn:
    _refuse(f"{word} is no number, want digits or null")


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object; a field given twice is refused, since either value could be the one meant."""
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        _refuse(f"the field {twice!r} is given twice in one object")
    return found


_DECODER = json.JSONDecoder(
    parse_float=_exact,
    parse_int=_whole,
    parse_constant=_no_number,
    object_pairs_hook=_once_each,
)


def _refuse_unstorable(value: object) -> None:
    left = [value]
    while left:
        each = left.pop()
        if isinstance(each, dict):
            left += [*each.keys(), *each.values()]
        elif isinstance(each, list):
            left += each
        elif isinstance(each, str) and UNSTORABLE.search(each):
            _refuse("a \\u escape names no character, or half of one; write the character itself")


def _refuse(problem: str) -> NoReturn:
    raise Refused(problem, [Fault("request", problem)])
