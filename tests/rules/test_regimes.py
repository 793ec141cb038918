"""Which rules apply to a car, by the class in its stencil.

Sources: 49 CFR 180.509(c), 180.519 and 173.319(e), annual edition of October 1, 2019 (173.319: 2015).
"""

import pytest

from app.answers import due_dates
from app.errors import Refused
from tests.core.cars import UNLINED_ITEMS, ask, names, qualified


@pytest.mark.parametrize(
    "specification",
    [
        "DOT 103W",  # existing cars only
        "DOT 104W",
        "DOT 105J300W",
        "DOT 109A300W",
        "DOT 111A100W1",
        "DOT 112J340W",
        "DOT 114A340W",
        "DOT 115A60W1",
        "DOT 117J100W",
        "DOT 117R100W",
        "DOT 117P100W",
        "DOT 120A300W",
        "AAR 211A100W1",
        "TC 117J100W",  # the agency makes no difference
        "111A100W1",  # nor does its absence
        "dot-111a100w1",  # nor spaces, hyphens and case
    ],
)
def test_a_fusion_welded_car_has_the_periodic_items(specification):
    answer = due_dates(ask(qualified(), specification=specification))
    assert names(answer) == list(UNLINED_ITEMS)


@pytest.mark.parametrize(
    "specification",
    [
        "DOT 106A500X",  # ton tank, 180.519
        "DOT 110A500W",  # ton tank
        "DOT 27",  # ton tank
        "DOT 113A60W",  # cryogenic, 173.319(e)
        "DOT 113C120W",  # cryogenic
        "DOT 107A3000",  # seamless, 180.509(c)(1)
    ],
)
def test_a_car_of_another_regime_is_answered_with_a_warning_and_a_check(specification):
    answer = due_dates(ask(specification=specification))
    assert answer["items"] == []
    assert answer["next"] is None
    assert answer["warnings"]
    assert answer["loading"]["verdict"] == "check"
    assert answer["loading"]["reasons"]


@pytest.mark.parametrize("specification", ["DOT 108A100W1", "DOT 999A100W", "DOT 118J100W", "DOT"])
def test_a_class_that_no_rule_knows_is_refused(specification):
    with pytest.raises(Refused) as refusal:
        due_dates(ask(specification=specification))
    assert [fault.path for fault in refusal.value.faults] == ["car.specification"]
