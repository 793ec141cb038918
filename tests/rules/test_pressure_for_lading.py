"""The tank test pressure that a lading asks for.

Source: 49 CFR 173.31(c), annual edition of October 1, 2015: the greatest of 133 % of (vapor pressure at
115 F not insulated or 105 F insulated + static head + gas pad), 133 % of the greatest loading or
unloading pressure, 300 psig for poison by inhalation, and the part 179 minimum. What counts while a fact
is missing is ours, on the safe side.
"""

from datetime import date
from fractions import Fraction

import pytest

from app.core.due import due_dates as calculate
from app.core.facts import Car, Facts, LadingPressures, Service, Settings, Tank
from app.core.stencil import decode
from app.core.test_pressure import pressure_needed
from app.rules.reader import default_rulebook

BOOK = default_rulebook()
ALL = {
    "vapor_pressure_psig_115f": 60, "vapor_pressure_psig_105f": 50, "static_head_psig": 3,
    "gas_pad_psig": 5, "loading_pressure_psig": 20,
}  # fmt: skip


def needed(text="DOT 111A100W1", *, insulated=False, poison=False, **pressures):
    car = car_for(text, insulated, poison_by_inhalation=poison, pressures=stated(**pressures))
    return pressure_needed(decode(text, BOOK.stencils), car, BOOK)


def car_for(text, insulated, **service):
    return Car("ZQKX", 1, text, tank=Tank(insulated=insulated), service=Service(**service))


def stated(**pressures):
    known = {name: None if psig is None else Fraction(psig) for name, psig in pressures.items()}
    return LadingPressures(**known)


@pytest.mark.parametrize(
    ("text", "more", "psig", "verdict", "governs"),
    [
        # 133 % of 60 + 3 + 5 is 90.44, less than what is marked: the part 179 minimum governs.
        ("DOT 111A100W1", {}, "100", "enough", "part 179"),
        # 133 % of 75 + 3 + 5 is 110.39.
        ("DOT 111A100W1", {"vapor_pressure_psig_115f": 75}, "110.39", "short", "115 F"),
        # Insulated: 133 % of 50 + 8.
        ("DOT 111A60W1", {"insulated": True}, "77.14", "short", "105 F"),
        ("DOT 111A60W1", {}, "90.44", "short", "115 F"),
        # 133 % of the loading pressure, 80 psig.
        ("DOT 111A100W1", {"loading_pressure_psig": 80}, "106.4", "short", "unloading"),
        # 300 psig for poison by inhalation.
        ("DOT 105A200W", {"poison": True, "insulated": True}, "300", "short", "inhalation"),
        ("DOT 105A300W", {"poison": True, "insulated": True}, "300", "enough", "inhalation"),
        # Pressures of nothing ask for nothing.
        ("DOT 112A200W", dict.fromkeys(ALL, 0), "200", "enough", "part 179"),
    ],
)
def test_the_greatest_term_is_needed(text, more, psig, verdict, governs):
    found = needed(text, **(ALL | more))
    assert (found.needed_psig, found.verdict) == (Fraction(psig), verdict)
    assert governs in found.governing.text
    assert found.reasons[0].citation == "49 CFR 173.31(c)"
    assert not found.missing


def test_what_is_exactly_marked_is_enough():
    exact = needed(
        "DOT 112A400W", **(ALL | {"loading_pressure_psig": Fraction(400) / Fraction("1.33")})
    )
    assert (exact.needed_psig, exact.verdict) == (400, "enough")


@pytest.mark.parametrize(
    ("text", "insulated", "at"),
    [
        ("DOT 111A100W1", True, "105 F"),
        ("DOT 111A100W1", False, "115 F"),
        ("DOT 111A100W1", None, "115 F"),  # not known: the hotter, the safe side
        ("DOT 105A300W", None, "105 F"),  # 179.101-1 requires insulation of the class
        ("DOT 105A300W", False, "115 F"),  # what is stated of the car itself comes first
    ],
)
def test_the_temperature_follows_the_insulation(text, insulated, at):
    assert at in needed(text, insulated=insulated, **ALL).terms[0].text


@pytest.mark.parametrize(
    ("gone", "said"),
    [
        ("static_head_psig", "static head"),
        ("gas_pad_psig", "gas pad"),
        ("loading_pressure_psig", "loading"),
        ("vapor_pressure_psig_115f", "115 F"),  # at 105 F alone it may be too little
    ],
)
def test_a_fact_that_is_missing_is_never_taken_as_the_lenient_one(gone, said):
    found = needed(**(ALL | {gone: None}))
    assert found.verdict == "check"
    assert said in " ".join(found.missing)


def test_whether_it_is_poisonous_has_to_be_known_below_300_psig():
    assert needed(poison=None, **ALL).verdict == "check"
    assert needed("DOT 105A300W", poison=None, insulated=True, **ALL).verdict == "enough"


def test_what_is_known_to_fall_short_is_short_whatever_is_missing():
    assert needed(vapor_pressure_psig_105f=90).verdict == "short"
    assert needed(vapor_pressure_psig_115f=90).verdict == "short"


def test_the_hotter_figure_serves_an_insulated_car_of_which_the_cooler_is_not_known():
    found = needed("DOT 111A60W1", insulated=True, **(ALL | {"vapor_pressure_psig_105f": None}))
    assert found.needed_psig == Fraction("90.44")


@pytest.mark.parametrize(
    ("text", "pressures"),
    [
        ("DOT 111A100W1", {}),  # nothing known of the lading
        ("DOT 111A100W1", {"static_head_psig": 3}),  # no vapor pressure
        ("DOT 110A500W", ALL),  # 173.31(c) is about tank cars, not tanks taken off them
        ("DOT 113A60W", ALL),
        ("DOT 117R", ALL),  # no test pressure marked
    ],
)
def test_nothing_is_said_where_nothing_can_be(text, pressures):
    assert needed(text, **pressures) is None


@pytest.mark.parametrize(
    ("psig", "hazardous", "forbids"),
    [(75, True, True), (60, True, False), (75, False, False), (None, True, False)],
)
def test_a_car_marked_with_too_little_may_not_be_loaded_with_it(psig, hazardous, forbids):
    """133 % of 75 + 3 + 5 psig are 110.39 psig; 173.31 is about hazardous materials."""
    pressures = stated(
        **(ALL | {"vapor_pressure_psig_115f": psig, "vapor_pressure_psig_105f": None})
    )
    car = car_for(
        "DOT 111A100W1", False, poison_by_inhalation=False, hazardous=hazardous, pressures=pressures
    )
    told = calculate(Facts(date(2026, 11, 25), car, (), Settings()), BOOK).loading
    short = "The lading asks for a test pressure of 110.39 psig, 133 % of vapor pressure at 115 F"
    found = [each for each in told.reasons if each.text.startswith(short)]
    assert [each.citation for each in found] == ["49 CFR 173.31(c)"] * forbids
    assert (told.verdict == "may_not_load") >= forbids


def test_what_cannot_be_told_of_the_pressure_asks_for_a_check():
    car = car_for("DOT 112A200W", False, pressures=stated(vapor_pressure_psig_115f=100))
    told = calculate(Facts(date(2026, 11, 25), car, (), Settings()), BOOK).loading
    said = "Whether the marked test pressure of 200 psig is enough for the lading cannot be told without"
    [found] = [each for each in told.reasons if each.text.startswith(said)]
    assert told.verdict == "check"
    assert "the static head, the gas pad" in found.text
    assert found.citation == "49 CFR 173.31(c)"
