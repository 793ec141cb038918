"""JSON in: numbers exactly as written, and a sentence with the place for what cannot be read."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.errors import Refused
from app.files.exact_json import read_json


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ('{"inches": 0.45}', {"inches": Decimal("0.45")}),  # 45/100, not its binary neighbour
        ("[0.1, 1e-3, -2.50]", [Decimal("0.1"), Decimal("0.001"), Decimal("-2.50")]),
        ("7", 7),  # a whole number stays one
        ('\ufeff{"a": null}', {"a": None}),  # with a byte order mark
        (' \r\n"ZQKX"\n', "ZQKX"),
        (b'{"lading": "cr\xc3\xa8me"}', {"lading": "crème"}),
        ('"\\ud83d\\ude82"', "\U0001f682"),  # both halves of a pair are one character
        (r'["C:\\u0000"]', ["C:\\u0000"]),  # a backslash before letters is no escape
    ],
)
def test_a_value_is_read_as_it_is_written(text: str | bytes, value: object) -> None:
    assert read_json(text) == value


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9))
def test_any_decimal_of_a_measurement_survives(number: Decimal) -> None:
    written = f"{number:f}"
    if len(number.as_tuple().digits) <= 40 and abs(number.adjusted()) <= 40:
        assert Decimal(str(read_json(written))) == number


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "nothing was given"),
        (" \n ", "nothing was given"),
        ("{", "not JSON: column 2: expecting property name enclosed in double quotes"),
        ('{"a": 1,\n "b": }', "not JSON: line 2, column 7: expecting value"),
        ("{} {}", "not JSON: column 4: extra data"),
        ('{"a": 1, "a": 2}', "the field 'a' is given twice"),  # which one was meant?
        ('{"inches": NaN}', "NaN is no number"),
        ("[Infinity]", "Infinity is no number"),
        ("[-Infinity]", "-Infinity is no number"),
        ("[1e400]", "1e400 is too large"),
        ("[1e-999999999]", "too small"),  # exact arithmetic on it would never end
        ("[1e99999999999999999999]", "too large"),
        (f"[0.{'3' * 90}]", "0.3333333333... is too large, too small or too long"),
        (f"[{'9' * 5000}]", "999999999999... has 5000 digits"),
        ("[" * 200_000, "nested too deeply"),
        (b'{"a":\n "\xff"}', "not UTF-8: byte 0xff on line 2"),
        ('["\\ud800"]', "no character, or half of one"),  # could neither be stored nor answered
        ('{"a": [{"b\\u0000": 1}]}', "no character, or half of one"),  # no database takes it
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_place(text: str | bytes, sentence: str) -> None:
    with pytest.raises(Refused) as refused:
        read_json(text)
    assert sentence in str(refused.value)
    assert [fault.path for fault in refused.value.faults] == ["request"]
