"""Which rules apply to a car, by the class in its stencil.

Sources: 49 CFR 180.509(c), 180.519 and 173.319(e), annual edition of October 1, 2019 (173.319: 2015).
"""

import pytest

from app.answers import due_dates
from app.errors import Refused
from tests.core.cars import MECHANICAL, UNLINED_CAR, ask, names, qualified


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
    assert names(answer) == list(UNLINED_CAR)
    assert len(answer["thickness"]) == 4


@pytest.mark.parametrize(
    ("specification", "items"),
    [
        # 180.519: tanks taken off the car, so nothing of a car on the railroad.
        ("DOT 106A500X", ("relief_device", "tank_retest")),
        ("DOT 110A500W", ("relief_device", "tank_retest")),
        ("DOT 27", ("relief_device", "tank_retest")),
        ("BE 27", ("relief_device", "tank_retest")),
        # 173.319(e): no periodic test of the tank.
        ("DOT 113A60W", ("relief_device", "rupture_disc", *MECHANICAL)),
        ("DOT 113C120W", ("relief_device", "rupture_disc", *MECHANICAL)),
        # 180.509(c)(1).
        ("DOT 107A3000", ("relief_device", "tank_retest", *MECHANICAL)),
    ],
)
def test_a_car_of_another_regime_has_the_items_of_its_own(specification, items):
    answer = due_dates(ask(specification=specification))
    assert names(answer) == list(items)
    # No line of 180.509(g) judges these tanks.
    assert answer["thickness"] == []


@pytest.mark.parametrize(
    "specification", ["DOT 111A100W1", "DOT 106A500X", "DOT 113A60W", "DOT 107A3000"]
)
def test_a_car_without_a_relief_device_has_no_such_item_in_any_regime(specification):
    bare = due_dates(ask(specification=specification, relief_device={"kind": "none"}))
    usual = due_dates(ask(specification=specification))
    assert names(bare) == [name for name in names(usual) if name != "relief_device"]


@pytest.mark.parametrize("specification", ["DOT 108A100W1", "DOT 999A100W", "DOT 118J100W", "DOT"])
def test_a_class_that_no_rule_knows_is_refused(specification):
    with pytest.raises(Refused) as refusal:
        due_dates(ask(specification=specification))
    assert [fault.path for fault in refusal.value.faults] == ["car.specification"]
