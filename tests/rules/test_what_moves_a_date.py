"""Which items the due precision, a stencil, an approval and an owner's interval may move, and which they may not.

Sources: 49 CFR 180.509(k)(1), (l) and 180.515 (fusion-welded cars), annual edition of October 1, 2019; the end of
month or year is common practice without a source. The rule text of 180.519, 173.319(e), 232.305, 224.111 and
215.203 knows none of them.
"""

import pytest

from app.answers import due_dates
from app.core.facts import ITEMS, RULE_ITEMS
from app.errors import Refused
from tests.core.cars import LINED_ITEMS, LIQUOR, ask, item, names, passed

CARS = {
    # A specification of each regime, with a lining where it can have one.
    "fusion_welded": "DOT 111A100W5",
    "ton_tank": "DOT 106A500X",
    "cryogenic": "DOT 113A60W",
    "seamless": "DOT 107A3000",
}


def asked(regime, **more):
    car = {
        "specification": CARS[regime],
        "built_on": "2019-03-15",
        "lining": {"kind": "rubber", "applied_on": "2019-04-10"},
        "service": {**LIQUOR, "hazard_class": "3", "un": "UN1993", "packing_group": "II"},
    }
    return ask(passed("2019-04-10", "thickness"), as_of="2020-01-01", **{**car, **more})


def dates(regime, **more):
    return {due["item"]: due["due_on"] for due in due_dates(asked(regime, **more))["items"]}


def moved(regime, **more):
    plain, other = dates(regime), dates(regime, **more)
    return {name for name in plain if plain[name] != other[name]}


# By event for a lined tank, so nothing moves it.
MOVABLE = set(LINED_ITEMS) - {"thickness"}


@pytest.mark.parametrize("regime", CARS)
@pytest.mark.parametrize("precision", ["month_end", "year_end"])
def test_due_precision_moves_only_what_180_509_dates(regime, precision):
    expected = MOVABLE if regime == "fusion_welded" else set()
    assert moved(regime, settings={"due_precision": precision}) == expected


@pytest.mark.parametrize("regime", CARS)
def test_a_stencil_moves_only_what_180_509_dates(regime):
    painted = {"marked_on": "2019-05-01", "due": dict.fromkeys(LINED_ITEMS, "2022-05-05")}
    expected = MOVABLE if regime == "fusion_welded" else set()
    assert moved(regime, stencil=painted) == expected


@pytest.mark.parametrize("regime", CARS)
@pytest.mark.parametrize("months", [36, 144])
def test_an_approval_moves_only_what_180_509_dates(regime, months):
    approvals = [
        {"item": name, "interval_months": months, "stenciled": True} for name in LINED_ITEMS
    ]
    expected = MOVABLE if regime == "fusion_welded" else set()
    assert moved(regime, approvals=approvals) == expected


@pytest.mark.parametrize("regime", CARS)
def test_an_owner_s_interval_moves_only_what_180_509_leaves_to_the_owner(regime):
    owner = {"owner_interval_months": 37}
    expected = (
        {"lining", "service_equipment", "relief_device"} if regime == "fusion_welded" else set()
    )
    lining = {"kind": "rubber", "applied_on": "2019-04-10", **owner}
    assert moved(regime, service_equipment=owner, relief_device=owner, lining=lining) == expected


@pytest.mark.parametrize("name", [name for name in ITEMS if name not in LINED_ITEMS])
@pytest.mark.parametrize("place", ["stencil", "approvals"])
def test_for_the_other_items_neither_can_be_stated(name, place):
    value = (
        {"due": {name: "2022"}} if place == "stencil" else [{"item": name, "interval_months": 60}]
    )
    with pytest.raises(Refused):
        due_dates(asked("fusion_welded", **{place: value}))


def test_every_item_of_every_regime_was_asked_for():
    seen = {name for regime in CARS for name in names(due_dates(asked(regime)))}
    assert seen == set(RULE_ITEMS)


def test_a_last_day_is_not_moved_by_a_pass_of_everything_else():
    everything = passed("2019-06-01", *LINED_ITEMS, "leakage", "air_brake", "reflective_sheeting")
    plain, more = asked("fusion_welded"), asked("fusion_welded")
    more["events"].append(everything)
    for name in ("age_limit", "service_end"):
        assert item(due_dates(plain), name) == item(due_dates(more), name)
