"""Cells as people and spreadsheets write them: what is taken, and what is refused with which words."""

from collections.abc import Callable
from contextlib import suppress
from datetime import date, datetime, time
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from app.core.facts import Reading
from app.files import cells, days, measures, names
from app.files.cells import Unreadable
from app.files.columns import COLUMNS
from app.files.days import Day

items = next(column.read for column in COLUMNS["events"] if column.name == "items")
kind = next(column.read for column in COLUMNS["components"] if column.name == "kind")
MARCH_15 = date(2019, 3, 15)

TAKEN: list[tuple[Callable[[Any], Any], Any, Any]] = [
    (names.mark, " zqkx ", "ZQKX"),
    (names.mark, "ZQ-KX", "ZQKX"),  # a dash within
    (names.mark, "ＺＱＫＸ", "ZQKX"),  # full-width letters
    (names.number, "0104512", 104512),  # leading zeros
    (names.number, "104512.0", 104512),  # a spreadsheet's number as text
    (names.number, 104512.0, 104512),  # a spreadsheet's number
    (names.number, "104 512", 104512),
    (names.number, "104\u00a0512", 104512),  # a space that does not break
    (names.number, "104-512", 104512),
    (names.specification, " dot  111a100w1 ", "DOT 111A100W1"),
    (names.un_number, "1789", "UN1789"),
    (names.un_number, 1789.0, "UN1789"),
    (names.un_number, "UN 1789", "UN1789"),
    (names.un_number, "un-1789", "UN1789"),
    (names.un_number, "NA1987", "NA1987"),
    (names.hazard_class, 3.0, "3"),
    (names.hazard_class, 2.3, "2.3"),
    (names.hazard_class, "Class 8", "8"),
    (names.packing_group, "PG ii", "II"),
    (days.day_or_month, "2019-03-15", Day(MARCH_15)),
    (days.day_or_month, "2019-03", Day(date(2019, 3, 1), month_only=True)),
    (days.day_or_month, "3/2019", Day(date(2019, 3, 1), month_only=True)),
    (days.day_or_month, "March 2019", Day(date(2019, 3, 1), month_only=True)),
    (days.day_or_month, "2019-03-15T00:00:00", Day(MARCH_15)),  # a moment that is midnight
    (days.day_or_month, "2019-03-15 00:00:00", Day(MARCH_15)),
    (days.day_or_month, datetime(2019, 3, 15), Day(MARCH_15)),  # noqa: DTZ001  a workbook's date
    (days.day_or_month, MARCH_15, Day(MARCH_15)),
    (days.day_or_month, 43539.0, Day(MARCH_15)),  # a spreadsheet's day number, from memory
    (days.day_or_month, 43539, Day(MARCH_15)),
    (days.day_or_month, "15/3/2019", Day(MARCH_15)),  # 15 is no month
    (days.day_or_month, "3/15/2019", Day(MARCH_15)),
    (days.day_or_month, "15.3.2019", Day(MARCH_15)),
    (days.day_or_month, "1/1/2019", Day(date(2019, 1, 1))),  # one day, read either way
    (days.day_or_month, "15 Mar 2019", Day(MARCH_15)),
    (days.day_or_month, "15-MAR-2019", Day(MARCH_15)),
    (days.day_or_month, "Mar 15, 2019", Day(MARCH_15)),
    (days.day_or_month, "20190315", Day(MARCH_15)),
    (days.month_first, "2019-03", date(2019, 3, 1)),
    (days.stencil_due, "2031", "2031"),
    (days.stencil_due, 2031.0, "2031"),
    (days.stencil_due, "2031-06", "2031-06"),
    (days.stencil_due, "6/2031", "2031-06"),
    (days.stencil_due, date(2031, 6, 30), "2031-06-30"),
    (measures.exact, "0.4375", Decimal("0.4375")),
    (measures.exact, 0.406, Decimal("0.406")),  # as written, not its binary neighbour
    (measures.exact, 0.1 + 0.2, Decimal("0.3")),  # a formula's result, as the sheet shows it
    (measures.exact, "7/16", Decimal("0.4375")),
    (measures.exact, "1 1/4", Decimal("1.25")),
    (measures.exact, "1-1/4", Decimal("1.25")),
    (measures.exact, "½", Decimal("0.5")),
    (measures.exact, ".5", Decimal("0.5")),
    (measures.exact, '7/16"', Decimal("0.4375")),
    (measures.exact, "0.45 in", Decimal("0.45")),
    (cells.yes_or_no, "Y", True),
    (cells.yes_or_no, True, True),
    (cells.yes_or_no, "no", False),
    (cells.yes_or_no, 0.0, False),
    (cells.months, "120.0", 120),
    (cells.text, "  two   words ", "two words"),
    (cells.text, "'=sum", "=sum"),  # as this program wrote it out
    (cells.text, 12.0, "12"),
    (items, "thickness, Visual", ("visual", "thickness")),  # in the calculator's order
    (items, "Structural Integrity;visual;visual", ("visual", "structural_integrity")),
    (kind, "Rupture Disc", "relief_disc"),
    (kind, "relief valve", "relief_valve"),
    (measures.readings, "shell_bottom=0.406", (Reading("shell_bottom", Fraction(406, 1000)),)),
    (
        measures.readings,
        "Shell Bottom: 7/16; HEAD-B = 0.441 Local (6 / 20);",
        (
            Reading("shell_bottom", Fraction(7, 16)),
            Reading("head_b", Fraction(441, 1000), "local", Fraction(6), Fraction(20)),
        ),
    ),
    (measures.readings, "sump=.5 local", (Reading("sump", Fraction(1, 2), "local"),)),
]


@pytest.mark.parametrize(("read", "cell", "value"), TAKEN)
def test_a_cell_whose_meaning_is_certain_is_taken(
    read: Callable[[Any], Any], cell: Any, value: Any
) -> None:
    taken = read(cell)
    assert taken == value
    assert type(taken) is type(value)


REFUSED: list[tuple[Callable[[Any], Any], Any, str]] = [
    (names.mark, "ZQKX-104512", "the mark alone: ZQKX here, and 104512 under number"),
    (names.mark, "Z", "2 to 4 letters"),
    (names.mark, "ZQKXA", "2 to 4 letters"),
    (names.number, "ZQKX 104512", "the number alone: 104512 here, and ZQKX under mark"),
    (names.number, "0", "1 to 999999"),
    (names.number, -5.0, "1 to 999999"),
    (names.number, "1234567", "1 to 999999"),
    (names.number, 12.5, "1 to 999999"),
    (names.number, True, "1 to 999999"),
    (names.un_number, "17", "UN1789"),
    (names.hazard_class, "corrosive", "3 or 2.3"),
    (names.packing_group, "2", "one of I, II, III"),
    (days.day_or_month, "1/2/2019", "this one may mean 2019-01-02 or 2019-02-01"),
    (days.day_or_month, "01.02.2019", "this one may mean 2019-01-02 or 2019-02-01"),
    (days.day_or_month, "13/13/2019", "no such day"),
    (days.day_or_month, "2019-02-30", "no such day"),
    (days.day_or_month, "2019-02-29", "no such day"),  # no leap year
    (days.day_or_month, "1/2/19", "four digits"),
    (days.day_or_month, "2019", "the year alone"),
    (days.day_or_month, 2019.0, "the year alone"),
    (days.day_or_month, "43539", "a spreadsheet's day number, then write 2019-03-15"),
    (days.day_or_month, 43539.25, "YYYY-MM-DD"),  # a quarter past a day
    (days.day_or_month, datetime(2019, 3, 15, 14, 30), "without a time of day"),  # noqa: DTZ001
    (days.day_or_month, time(14, 30), "YYYY-MM-DD"),
    (days.day_or_month, True, "YYYY-MM-DD"),
    (days.day_or_month, "0201-03-15", "the year 201 cannot be meant"),
    (days.day_or_month, "soon", "YYYY-MM-DD"),
    (days.day, "2019-03", "the month alone does not do"),
    (days.stencil_due, "31", "as painted"),
    (measures.exact, "0,406", "with a point, not a comma: 0.406"),
    (measures.exact, "1,250", "with a point, not a comma"),
    (measures.exact, "1/3", "this fraction has more"),
    (measures.exact, "0.1234567", "at most six decimals"),
    (measures.exact, "1e3", "a number such as"),
    (measures.exact, "nan", "a number such as"),
    (measures.exact, "-1", "a number such as"),
    (measures.exact, "1/0", "a number such as"),
    (measures.exact, datetime(2026, 7, 16), "a number such as"),  # noqa: DTZ001  7/16, taken for July
    (measures.exact, True, "a number such as"),
    (measures.thickness, "4.37", "Was 0.437 meant?"),
    (measures.thickness, 437.0, "Was 0.437 meant?"),
    (measures.thickness, "0", "above 0"),
    (measures.readings, "shell_bottom=4.37", "Was 0.437 meant?"),
    (measures.readings, "bottom=0.4", "a zone of the tank"),
    (measures.readings, "shell_bottom 0.4", "readings as shell_bottom=0.406"),
    (measures.readings, "head_b=0.4 general 6/20", "only with a local reading"),
    (measures.readings, "head_b=0.4 local 6", "span and distance in inches as 6/20"),
    (measures.readings, ";", "readings as"),
    (cells.yes_or_no, "unknown", "an empty cell when nobody knows"),
    (cells.yes_or_no, "-", "yes or no"),
    (cells.months, "0", "from 1 to 1200"),
    (cells.months, "12.5", "whole number"),
    (cells.text, "x" * 201, "at most 200 characters, got 201"),
    (items, "visaul", "did you mean visual?"),
    (items, "age_limit", "one of visual, "),  # counted, never inspected
    (kind, "releif_valve", "did you mean relief_valve?"),
    (kind, "teapot", "one of relief_valve, "),
]


@pytest.mark.parametrize(("read", "cell", "words"), REFUSED)
def test_a_cell_that_may_be_read_two_ways_or_none_is_refused_in_words(
    read: Callable[[Any], Any], cell: Any, words: str
) -> None:
    with pytest.raises(Unreadable) as refused:
        read(cell)
    assert words in refused.value.wanted
    assert refused.value.found
    assert str(refused.value).startswith("found ")


@pytest.mark.parametrize("cell", [None, "", "  ", "\u00a0", "\u200b", "\ufeff"])
def test_a_cell_without_anything_to_see_is_blank(cell: Any) -> None:
    assert cells.blank(cell)
    assert cells.optional(names.mark, cell) is None


@pytest.mark.parametrize("cell", ["0", 0, 0.0, False, "-"])
def test_nothing_is_not_the_same_as_blank(cell: Any) -> None:
    assert not cells.blank(cell)


def test_both_in_one_field_of_a_form_is_taken() -> None:
    assert names.mark_and_number("zqkx-0104512") == ("ZQKX", 104512)


@given(st.dates(date(1850, 1, 1), date(2199, 12, 31)))
def test_a_day_as_this_program_writes_it_is_read_back(day: date) -> None:
    assert days.day_or_month(day.isoformat()) == Day(day)
    assert days.day_or_month(f"{day:%Y-%m}") == Day(day.replace(day=1), month_only=True)


@given(st.dates(date(1990, 1, 1), date(2030, 12, 31)))
def test_a_date_with_slashes_is_the_day_meant_or_refused(day: date) -> None:
    for written in (f"{day.day}/{day.month}/{day.year}", f"{day.month}/{day.day}/{day.year}"):
        try:
            assert days.day(written) == day
        except Unreadable:
            assert day.day <= 12
            assert day.day != day.month


@given(st.decimals(0, 999_999, places=6))
def test_a_decimal_is_read_exactly_as_written(value: Decimal) -> None:
    assert measures.exact(f"{value:f}") == value


@example(float("inf"))
@example(float("nan"))
@example(10**400)
@given(st.one_of(st.text(max_size=30), st.floats(), st.integers(), st.booleans(), st.none()))
def test_no_cell_breaks_a_reader(cell: Any) -> None:
    for kind_of_file in COLUMNS.values():
        for column in kind_of_file:
            if not cells.blank(cell):
                with suppress(Unreadable):
                    column.read(cell)
