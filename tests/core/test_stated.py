"""Where two standards differ: each place once, in both directions, and whether costs are of one measure."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.plan.basis import FIRST, Basis, CarFacts, Move, PlanShop
from app.core.plan.stated import differing, stated

NORTH, SOUTH = (
    PlanShop("North", ("tank",), 20, {"2027-07": 0}, 900),
    PlanShop("South", ("valve",), 5),
)
BASIS = replace(
    FIRST, shops=(NORTH, SOUTH), moves=(Move("Gulf", "North", 400),), cars=(CarFacts("ZQKX 1", 85),)
)


def shops(*shops: PlanShop) -> Basis:
    return replace(BASIS, shops=shops)


def visual(**otherwise) -> Basis:
    held = {**BASIS.standards, "visual": replace(BASIS.standards["visual"], **otherwise)}
    return replace(BASIS, standards=held)


@pytest.mark.parametrize(
    ("after", "place", "values", "of_costs"),
    [
        (replace(BASIS, cleaning_cost=2400), ("cleaning_cost",), (1200, 2400), True),
        (replace(BASIS, days_away=7), ("days_away",), (14, 7), True),
        (visual(days=6), ("visual", "days"), (2, 6), False),
        (visual(skill="paint"), ("visual", "skill"), ("tank", "paint"), False),
        (visual(late_cost=50), ("visual", "late_cost"), (None, 50), True),
        (shops(replace(NORTH, days=8), SOUTH), ("shops", "North", "days"), (20, 8), False),
        (
            shops(replace(NORTH, months={}), SOUTH),
            ("shops", "North", "months"),
            ({"2027-07": 0}, None),
            False,
        ),
        (
            shops(replace(NORTH, move_cost=None), SOUTH),
            ("shops", "North", "move_cost"),
            (900, None),
            True,
        ),
        # A shop with all that is stated of it is one place.
        (shops(SOUTH), ("shops", "North"), ("named", None), False),
        (replace(BASIS, moves=()), ("moves", "Gulf", "North"), (400, None), True),
        (
            replace(BASIS, cars=(CarFacts("ZQKX 1", 85, "2027-03"),)),
            ("cars", "ZQKX 1", "earliest"),
            (None, "2027-03"),
            False,
        ),
    ],
)
def test_one_change_differs_at_its_place_alone_and_back_again(after, place, values, of_costs):
    (found,) = differing(BASIS, after)
    assert (found.place, (found.before, found.after), found.of_costs) == (place, values, of_costs)
    (back,) = differing(after, BASIS)
    assert (back.place, (back.after, back.before)) == (place, values)


bases = st.builds(
    replace,
    st.just(BASIS),
    shops=st.lists(
        st.builds(
            PlanShop, st.sampled_from("ABC"), st.just(("tank",)), st.sampled_from((0.0, 5.0)),
            st.sampled_from(({}, {"2027-01": 3.0})), st.sampled_from((None, 10.0)),
        ), unique_by=lambda shop: shop.code, max_size=3).map(tuple),
    cleaning_cost=st.sampled_from((1.0, 2.0)),
)  # fmt: skip


@given(bases, bases)
def test_standards_differ_nowhere_just_when_they_state_the_same(one, other):
    assert (not differing(one, other)) == (stated(one) == stated(other))
    same = sorted(one.shops, key=str) == sorted(other.shops, key=str)
    assert (not differing(one, other)) == (same and one.cleaning_cost == other.cleaning_cost)
