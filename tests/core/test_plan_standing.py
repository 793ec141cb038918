"""What accepting a version does to the visits of a car: planned, joined, kept, cancelled, or in the way."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.plan.standing import PlannedVisit, Settled, Standing, Wanted, covered, settle

NORTH, SOUTH = "North Works", "South Works"


def stands(key: int, month: str, *items: str, shop: str = NORTH, own=False, begun=False, told=""):
    return Standing(key, PlannedVisit(shop, month, items, begun), own, told)


def wants(month: str, *items: str, shop: str = NORTH, told: str = "") -> Wanted:
    return Wanted(shop, month, items, told)


@pytest.mark.parametrize(
    ("wanted", "standing", "settled"),
    [
        ([wants("2027-05", "visual")], [], Settled(plan=(wants("2027-05", "visual"),))),
        # Its own visit, wanted just so, in whatever order its work is written.
        (
            [wants("2027-05", "visual", "lining")],
            [stands(1, "2027-05", "lining", "visual", own=True)],
            Settled(keep=(1,)),
        ),
        # Its own visit, but elsewhere, in another month, for other work, or with other words.
        *(
            ([wanted], [stands(1, "2027-05", "visual", own=True)], Settled((wanted,), cancel=(1,)))
            for wanted in (
                wants("2027-05", "visual", shop=SOUTH),
                wants("2027-06", "visual"),
                wants("2027-05", "visual", "lining"),
                wants("2027-05", "visual", told="Call first."),
            )
        ),
        ([], [stands(1, "2027-05", "visual", own=True)], Settled(cancel=(1,))),
        # Another's visit stays; work that it does is planned no second time.
        ([wants("2027-05", "visual")], [stands(1, "2027-05", "visual")], Settled()),
        ([wants("2027-08", "visual")], [stands(1, "2027-05", "visual")], Settled()),
        (
            [wants("2027-05", "visual", "lining")],
            [stands(1, "2027-05", "visual")],
            Settled(join=((1, ("lining",)),)),
        ),
        ([wants("2027-05")], [stands(1, "2027-05", "visual")], Settled()),
        # What has begun stays; only the rest of its work is planned.
        ([wants("2027-05", "visual")], [stands(1, "2027-05", "visual", begun=True)], Settled()),
        (
            [wants("2027-08", "visual", "lining")],
            [stands(1, "2027-05", "visual", begun=True)],
            Settled((wants("2027-08", "lining"),)),
        ),
    ],
)
def test_visits_of_a_car_become_those_that_are_wanted(wanted, standing, settled):
    assert settle(wanted, standing) == settled


@pytest.mark.parametrize(
    ("wanted", "standing", "told", "way_on"),
    [
        (
            wants("2027-05", "lining", shop=SOUTH), stands(1, "2027-05", "visual"),
            "has a visit to", "move it in this version, or cancel that visit",
        ),
        (
            wants("2027-05", "lining"), stands(1, "2027-05", "visual", begun=True),
            "is on its visit", "move its work of that month to another, or solve anew",
        ),
    ],
)  # fmt: skip
def test_two_visits_in_one_month_clash_and_say_what_to_do(wanted, standing, told, way_on):
    (clash,) = settle([wanted], [standing]).clashes
    assert clash.startswith(f"{told}")
    assert "2027-05" in clash
    assert clash.endswith(way_on)


ITEM = st.sampled_from(["visual", "lining", "thickness"])
MONTH = st.sampled_from(["2027-05", "2027-06", "2027-07"])
SHOP = st.sampled_from([NORTH, SOUTH])
WORK = st.lists(ITEM, unique=True, max_size=3).map(tuple)
WANTED = st.lists(st.builds(Wanted, SHOP, MONTH, WORK), max_size=3, unique_by=lambda it: it.month)
VISIT = st.builds(PlannedVisit, SHOP, MONTH, WORK, st.just(False))
STANDING = st.lists(
    st.builds(Standing, st.integers(1, 9), VISIT, st.booleans()),
    max_size=3, unique_by=(lambda it: it.key, lambda it: it.visit.month),
)  # fmt: skip


@given(WANTED, STANDING)
def test_all_work_that_is_wanted_has_its_visit_afterwards_and_no_other_visit_is_touched(
    wanted, standing
):
    found = settle(wanted, standing)
    own = {each.key for each in standing if each.own}
    assert {*found.keep, *found.cancel} == own
    assert not {*found.keep} & {*found.cancel}
    assert {key for key, _ in found.join}.isdisjoint(own)
    if found.clashes:
        return
    left = [each for each in standing if each.key not in found.cancel]
    done = {
        *covered(each.visit for each in left),
        *(item for each in found.plan for item in each.items),
        *(item for _, items in found.join for item in items),
    }
    assert done >= {item for each in wanted for item in each.items}
    months = [each.visit.month for each in left] + [each.month for each in found.plan]
    assert len(months) == len(set(months))  # a car makes one visit in a month
