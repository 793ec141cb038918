"""Relief devices: what a setting may be, and how a bench test stands against it.

Sources, annual edition of October 1, 2019: 49 CFR 179.15(b) and (e) (range, tolerance, vapor tightness,
discs), 180.519(b) with (b)(3) (ton tanks at a retest), 179.301 (ton tanks as built), 179.401-1 (cryogenic).
"""

from datetime import date
from fractions import Fraction

import pytest

from app.core.relief import (
    Bench,
    bench_checks,
    for_lading,
    in_words,
    range_in_words,
    setting_range,
    tolerance,
)
from app.core.stencil import decode
from app.core.test_pressure import Within
from app.rules.reader import default_rulebook

BOOK = default_rulebook()
OLD, NEW = date(1997, 9, 30), date(1997, 10, 1)


def spec(text):
    return decode(text, BOOK.stencils)


def ends(text, kind="valve", built_on=NEW):
    allowed = setting_range(spec(text), kind, built_on, BOOK)
    return allowed.least_psig, allowed.most_psig


def check(text, measure, built_on=NEW, **bench):
    bench = {"kind": "valve"} | bench
    found = bench_checks(spec(text), built_on, Bench(**bench), BOOK)
    return next(each for each in found if each.measure == measure)


@pytest.mark.parametrize(
    ("text", "built_on", "least", "most"),
    [
        # 179.15(b): at least 75 psig, at most 33 % of burst.
        ("DOT 111A60W1", NEW, "75", "79.2"),  # burst 240
        ("DOT 111A100W1", NEW, "75", "165"),  # burst 500
        ("DOT 105A300W", NEW, "75", "247.5"),  # burst 750
        ("DOT 112A340W", NEW, "75", "280.5"),  # burst 850
        ("DOT 105A600W", NEW, "75", "495"),  # burst 1,500
        # Built before October 1, 1997 with burst of at most 500: 14.5 to 33 %.
        ("DOT 111A60W1", OLD, "34.8", "79.2"),
        ("DOT 111A100W1", OLD, "72.5", "165"),
        ("DOT 105A100W", OLD, "72.5", "165"),
        ("DOT 105A300W", OLD, "75", "247.5"),  # burst above 500: the age changes nothing
        # Nobody knows when it was built: the narrower range.
        ("DOT 111A60W1", None, "75", "79.2"),
    ],
)
def test_a_valve_is_set_within_the_shares_of_burst(text, built_on, least, most):
    assert ends(text, built_on=built_on) == (Fraction(least), Fraction(most))
    rule = setting_range(spec(text), "valve", built_on, BOOK).reasons[0]
    assert rule.citation == "49 CFR 179.15(b)"


def test_a_car_whose_age_nobody_knows_is_told_so():
    told = setting_range(spec("DOT 111A60W1"), "valve", None, BOOK).reasons
    assert "not known" in told[1].text


@pytest.mark.parametrize(
    ("text", "least", "most"),
    [
        # 179.15(e): the greater of test pressure and 33 % of burst, 15 % less and nothing more.
        ("DOT 111A60W1", Fraction("79.2") * Fraction("0.85"), Fraction("79.2")),
        ("DOT 111A100W1", Fraction(165) * Fraction("0.85"), Fraction(165)),
        (
            "DOT 105A300W",
            Fraction(300) * Fraction("0.85"),
            Fraction(300),
        ),  # the test pressure is more than 247.5
    ],
)
def test_a_disc_bursts_at_the_greater_of_test_pressure_and_share_of_burst(text, least, most):
    assert ends(text, "disc") == (least, most)


@pytest.mark.parametrize(
    ("text", "most", "tight"),
    [
        # 180.519(b), every row of its table.
        ("DOT 27", 375, 300),
        ("BE 27", 375, 300),
        ("DOT 106A500X", 375, 300),
        ("DOT 106A800X", 600, 480),
        ("DOT 106A800NCI", 600, 480),
        ("DOT 110A500W", 375, 300),
        ("DOT 110A600W", 500, 360),
        ("DOT 110A800W", 600, 480),
        ("DOT 110A1000W", 750, 600),
    ],
)
def test_a_ton_tank_has_the_figures_of_its_retest_table(text, most, tight):
    assert ends(text) == (None, most)
    for measure, name in (("found", "found_psig"), ("left", "left_psig")):
        assert check(text, measure, **{name: Fraction(most)}).verdict == "within"
        assert check(text, measure, **{name: Fraction(most) + 1}).verdict == "outside"
    assert check(text, "vapor_tight", vapor_tight_psig=Fraction(tight)).verdict == "within"
    assert check(text, "vapor_tight", vapor_tight_psig=Fraction(tight) - 1).verdict == "outside"


@pytest.mark.parametrize(
    ("text", "measure", "psig", "warned"),
    [
        # 179.301: 110A600-W 450 and 360, 110A1000-W 700 and 650, beside 500/360 and 750/600.
        ("DOT 110A600W", "set_psig", 450, False),
        ("DOT 110A600W", "set_psig", 451, True),
        ("DOT 110A600W", "left_psig", 500, True),
        ("DOT 110A600W", "vapor_tight_psig", 360, False),
        ("DOT 110A1000W", "found_psig", 700, False),
        ("DOT 110A1000W", "found_psig", 750, True),
        ("DOT 110A1000W", "vapor_tight_psig", 650, False),
        ("DOT 110A1000W", "vapor_tight_psig", 649, True),
        # The other rows agree, so there is nothing to warn of.
        ("DOT 110A800W", "set_psig", 600, False),
        ("DOT 106A500X", "set_psig", 375, False),
    ],
)
def test_a_valve_that_passes_its_retest_is_warned_of_outside_the_figures_for_the_build(
    text, measure, psig, warned
):
    judged = check(text, measure.removesuffix("_psig"), **{measure: Fraction(psig)})
    assert judged.verdict == "within"
    assert [each.citation for each in judged.warnings] == ["49 CFR 179.301"] * warned


@pytest.mark.parametrize(
    ("text", "least", "most", "tight"),
    [("DOT 113A60W", 27, 33, 24), ("DOT 113C120W", 72, 78, 60)],  # 179.401-1: 30 and 75, +/- 3
)
def test_a_cryogenic_car_has_one_setting_with_its_tolerance(text, least, most, tight):
    assert ends(text) == (least, most)
    for psig, verdict in ((least, "within"), (least - 1, "outside"), (most, "within")):
        assert check(text, "set", set_psig=Fraction(psig)).verdict == verdict
        assert check(text, "left", left_psig=Fraction(psig)).verdict == verdict
    assert check(text, "vapor_tight", vapor_tight_psig=Fraction(tight)).verdict == "within"
    assert check(text, "vapor_tight", vapor_tight_psig=Fraction(tight) - 1).verdict == "outside"
    assert (
        check(text, "set", set_psig=Fraction(least)).range.reasons[0].citation == "49 CFR 179.401-1"
    )


@pytest.mark.parametrize(
    ("psig", "least", "most"),
    [
        # 179.15(b): 3 psi up to 100 psig, 3 % above.
        ("75", "72", "78"),
        ("100", "97", "103"),
        ("101", "97.97", "104.03"),
        ("165", "160.05", "169.95"),
        ("280.5", "272.085", "288.915"),
    ],
)
def test_the_tolerance_is_three_psi_or_three_percent(psig, least, most):
    allowed = tolerance(Fraction(psig), BOOK)
    assert (allowed.least_psig, allowed.most_psig) == (Fraction(least), Fraction(most))


@pytest.mark.parametrize(
    ("found", "verdict", "beyond"),
    [("72", "within", "0"), ("78", "within", "0"), ("71.9", "outside", "-0.1"), ("80", "outside", "2")],
)  # fmt: skip
def test_found_and_left_are_held_to_the_tolerance_about_the_setting(found, verdict, beyond):
    for measure in ("found", "left"):
        judged = check(
            "DOT 111A100W1", measure, set_psig=Fraction(75), **{f"{measure}_psig": Fraction(found)}
        )  # fmt: skip
        assert (judged.verdict, judged.beyond_psi) == (verdict, Fraction(beyond))


@pytest.mark.parametrize(("tight", "verdict"), [("60", "within"), ("59.999", "outside")])
def test_a_valve_is_vapor_tight_at_four_fifths_of_its_setting(tight, verdict):
    judged = check(
        "DOT 111A100W1", "vapor_tight", set_psig=Fraction(75), vapor_tight_psig=Fraction(tight)
    )
    assert judged.verdict == verdict
    assert judged.range.least_psig == 60


@pytest.mark.parametrize(
    ("text", "bench", "measure"),
    [
        ("DOT 111A100W1", {"found_psig": Fraction(75)}, "found"),  # no setting to hold it against
        ("DOT 111A100W1", {"vapor_tight_psig": Fraction(60)}, "vapor_tight"),
        ("DOT 111A100W1", {}, "set"),  # the setting itself is not stated
        ("DOT 117R100W", {"set_psig": Fraction(75)}, "set"),  # no burst pressure in the tables
        ("DOT 107A****", {"set_psig": Fraction(75)}, "set"),  # 179.15 is not about class 107
        ("DOT 113D120W", {"set_psig": Fraction(75)}, "set"),  # no table row
        # A disc bursts once: the tolerance of a valve and vapor tightness say nothing of it.
        (
            "DOT 111A100W1",
            {"kind": "disc", "set_psig": Fraction(165), "left_psig": Fraction(100)},
            "left",
        ),
        ("DOT 111A100W1", {"kind": "disc", "vapor_tight_psig": Fraction(1)}, "vapor_tight"),
        ("DOT 110A500W", {"kind": "disc", "set_psig": Fraction(400)}, "set"),
    ],
)
def test_what_no_rule_or_fact_judges_is_told_to_be_unknown(text, bench, measure):
    judged = check(text, measure, **bench)
    assert judged.verdict == "unknown"
    assert judged.range.reasons


@pytest.mark.parametrize(
    ("text", "built_on", "left", "beyond"),
    [
        # 179.15(b): 75 to 165 psig, with 3 psi below and 3 % above: 72 to 169.95.
        ("DOT 111A100W1", NEW, "400", "230.05"),
        ("DOT 111A100W1", NEW, "71.9", "-0.1"),
        ("DOT 111A100W1", NEW, "72", None),  # a setting of 75 could be left there
        ("DOT 111A100W1", NEW, "169.95", None),
        # 75 to 79.2, or from 34.8 on an older car: 3 psi either way.
        ("DOT 111A60W1", NEW, "82.3", "0.1"),
        ("DOT 111A60W1", NEW, "40", "-32"),
        ("DOT 111A60W1", OLD, "40", None),
        ("DOT 111A60W1", None, "40", None),  # nobody knows that it is not older
        ("DOT 111A60W1", None, "31.7", "-0.1"),
    ],
)
def test_without_a_setting_what_no_allowed_one_reaches_is_outside(text, built_on, left, beyond):
    for measure in ("found", "left"):
        judged = check(text, measure, built_on, **{f"{measure}_psig": Fraction(left)})
        assert judged.verdict == ("outside" if beyond else "unknown")
        if beyond:
            assert judged.beyond_psi == Fraction(beyond)
            assert judged.range.reasons[0].citation == "49 CFR 179.15(b)"
            assert "No setting is stated" in judged.range.reasons[-1].text


def test_only_what_was_measured_is_judged_and_the_setting_always_has_its_range():
    judged = bench_checks(spec("DOT 111A100W1"), NEW, Bench("valve"), BOOK)
    assert [each.measure for each in judged] == ["set"]
    assert range_in_words(judged[0].range) == "75 to 165 psig"


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ("75", "75 psig, is within what is allowed (72 to 78 psig)"),
        ("80.25", "80.25 psig, is 2.25 psi above what is allowed (72 to 78 psig)"),
        ("70", "70 psig, is 2 psi below what is allowed (72 to 78 psig)"),
    ],
)  # fmt: skip
def test_a_verdict_is_a_sentence(found, said):
    judged = check("DOT 111A100W1", "found", set_psig=Fraction(75), found_psig=Fraction(found))
    assert in_words(judged) == f"The pressure at which it was found to open, {said}"


def test_a_device_opens_no_lower_than_what_its_car_carries():
    # 179.15(b): at least vapor pressure with static head and gas pad.
    floor = for_lading(Within(Fraction(80), "vapor pressure at 115 F", ()), BOOK)
    assert (floor.beyond(Fraction(75)), floor.beyond(Fraction(80))) == (Fraction(-5), Fraction(0))
