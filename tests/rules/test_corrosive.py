"""Is the lading corrosive or reactive to the tank: asked of a tank whose bottom is just below line C,
so that the thickness interval is 60 months when it is and 120 when it is not.

Sources: 49 CFR 180.503 (rate strictly above 2.5 mil a year) and Appendix D to part 180 (77 FR 37991),
annual edition of October 1, 2019; UN numbers are from memory.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import LIQUOR, ask, item, qualified, texts


def judged(**service):
    """The answer for a thin unlined tank in this service, of a class that is never poisonous by inhalation."""
    service = {"hazard_class": "8", **service}
    return due_dates(ask(qualified(shell_bottom=0.406), as_of="2020-01-01", service=service))


def is_corrosive(**service):
    return item(judged(**service), "thickness")["interval_months"] == 60


def warned(**service):
    """What is warned of that would not be for a lading stated corrosive."""
    usual = texts(judged(**LIQUOR)["warnings"]).splitlines()
    return [line for line in texts(judged(**service)["warnings"]).splitlines() if line not in usual]


@pytest.mark.parametrize(
    ("stated", "rate", "corrosive"),
    [
        (True, None, True),  # stated
        (False, None, False),  # stated: the only no there is
        (None, None, True),  # not stated: assumed
        (None, 0.1, True),  # a low rate is no statement
        (False, 0.1, False),
        (False, 2.4, False),
        (False, 2.5, False),  # 180.503: strictly greater than 2.5 mil a year
        (False, 2.5001, True),  # the rate wins
        (False, 2.6, True),
        (True, 0.1, True),  # stated wins over a low rate
        (None, 2.6, True),
    ],
)
def test_corrosive_is_stated_or_shown_by_the_rate_and_no_only_when_stated(stated, rate, corrosive):
    service = {"corrosive_or_reactive": stated, "corrosion_rate_mil_per_year": rate}
    assert is_corrosive(commodity="Tanning liquor", **service) is corrosive


@pytest.mark.parametrize(
    "listed",
    [
        # Appendix D to part 180, names as printed there in short.
        "Acetic acid",
        "Aluminum chloride solution",
        "Arsenic acid",
        "Butyric acid",
        "Ferric chloride solution",
        "Fertilizer ammoniating solution",
        "Fluoroboric acid",
        "Fluorosilicic acid",
        "Formaldehyde solutions",
        "Hydrobromic acid",
        "Hydrochloric acid",
        "Hydrofluoric acid",
        "Hydrogen peroxide",
        "Hypochlorite solutions",
        "Nitric acid",
        "Phenyl phosphorus dichloride",
        "Phenyl phosphorus thiodichloride",
        "Phosphoric acid",
        "Phosphorus trichloride",
        "Sodium chlorate",
        "Sodium hydrosulfide",
        "Sulfur, molten",
        "Sulfuric acid",
        "Zinc chloride",
        # Under n.o.s. or unregulated.
        "Benzoic acid",
        "Black liquor",
        "Calcium lignosulfonate",
        "Hexanoic acid",
        "Lignin liquor",
        "Lithium chloride",
        "Sodium polyacrylate",
        "Titanium sulfate solution",
        "White liquor",
    ],
)
def test_a_lading_on_the_list_is_corrosive_though_stated_otherwise(listed):
    assert is_corrosive(commodity=listed, corrosive_or_reactive=False)
    assert warned(commodity=listed, corrosive_or_reactive=False)


@pytest.mark.parametrize(
    ("name", "on_the_list"),
    [
        ("sulphuric acid", True),  # the other spelling
        ("Sulphur, molten", True),
        ("SULFUR MOLTEN", True),  # the comma is a space
        ("Titanium sulphate solution", True),
        ("Sodium hydrosulphide", True),
        ("Hydrochloric acid, solution", True),  # begins with a listed name
        ("HYDROCHLORIC   ACID", True),  # case and spaces
        ("hydrochloric-acid", True),  # hyphen
        (" Nitric acid, red fuming", True),  # a space in front
        ("Acetic acid (glacial)", True),  # brackets
        ("Acetic acid, glacial", True),
        ("Arsenic acid [liquid]", True),
        ("Hydrogen peroxide, aqueous solutions", True),
        ("Sulfuric acid with more than 51 percent acid", True),
        ("Hydrofluoric acid and sulphuric acid mixtures", True),
        ("Bisulfites solution", True),
        ("Sulfuric acidic water", False),  # whole words
        ("Nitrica acid", False),
        ("Sulfur", False),  # less than the listed name
        ("Sulfur dioxide", False),
        ("Molten sulfur", False),  # does not begin with it
        ("Spent sulfuric acid", False),
        ("Light cycle oil", False),
    ],
)
def test_a_name_is_on_the_list_when_it_begins_with_a_listed_name_in_whole_words(name, on_the_list):
    assert is_corrosive(commodity=name, corrosive_or_reactive=False) is on_the_list


@pytest.mark.parametrize(
    "un",
    [
        "UN1789",  # hydrochloric acid, from memory
        "UN1830",  # sulfuric acid, from memory
        "UN2031",  # nitric acid, from memory
        "UN1805",  # phosphoric acid solution, from memory
    ],
)
def test_a_un_number_of_the_rule_data_is_a_hit_from_memory(un):
    answer = judged(commodity="Trade name 7", un=un, corrosive_or_reactive=False)
    due = item(answer, "thickness")
    assert due["interval_months"] == 60
    assert due["confidence"] == "memory"
    assert "not verified against the rule text" in texts(due["reasons"])
    assert warned(un=un, corrosive_or_reactive=False)


def test_a_un_number_of_another_lading_is_no_hit():
    assert not is_corrosive(un="UN1202", corrosive_or_reactive=False)


def test_a_name_on_the_list_is_verified():
    answer = judged(commodity="Nitric acid")
    assert item(answer, "thickness")["confidence"] == "verified"


@pytest.mark.parametrize(
    ("service", "said"),
    [
        ({"commodity": "Tanning liquor"}, True),  # nothing known
        ({}, True),  # no lading at all
        ({"corrosion_rate_mil_per_year": 1.0}, True),  # a low rate is not an answer
        ({"corrosive_or_reactive": True}, False),  # stated
        ({"commodity": "Nitric acid"}, False),  # listed
        ({"corrosion_rate_mil_per_year": 3}, False),  # measured
    ],
)
def test_an_assumption_is_told_in_the_reasons(service, said):
    due = item(judged(**service), "thickness")
    assert due["interval_months"] == 60
    assert ("assum" in texts(due["reasons"])) is said


def test_an_assumed_corrosive_lading_keeps_the_lining_item():
    lining = {"kind": "rubber", "applied_on": "2019-03-01"}
    due = item(due_dates(ask(lining=lining, service={})), "lining")
    assert due["status"] != "not_required"
    assert "assum" in texts(due["reasons"])


@pytest.mark.parametrize(
    "service",
    [
        {"commodity": "Nitric acid", "corrosive_or_reactive": False},  # the list wins
        {"corrosion_rate_mil_per_year": 2.6, "corrosive_or_reactive": False},  # the rate wins
    ],
)
def test_a_stated_no_that_is_overruled_is_warned_of(service):
    assert warned(**service)


def test_a_stated_no_that_stands_is_not_warned_of():
    assert not warned(commodity="Light cycle oil", corrosive_or_reactive=False)
