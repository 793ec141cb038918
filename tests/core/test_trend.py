"""Wear by a straight line: equal to what scipy gives of the same readings, and silent where readings say nothing."""

from datetime import date, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from app.core.due import due_dates
from app.core.facts import Car, Event, Facts, Lining, Reading, Tank
from app.core.trend import DAYS_A_YEAR, Point, fitted, student_t, trends
from app.rules.reader import default_rulebook

BULK = "shell_bottom"
# Lines C and D of the bottom of an unlined DOT 111A100W1 of 7/16 in at 100 psig (180.509(f), (g), 2019 edition).
C, D = Fraction("0.40625"), Fraction("0.375")
TANK = Tank("TC128B", inside_diameter_in=Fraction(119))


def read_on(on: date, inches: str, items: tuple[str, ...] = ("thickness",), **more) -> Event:
    return Event(on, items, readings=(Reading(BULK, Fraction(inches), **more),))


def trend_of(*events: Event, extent: str = "general", lining: Lining | None = None, **car):
    facts = Facts(
        date(2026, 11, 25),
        Car("ZQKX", 1, "DOT 111A100W1", date(2000, 1, 1), tank=TANK, lining=lining, **car),
        events,
    )
    found = trends(due_dates(facts, default_rulebook()), default_rulebook())
    return next(each for each in found if (each.zone.zone, each.extent) == (BULK, extent))


readings = st.lists(
    st.tuples(
        st.dates(date(1980, 1, 1), date(2040, 1, 1)),
        st.integers(2_000, 9_000).map(lambda tenths: Fraction(tenths, 10_000)),
    ),
    min_size=3,
    max_size=15,
    unique_by=lambda read: read[0],
)


@given(readings)
def test_slope_error_and_interval_are_those_of_scipy(read):
    read = sorted(read)
    rate = fitted([Point(on, inches) for on, inches in read])
    years = [(on - read[0][0]).days / DAYS_A_YEAR for on, _ in read]
    theirs = stats.linregress(years, [float(inches) for _, inches in read])
    half = stats.t.ppf(0.975, len(read) - 2) * theirs.stderr
    # What rounding leaves of readings that lie on a line is nothing that a gauge could see.
    near = {"rel": 1e-7, "abs": 1e-9}
    assert rate.a_year == pytest.approx(theirs.slope, **near)
    assert rate.inches == pytest.approx(theirs.intercept, **near)
    assert rate.error == pytest.approx(theirs.stderr, **near)
    assert rate.steepest == pytest.approx(theirs.slope - half, **near)
    assert rate.flattest == pytest.approx(theirs.slope + half, **near)


@given(st.integers(1, 200), st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99, 0.999]))
def test_the_quantile_of_student_is_that_of_scipy(freedom, share):
    assert student_t(share, freedom) == pytest.approx(
        stats.t.ppf((1 + share) / 2, freedom), rel=1e-9
    )


@pytest.mark.parametrize(
    ("freedom", "t"),
    [(1, 12.706), (2, 4.303), (3, 3.182), (5, 2.571), (10, 2.228), (30, 2.042)],
)
def test_the_quantile_of_student_is_that_of_printed_tables(freedom, t):
    # Two-sided 95 %, as every printed table of Student's t has it.
    assert round(student_t(0.95, freedom), 3) == t


THREE = (
    read_on(date(2006, 1, 1), "0.440"),
    read_on(date(2016, 1, 1), "0.430"),
    read_on(date(2026, 1, 1), "0.420"),
)


def test_readings_on_a_line_come_to_c_and_d_when_the_line_does():
    found = trend_of(*THREE)
    assert found.rate.a_year == pytest.approx(-0.001, rel=1e-4)
    line_c, line_d = found.reaching
    assert (line_c.letter, line_c.inches, line_d.letter, line_d.inches) == ("C", C, "D", D)
    # 0.01375 in to C and 0.045 in to D, at 0.001 in a year.
    assert f"{line_c.on:%Y-%m}" == "2039-10"
    assert f"{line_d.on:%Y-%m}" == "2071-01"
    assert line_c.on - line_c.earliest < timedelta(days=60)


def test_scattered_readings_may_come_to_a_line_long_before_their_rate_says():
    found = trend_of(
        read_on(date(2006, 1, 1), "0.440"),
        read_on(date(2016, 1, 1), "0.425"),
        read_on(date(2026, 1, 1), "0.420"),
    )
    line_c = found.reaching[0]
    assert found.rate.steepest < found.rate.a_year < 0 < found.rate.flattest
    assert date(2026, 1, 1) < line_c.earliest < line_c.on


def test_a_last_reading_below_the_line_counts_from_itself():
    low = trend_of(*THREE[:2], read_on(date(2026, 1, 1), "0.410"))
    assert low.rate.on(date(2026, 1, 1)) > 0.410
    years = float(Fraction("0.410") - C) / -low.rate.a_year
    assert low.reaching[0].on == date(2026, 1, 1) + timedelta(days=int(years * DAYS_A_YEAR))


@pytest.mark.parametrize(
    ("events", "says", "rated", "interval"),
    [
        ((), "No thickness test was read here", False, False),
        (THREE[:1], "Read in one thickness test", False, False),
        (THREE[:2], "a rate, but no interval", True, False),
        (THREE, "", True, True),
        # Two readings of one day are one day: the least counts.
        (
            (THREE[0], read_on(date(2006, 1, 1), "0.445")),
            "Read in one thickness test",
            False,
            False,
        ),
    ],
)
def test_a_rate_takes_two_days_and_an_interval_three(events, says, rated, interval):
    found = trend_of(*events)
    assert bool(found.rate) is rated
    assert bool(found.rate and found.rate.error is not None) is interval
    assert says in " ".join(found.said)
    assert all(
        bool(line.earliest) is interval and bool(line.on) is rated for line in found.reaching
    )


def test_the_least_reading_of_a_day_counts():
    twice = trend_of(THREE[0], read_on(date(2016, 1, 1), "0.436"), THREE[1], THREE[2])
    assert [point.inches for point in twice.points] == [
        Fraction(x) for x in ("0.44", "0.43", "0.42")
    ]


def test_growing_thickness_gives_no_month():
    found = trend_of(read_on(date(2006, 1, 1), "0.430"), read_on(date(2016, 1, 1), "0.440"))
    assert found.rate.a_year > 0
    assert all(line.on is None and line.earliest is None for line in found.reaching)
    assert "no wear" in " ".join(found.said)


def test_wear_too_slow_to_tell_gives_no_month():
    found = trend_of(read_on(date(2006, 1, 1), "0.440"), read_on(date(2016, 1, 1), "0.4399"))
    assert found.rate.a_year < 0
    assert found.reaching[0].on is None


def test_a_line_that_was_read_already_is_told_with_its_day():
    found = trend_of(THREE[0], read_on(date(2016, 1, 1), "0.40625"))
    assert found.reaching[0].already == date(2016, 1, 1)
    assert found.reaching[0].on is None
    assert found.reaching[1].already is None


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"events": ("repair_reducing_thickness",)}, "thinned"),
        ({"events": ("lining_applied",)}, "lining was applied"),
        ({"events": ("lining_removed",)}, "lining was removed"),
        ({"lining": Lining("rubber", date(2012, 5, 1))}, "lining was applied"),
        ({"rebuilt_on": date(2012, 5, 1)}, "rebuilt"),
    ],
)
def test_the_line_begins_anew_with_another_shell(change, why):
    happened = [Event(date(2012, 5, 1), items) for items in [change.pop("events", None)] if items]
    found = trend_of(THREE[0], *happened, *THREE[1:], **change)
    assert [bool(point.left_out) for point in found.points] == [True, False, False]
    assert why in found.points[0].left_out
    assert found.rate.since == date(2016, 1, 1)
    assert "The line begins on 2012-05-01" in " ".join(found.said)


def test_of_several_changes_the_last_begins_the_line():
    changes = [Event(date(year, 5, 1), ("lining_removed",)) for year in (2003, 2012)]
    found = trend_of(changes[0], THREE[0], changes[1], *THREE[1:])
    assert found.began.on == date(2012, 5, 1)


def test_a_lining_that_is_to_be_applied_later_begins_nothing_yet():
    assert trend_of(*THREE, lining=Lining("rubber", date(2027, 1, 1))).began is None


def test_what_was_read_on_the_day_of_the_change_was_read_after_it():
    repaired = read_on(date(2016, 1, 1), "0.430", ("repair_reducing_thickness", "thickness"))
    assert [bool(point.left_out) for point in trend_of(THREE[0], repaired).points] == [True, False]


@pytest.mark.parametrize("change", ["damage", "lining_repaired_locally", "insulation_removed"])
def test_other_changes_leave_the_line_as_it_is(change):
    found = trend_of(THREE[0], Event(date(2012, 5, 1), (change,)), *THREE[1:])
    assert len(found.in_line) == 3


def test_a_spot_check_is_shown_but_no_line_goes_through_it():
    spot = read_on(date(2020, 1, 1), "0.436", ("visual",))
    with_spot, without = trend_of(THREE[0], THREE[1], spot), trend_of(*THREE[:2])
    assert with_spot.rate == without.rate
    assert "spot check" in with_spot.points[-1].left_out


def test_a_spot_check_at_line_c_still_tells_that_it_was_reached():
    found = trend_of(*THREE, read_on(date(2026, 5, 1), "0.400", ("visual",)))
    assert found.reaching[0].already == date(2026, 5, 1)


def test_local_readings_have_a_line_of_their_own_and_go_by_line_e():
    pits = [
        read_on(on, inches, extent="local", span_in=Fraction(4), apart_in=Fraction(24))
        for on, inches in ((date(2006, 1, 1), "0.41"), (date(2016, 1, 1), "0.40"))
    ]
    general, local = trend_of(*THREE, *pits), trend_of(*THREE, *pits, extent="local")
    assert general.rate == trend_of(*THREE).rate
    assert [line.letter for line in local.reaching] == ["C", "E"]
    assert local.rate.a_year == pytest.approx(-0.001, rel=1e-3)


def test_a_local_reading_that_is_too_wide_is_judged_as_general():
    wide = read_on(
        date(2026, 1, 1), "0.415", extent="local", span_in=Fraction(9), apart_in=Fraction(24)
    )
    assert trend_of(*THREE, wide).points[-1].inches == Fraction("0.415")
