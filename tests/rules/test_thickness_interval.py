"""When an unlined tank is to be measured again: 60 months only for a corrosive lading and a thin tank.

Source: 49 CFR 180.509(f)(2), annual edition of October 1, 2019: conditions (A) and (B) are joined by
"and". That doubt about the thickness counts as thin is ours.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import (
    LIQUOR,
    OIL,
    TANK,
    ask,
    citations,
    item,
    local,
    measured,
    passed,
    reading,
)

ALL_ZONES = {"shell_top": 0.4375, "shell_bottom": 0.4375, "head_a": 0.4375, "head_b": 0.4375}
THREE_ZONES = {"shell_top": 0.4375, "shell_bottom": 0.4375, "head_a": 0.4375}


def thickness(readings, service, *more, **car):
    event = passed("2018-03-15", "thickness", readings=readings)
    return item(due_dates(ask(event, *more, service=service, **car)), "thickness")


@pytest.mark.parametrize(
    ("bottom_in", "corrosive", "months", "due_on"),
    [
        (0.406, True, 60, "2023-03-15"),  # both conditions
        (0.40625, True, 60, "2023-03-15"),  # exactly C is "at or below"
        (0.40626, True, 120, "2028-03-15"),  # just above C
        (0.407, True, 120, "2028-03-15"),  # corrosive lading alone
        (0.406, False, 120, "2028-03-15"),  # thin tank alone
        (0.40625, False, 120, "2028-03-15"),
        (0.407, False, 120, "2028-03-15"),  # neither
        (0.376, True, 60, "2023-03-15"),
        (0.376, False, 120, "2028-03-15"),
    ],
)
def test_five_years_need_a_corrosive_lading_and_a_zone_at_or_below_c(
    bottom_in, corrosive, months, due_on
):
    due = thickness(measured(shell_bottom=bottom_in), LIQUOR if corrosive else OIL)
    assert (due["interval_months"], due["due_on"]) == (months, due_on)
    assert "49 CFR 180.509(f)" in citations(due["reasons"])
    assert due["confidence"] == "verified"


@pytest.mark.parametrize(
    ("zone_name", "inches", "months"),
    [
        ("shell_top", 0.375, 60),  # any one zone is enough
        ("shell_top", 0.376, 120),
        ("head_a", 0.375, 60),
        ("head_a", 0.376, 120),
        ("head_b", 0.375, 60),
        ("head_b", 0.376, 120),
    ],
)
def test_any_zone_of_shell_and_heads_is_enough(zone_name, inches, months):
    assert thickness(measured(**{zone_name: inches}), LIQUOR)["interval_months"] == months


@pytest.mark.parametrize(
    ("readings", "months"),
    [
        (measured(), 120),
        (measured()[:3], 60),  # head_b was never measured
        ([], 60),  # nothing was
        ([*measured(), local("head_a", 0.37)], 60),  # a local spot at or below C
        ([*measured(), local("head_a", 0.38)], 120),
        ([*measured(), reading("sump", 0.1)], 120),  # owner-judged zones do not enter
        (measured(shell_bottom=0.36), 60),  # condemned is at or below C too
    ],
)
def test_a_zone_not_surely_above_c_counts_as_thin(readings, months):
    assert thickness(readings, LIQUOR)["interval_months"] == months
    assert thickness(readings, OIL)["interval_months"] == 120


@pytest.mark.parametrize(
    ("tank", "months"),
    [
        (TANK, 120),  # diameter and strength
        ({"tensile_psi": 81000, "inside_diameter_in": 119}, 120),
        ({"inside_diameter_in": 119}, 60),  # no strength
        ({"material": "TC128B"}, 60),  # no diameter
        ({}, 60),
        ({"required_thickness_in": ALL_ZONES}, 120),  # the owner's minimum for every zone
        ({"required_thickness_in": THREE_ZONES}, 60),  # for all but head_b
        ({"required_thickness_in": THREE_ZONES, **TANK}, 120),
    ],
)
def test_a_required_thickness_that_is_not_firm_counts_as_thin(tank, months):
    assert thickness(measured(), LIQUOR, tank=tank)["interval_months"] == months
    assert thickness(measured(), OIL, tank=tank)["interval_months"] == 120


def test_a_zone_without_a_required_thickness_counts_as_thin():
    car = {"specification": "DOT 115A60W1"}
    assert thickness(measured(), LIQUOR, **car)["interval_months"] == 60
    assert thickness(measured(), OIL, **car)["interval_months"] == 120
    owner = {"required_thickness_in": ALL_ZONES}
    assert thickness(measured(), LIQUOR, tank=owner, **car)["interval_months"] == 120


def test_the_plate_formula_may_put_a_tank_at_or_below_c():
    # 119 in of A516-70: B is 0.47222, so C of the bottom shell is 0.44097.
    tank = {"material": "A516-70", "inside_diameter_in": 119}
    assert thickness(measured(), LIQUOR, tank=tank)["interval_months"] == 60
    thicker = [reading(name, 0.441) for name in ALL_ZONES]
    assert thickness(thicker, LIQUOR, tank=tank)["interval_months"] == 120


def test_a_later_spot_check_shortens_the_interval_but_moves_no_basis():
    spot = passed("2020-01-01", "visual", readings=[reading("shell_bottom", 0.4)])
    due = thickness(measured(), LIQUOR, spot)
    assert (due["interval_months"], due["basis_on"]) == (60, "2018-03-15")
    assert due["due_on"] == "2023-03-15"


def test_five_years_are_rounded_like_ten():
    due = thickness(measured(head_a=0.37), LIQUOR, settings={"due_precision": "month_end"})
    assert due["due_on"] == "2023-03-31"


@pytest.mark.parametrize(
    ("tank", "confidence"),
    [
        ({"material": "TC128B"}, "verified"),
        ({"material": "A212B"}, "memory"),  # its strength is from memory
        (
            {"material": "TC128B", "head_shape": "3:1"},
            "memory",
        ),  # and so is the factor of its heads
    ],
)
def test_an_interval_that_rests_on_lines_from_memory_is_from_memory(tank, confidence):
    tank = {"inside_diameter_in": 100, **tank}
    assert thickness(measured(), LIQUOR, tank=tank)["confidence"] == confidence
