"""Measures as they were stated: exact in inches and psi, the same words again, and shown without looking better.

Definitions: the inch is 25.4 mm; the pound-force is 0.45359237 kg at 9.80665 m/s2 (NIST SP 811, Appendix B.8).
"""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core import measure, showing
from app.core.showing import Preferences

NUMBERS = st.integers(1, 99_999_999).map(lambda each: Decimal(each).scaleb(-4))
UNITS = st.sampled_from(sorted(measure.UNITS))


def test_the_units_are_those_of_their_definitions():
    pound_force = Fraction("0.45359237") * Fraction("9.80665")
    square_inch = Fraction("0.0254") ** 2
    assert pound_force / square_inch / 1000 == measure.KPA_PER_PSI
    assert Fraction("6.894757293168361") < measure.KPA_PER_PSI < Fraction("6.894757293168362")
    assert measure.exact(measure.read("25.4 mm")) == 1


@pytest.mark.parametrize(
    ("said", "exactly", "kept"),
    [
        ("0.438", Fraction(438, 1000), "0.438"),
        ("11.1 mm", Fraction(111, 254), "0.437007"),  # 0.43700787...
        ("12.7 mm", Fraction(1, 2), "0.5"),
        ("517 kPa", 517 / measure.KPA_PER_PSI, "74.98451"),  # 74.9845104...
    ],
)
def test_a_measure_is_compared_exactly_and_kept_rounded_down(said, exactly, kept):
    amount = measure.read(said)
    assert measure.exact(amount) == exactly
    assert measure.kept(amount) == Decimal(kept)


@given(NUMBERS, UNITS)
def test_what_was_stated_comes_back_as_it_was_said_and_exact(number, unit):
    said = measure.Stated(number, unit)
    row = measure.written({"inches": said, "span_in": Decimal(6), "apart_in": None})
    held = measure.kept(said)
    assert measure.as_stated("inches", held, row) == said
    assert measure.as_stated("span_in", Decimal(6), row) == Decimal(6)
    assert measure.read(measure.as_text(said)) == said
    assert measure.exactly("inches", int(held * measure.MILLION), row or "") == measure.exact(said)
    assert 0 <= measure.exact(said) - Fraction(held) < Fraction(1, measure.MILLION)


@pytest.mark.parametrize("said", ["", "eleven", "11,1 mm", "-1 mm", "11.1 cm", "1e3", "11.1 mm "])
def test_what_is_no_measure_is_refused(said):
    with pytest.raises(ValueError, match="no measure"):
        measure.read(said)


@pytest.mark.parametrize(
    ("way", "written"),
    [("iso", "2026-03-05"), ("day_first", "5 Mar 2026"), ("month_first", "Mar 5, 2026")],
)
def test_a_day_is_written_so_that_it_can_be_read_one_way_only(way, written):
    assert showing.day(date(2026, 3, 5), way) == written


@pytest.mark.parametrize(
    ("inches", "unit", "side", "shown"),
    [
        (Fraction(13, 32), "in", "up", "0.40625"),
        (Fraction(13, 32), "mm", "up", "10.31875"),
        (Fraction(111, 254), "mm", "down", "11.1"),
        (Fraction(111, 254), "in", "down", "≈\u202f0.437"),  # 0.43700787...
        (Fraction(111, 254), "in", "up", "≈\u202f0.43701"),
        (Fraction(2, 3), "mm", "up", "≈\u202f16.934"),  # 16.9333...
    ],
)
def test_a_figure_is_shown_exactly_or_marked_and_rounded_to_its_side(inches, unit, side, shown):
    assert showing.length(inches, unit, side) == shown


@given(st.fractions(0, 3), st.fractions(0, 3), st.sampled_from(["in", "mm"]))
def test_a_reading_shown_above_its_line_is_above_it(reading, line, unit):
    """A reading is rounded down and a line up, so what is shown never looks better than it is."""
    low, high = showing.length(reading, unit, "down"), showing.length(line, unit, "up")
    if _number(low) > _number(high):
        assert reading > line


def _number(shown: str) -> Decimal:
    return Decimal(shown.removeprefix("≈\u202f"))


METRIC = Preferences("mm", "kPa", "day_first")


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("B 0.4375 in, of 2018-03-15", "B 0.4375 in (11.1125 mm), of 15 Mar 2018"),
        ("in 2018 in a shop, 3 in all", "in 2018 in a shop, 3 in all"),
        ("72 to 78 psig is allowed", "72 to 78 psig (≈\u202f496.42 to ≈\u202f537.79 kPa) is allowed"),
        ("is 3 psi above", "is 3 psi (≈\u202f20.68 kPa) above"),
        ("report 2018-03-15-7, part 179.201-1, 2018-99-15", "report 2018-03-15-7, part 179.201-1, 2018-99-15"),
    ],
)  # fmt: skip
def test_a_sentence_of_the_rules_keeps_its_own_figures(said, shown):
    assert showing.in_words(said, METRIC) == shown
    assert showing.in_words(said, Preferences()) == said


def test_a_margin_is_told_in_the_unit_alone_and_never_too_large():
    told = "0.0333333 in below line C, 0.0333333 in above line D"
    assert (
        showing.margin(told, "mm") == "≈\u202f0.847 mm below line C, ≈\u202f0.846 mm above line D"
    )
    assert showing.margin(told, "in") == told
