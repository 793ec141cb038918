"""The verdict on what was measured, zone by zone.

Source: 49 CFR 180.509(f)(4) and (g), annual edition of October 1, 2019: below D (general) or E (local) is
condemned, at or below C shortens the interval, a local area is at most 8 in across and at least 16 in
from the next. Which readings count when there are several is ours.

The tank is a 111A100W1 of 7/16 in: bottom shell C 0.40625, D 0.375, E 0.3125; top and heads C 0.375,
D 0.3125, E 0.25.
"""

from decimal import Decimal

import pytest

from app.answers import due_dates
from tests.core.cars import (
    SHELL_AND_HEADS,
    TANK,
    ask,
    failed,
    local,
    measured,
    passed,
    reading,
    texts,
    zone,
)

BOTTOM = "shell_bottom"


def row_for(*readings, name=BOTTOM, **car):
    event = passed("2018-03-15", "thickness", readings=list(readings))
    return zone(due_dates(ask(event, **car)), name)


@pytest.mark.parametrize(
    ("name", "inches", "verdict"),
    [
        # Bottom shell, general.
        (BOTTOM, 0.44, "above_c"),
        (BOTTOM, 0.407, "above_c"),
        (BOTTOM, 0.40626, "above_c"),  # just above C
        (BOTTOM, 0.40625, "at_or_below_c"),  # exactly C: (f)(2) says at or below
        (BOTTOM, 0.406, "at_or_below_c"),
        (BOTTOM, 0.37501, "at_or_below_c"),
        (BOTTOM, 0.375, "at_or_below_c"),  # exactly D: (f)(4) condemns below
        (BOTTOM, 0.37499, "condemned"),  # just below D
        (BOTTOM, 0.374, "condemned"),
        # Top and heads, general.
        ("shell_top", 0.37501, "above_c"),
        ("shell_top", 0.375, "at_or_below_c"),
        ("shell_top", 0.3125, "at_or_below_c"),
        ("shell_top", 0.31249, "condemned"),
        ("head_a", 0.37501, "above_c"),
        ("head_a", 0.375, "at_or_below_c"),
        ("head_a", 0.31249, "condemned"),
        ("head_b", 0.375, "at_or_below_c"),
        ("head_b", 0.31249, "condemned"),
    ],
)
def test_a_general_reading_is_judged_by_c_and_d(name, inches, verdict):
    row = row_for(reading(name, inches), name=name)
    assert (row["verdict"], row["extent"]) == (verdict, "general")
    assert Decimal(str(row["reading_in"])) == Decimal(str(inches))
    assert row["measured_on"] == "2018-03-15"


@pytest.mark.parametrize(
    ("name", "inches", "verdict"),
    [
        (BOTTOM, 0.41, "above_c"),
        (BOTTOM, 0.40625, "at_or_below_c"),  # a local reading at C shortens the interval too
        (BOTTOM, 0.374, "at_or_below_c"),  # below D, but local
        (BOTTOM, 0.3125, "at_or_below_c"),  # exactly E
        (BOTTOM, 0.31249, "condemned"),  # just below E
        ("head_b", 0.25, "at_or_below_c"),  # exactly E
        ("head_b", 0.24999, "condemned"),
    ],
)
def test_a_local_reading_is_judged_by_c_and_e(name, inches, verdict):
    row = row_for(local(name, inches), name=name)
    assert (row["verdict"], row["extent"]) == (verdict, "local")


@pytest.mark.parametrize(
    ("span_in", "apart_in", "is_local"),
    [
        (8, 16, True),  # exactly at both limits
        (4, 24, True),
        (8.01, 16, False),  # just too wide
        (8, 15.99, False),  # just too near
        (12, 24, False),
        (4, 3, False),
        (None, 24, False),  # not told: judged as general
        (4, None, False),
        (None, None, False),
    ],
)
def test_local_means_at_most_8_in_across_and_at_least_16_in_from_the_next(
    span_in, apart_in, is_local
):
    row = row_for(local(BOTTOM, 0.374, span_in, apart_in))
    assert row["verdict"] == ("at_or_below_c" if is_local else "condemned")
    assert row["extent"] == ("local" if is_local else "general")
    if not is_local:
        assert "general" in texts(row["reasons"])


def test_a_general_reading_stays_general_whatever_its_span():
    row = row_for(reading(BOTTOM, 0.374, span_in=4, apart_in=24))
    assert (row["verdict"], row["extent"]) == ("condemned", "general")


@pytest.mark.parametrize(
    ("readings", "verdict", "inches", "extent"),
    [
        ([reading(BOTTOM, 0.44), reading(BOTTOM, 0.4)], "at_or_below_c", 0.4, "general"),
        ([reading(BOTTOM, 0.43), reading(BOTTOM, 0.42)], "above_c", 0.42, "general"),  # the least
        # The thinner spot is local and sound; the thicker plate is general and condemned.
        ([local(BOTTOM, 0.33), reading(BOTTOM, 0.37)], "condemned", 0.37, "general"),
        ([local(BOTTOM, 0.3), reading(BOTTOM, 0.37)], "condemned", 0.3, "local"),  # both: the least
        ([local(BOTTOM, 0.33), reading(BOTTOM, 0.38)], "at_or_below_c", 0.33, "local"),
        ([reading(BOTTOM, 0.38), local(BOTTOM, 0.39)], "at_or_below_c", 0.38, "general"),
        ([local(BOTTOM, 0.374, 9, 24), reading(BOTTOM, 0.4)], "condemned", 0.374, "general"),
    ],
)
def test_the_worst_reading_gives_the_verdict(readings, verdict, inches, extent):
    row = row_for(*readings)
    assert (row["verdict"], row["extent"]) == (verdict, extent)
    assert Decimal(str(row["reading_in"])) == Decimal(str(inches))


THICK = passed("2018-03-15", "thickness", readings=measured())


@pytest.mark.parametrize(
    ("events", "inches", "measured_on", "verdict"),
    [
        ([THICK], 0.44, "2018-03-15", "above_c"),
        (  # the latest measurement replaces the one before, also upwards
            [passed("2013-05-01", "thickness", readings=[reading(BOTTOM, 0.4)]), THICK],
            0.44,
            "2018-03-15",
            "above_c",
        ),
        (  # by day, not by place in the list
            [THICK, passed("2013-05-01", "thickness", readings=[reading(BOTTOM, 0.4)])],
            0.44,
            "2018-03-15",
            "above_c",
        ),
        (  # a measurement of other zones leaves this one as it was
            [
                passed("2013-05-01", "thickness", readings=[reading(BOTTOM, 0.4)]),
                passed("2018-03-15", "thickness", readings=[reading("shell_top", 0.44)]),
            ],
            0.4,
            "2013-05-01",
            "at_or_below_c",
        ),
        (  # what a failed inspection measured counts
            [THICK, failed("2020-01-01", "thickness", readings=[reading(BOTTOM, 0.37)])],
            0.37,
            "2020-01-01",
            "condemned",
        ),
        (  # and its successor replaces it
            [
                failed("2020-01-01", "thickness", readings=[reading(BOTTOM, 0.37)]),
                passed("2020-02-01", "thickness", readings=[reading(BOTTOM, 0.45)]),
            ],
            0.45,
            "2020-02-01",
            "above_c",
        ),
        (  # a spot check may lower
            [THICK, passed("2020-01-01", "visual", readings=[reading(BOTTOM, 0.4)])],
            0.4,
            "2020-01-01",
            "at_or_below_c",
        ),
        (  # never raise
            [THICK, passed("2020-01-01", "visual", readings=[reading(BOTTOM, 0.6)])],
            0.44,
            "2018-03-15",
            "above_c",
        ),
        (  # a spot check of a failed inspection counts alike
            [THICK, failed("2020-01-01", "visual", readings=[reading(BOTTOM, 0.37)])],
            0.37,
            "2020-01-01",
            "condemned",
        ),
        (  # of a change too
            [
                THICK,
                {
                    "on": "2020-01-01",
                    "items": ["repair_reducing_thickness"],
                    "readings": [reading(BOTTOM, 0.4)],
                },
            ],
            0.4,
            "2020-01-01",
            "at_or_below_c",
        ),
        (  # on the very day of the measurement
            [passed("2018-03-15", "visual", readings=[reading(BOTTOM, 0.4)]), THICK],
            0.4,
            "2018-03-15",
            "at_or_below_c",
        ),
        (  # a spot check before the measurement is history
            [passed("2018-03-14", "visual", readings=[reading(BOTTOM, 0.3)]), THICK],
            0.44,
            "2018-03-15",
            "above_c",
        ),
        (  # two measurements on the latest day both count
            [THICK, passed("2018-03-15", "thickness", readings=[reading(BOTTOM, 0.4)])],
            0.4,
            "2018-03-15",
            "at_or_below_c",
        ),
        (  # a spot check of a tank whose thickness was never tested: the safe side
            [passed("2018-03-15", "visual", readings=[reading(BOTTOM, 0.3)])],
            0.3,
            "2018-03-15",
            "condemned",
        ),
        (  # what is measured after the day asked for is not known yet
            [THICK, passed("2027-01-01", "thickness", readings=[reading(BOTTOM, 0.3)])],
            0.44,
            "2018-03-15",
            "above_c",
        ),
    ],
)
def test_the_latest_measurement_counts_and_spot_checks_may_only_lower_it(
    events, inches, measured_on, verdict
):
    row = zone(due_dates(ask(*events)), BOTTOM)
    assert (row["verdict"], row["measured_on"]) == (verdict, measured_on)
    assert Decimal(str(row["reading_in"])) == Decimal(str(inches))


def test_a_zone_that_was_not_measured_says_so():
    event = passed("2018-03-15", "thickness", readings=[reading("head_a", 0.44)])
    rows = {row["zone"]: row["verdict"] for row in due_dates(ask(event))["thickness"]}
    assert rows == {
        "shell_top": "not_measured",
        "shell_bottom": "not_measured",
        "head_a": "above_c",
        "head_b": "not_measured",
    }


def test_sump_nozzles_and_housings_are_judged_by_the_owner():
    # 180.509(f)(5): the owner sets and documents the allowable reduction.
    event = passed(
        "2018-03-15",
        "thickness",
        readings=[*measured(), reading("housing", 0.1), reading("sump", 0.05)],
    )
    answer = due_dates(ask(event, as_of="2019-01-01"))
    rows = answer["thickness"]
    assert [row["zone"] for row in rows] == [*SHELL_AND_HEADS, "sump", "housing"]
    assert [row["verdict"] for row in rows[4:]] == ["owner_judged", "owner_judged"]
    assert answer["loading"]["verdict"] == "may_load"


@pytest.mark.parametrize(
    ("owner_in", "inches"),
    [
        # Exactly D, 0.125 in under the owner's minimum: the binary neighbours lie below it.
        (0.54, 0.415),
        (0.55, 0.425),
        (0.56, 0.435),
        (0.5006, 0.3756),
        # Exactly C, 0.0625 in under it: the binary neighbours lie above it.
        (0.5003, 0.4378),
        (0.5074, 0.4449),
        (0.5155, 0.453),
        (0.5549, 0.4924),
    ],
)
def test_decimals_are_taken_as_written_and_never_as_their_binary_neighbours(owner_in, inches):
    tank = {**TANK, "required_thickness_in": {"shell_top": owner_in}}
    row = row_for(reading("shell_top", inches), name="shell_top", tank=tank)
    assert row["verdict"] == "at_or_below_c"
