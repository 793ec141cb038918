"""Where the facts of a car contradict its stencil.

Sources, annual edition of October 1, 2019: 49 CFR 179.22(c), (d), (e) (delimiters J and T, weld I),
179.101-1 and 179.201-1 (bottom outlet, insulation, lining), 179.221-1 (class 115), 179.202 (class 117),
180.519(b) (ton tanks). Delimiter H and the end of weld I: industry summaries of 85 FR 75680, 2020.
"""

from datetime import date

import pytest

from app.core.contradictions import of_car
from app.core.facts import Car, Event, Lining, Tank
from app.rules.reader import default_rulebook

BOOK = default_rulebook()
LINED_ON = date(2015, 5, 1)


def told(text, *, events=(), kinds=(), lining=None, built_on=None, **tank):
    car = Car("ZQKX", 1, text, built_on=built_on, tank=Tank(**tank), lining=lining)
    return of_car(car, events, kinds, BOOK)


def happened(item, on=LINED_ON):
    return Event(on, (item,))


@pytest.mark.parametrize(
    ("text", "facts", "said", "citation"),
    [
        # A bottom outlet on a class without: 179.101-1, 179.201-1.
        *[
            (text, {"kinds": ["bottom_outlet"]}, "bottom outlet", table)
            for table, texts in (
                ("179.101-1", ("DOT 105A300W", "DOT 109A300W", "DOT 112A340W")),
                ("179.201-1", ("DOT 111A100W2", "DOT 111A100W4", "DOT 111A100W7",
                               "DOT 111A60ALW2", "AAR 211A100W2")),
            )
            for text in texts
        ],
        # Insulation: 105 and 120, W3 and W4, class 115.
        *[
            (text, {"insulated": False}, "not insulated", table)
            for table, texts in (
                ("179.101-1", ("DOT 105A300W", "DOT 120A200W")),
                ("179.201-1", ("DOT 111A100W3", "DOT 111A100W4", "AAR 211A100W3")),
                ("179.221-1", ("DOT 115A60W6",)),
            )
            for text in texts
        ],
        # 179.22(c): J claims thermal protection and a jacket.
        ("DOT 112J340W", {"jacketed": False}, "without a jacket", "179.22(c)"),
        ("DOT 112J340W", {"thermal_protection": False}, "without thermal", "179.22(c)"),
        ("DOT 117J100W", {"jacketed": False}, "without a jacket", "179.22(c)"),
        # 179.22(d): T claims thermal protection without a jacket.
        ("DOT 112T340W", {"jacketed": True}, "a jacket is recorded", "179.22(d)"),
        ("DOT 117T100W", {"thermal_protection": False}, "without thermal", "179.22(d)"),
        # H in place of J.
        ("DOT 105H600W", {"jacketed": False}, "without a jacket", "85 FR 75680"),
        # Class 117 whatever its delimiter: 179.202-6, -12, -13.
        ("DOT 117A100W", {"thermal_protection": False}, "without thermal", "179.202-6"),
        ("DOT 117R100W", {"thermal_protection": False}, "without thermal", "-13"),
        ("DOT 117P", {"thermal_protection": False}, "without thermal", "-12"),
        # AL and the material.
        ("DOT 111A100ALW1", {"material": "TC128B"}, "TC128B", "179.22"),
        ("DOT 111A100W1", {"material": "AL5083"}, "AL5083", "179.22"),
        # 179.22(e): interim cars were built after March 16, 2009.
        ("DOT 105J600I", {"built_on": date(2009, 3, 16)}, "built on 2009-03-16", "179.22(e)"),
        ("DOT 105J600I", {"built_on": date(2009, 3, 17)}, "dropped", "85 FR 75680"),
        # Ton tanks: 180.519(b) knows no lining.
        ("DOT 106A500X", {"lining": Lining("rubber", LINED_ON)}, "lining", "180.519(b)"),
        ("DOT 110A500W", {"events": [happened("lining_applied")]}, "lining", "180.519(b)"),
    ],
)  # fmt: skip
def test_a_fact_that_does_not_fit_the_stencil_is_told_with_its_citation(
    text, facts, said, citation
):
    found = told(text, **({"lining": None} | facts))
    assert any(said in each.text and citation in each.citation for each in found), found


@pytest.mark.parametrize(
    ("text", "facts"),
    [
        ("DOT 111A100W1", {"kinds": ["bottom_outlet"]}),  # optional there
        ("DOT 114A340W", {"kinds": ["bottom_outlet"]}),
        ("DOT 120A200W", {"kinds": ["bottom_outlet"], "insulated": True}),
        ("DOT 112A340W", {"kinds": ["valve"], "insulated": False}),  # insulation optional
        ("DOT 105A300W", {}),  # not known is no contradiction
        ("DOT 112J340W", {"jacketed": True, "thermal_protection": True}),
        ("DOT 112T340W", {"jacketed": False}),
        ("DOT 112A340W", {"jacketed": False, "thermal_protection": False}),
        ("DOT 112S340W", {"jacketed": False, "thermal_protection": False}),
        ("DOT 117R100W", {"jacketed": False}),
        ("DOT 111A100ALW1", {"material": "AL5083"}),
        ("DOT 111A100W1", {"material": "A516-70"}),
        ("DOT 106A500X", {}),
        ("DOT 113A60W", {"thermal_protection": False, "jacketed": False}),  # its letter is a temperature
        ("DOT 105J600W", {"built_on": date(1999, 1, 1)}),
        ("hello", {"kinds": ["bottom_outlet"]}),  # what cannot be read contradicts nothing
    ],
)  # fmt: skip
def test_what_fits_or_is_not_known_is_not_told(text, facts):
    assert told(text, **facts) == ()


@pytest.mark.parametrize("text", ["DOT 111A100W5", "DOT 111A60W5", "DOT 103BW"])
@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({}, "no lining is recorded"),
        ({"lining": Lining("rubber", LINED_ON)}, None),
        ({"lining": Lining("rubber")}, None),  # since when does not matter
        ({"events": [happened("lining_applied")]}, None),
        ({"events": [happened("lining_applied"), happened("lining_removed")]}, "removal"),
        (
            {"lining": Lining("rubber", LINED_ON), "events": [happened("lining_removed", date(2020, 1, 1))]},
            "removal",
        ),
        (
            {"lining": Lining("rubber", date(2021, 1, 1)), "events": [happened("lining_removed", date(2020, 1, 1))]},
            None,
        ),
    ],
)  # fmt: skip
def test_a_lined_specification_wants_a_lining_on_record(text, facts, said):
    found = told(text, **facts)
    assert bool(found) is (said is not None)
    assert not found or said in found[0].text


def test_what_nobody_checked_against_the_rule_text_says_so():
    found = told("DOT 105H600W", jacketed=False)
    assert "not verified against the rule text" in found[0].text
