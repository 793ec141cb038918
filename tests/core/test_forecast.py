"""Sums of a forecast against an independent count by python-dateutil."""

from collections import Counter
from dataclasses import replace
from datetime import date

from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from app.core.plan.basis import Basis, Standard
from app.core.plan.forecast import Falling, Need, by_month, ended, left_out, lost, needs

FIRST, MONTHS = 2026 * 12 + 10, 120
BASIS = Basis({"visual": Standard("tank", 2, 100), "lining": Standard("lining", 8, 900)})
SOME = st.builds(
    Falling,
    item=st.sampled_from(["visual", "lining", "air_brake"]),
    group=st.sampled_from(["A", "B", ""]),
    month=st.integers(FIRST - 40, FIRST + 200),
    interval=st.sampled_from([None, 1, 6, 60, 120, 200]),
    number=st.integers(1, 50),
    ends=st.none() | st.integers(FIRST - 50, FIRST + 130),
)


def counted(falling: list[Falling]) -> Counter:
    """By item, group and month, one due day after the other, from the first of each month until it ends."""
    first = date(FIRST // 12, FIRST % 12 + 1, 1)
    end = first + relativedelta(months=MONTHS)
    found: Counter = Counter()
    for each in falling:
        due = date(each.month // 12, each.month % 12 + 1, 1)
        over = date(each.ends // 12, each.ends % 12 + 1, 1) if each.ends is not None else date.max
        day = max(first, due) if due < over else end
        while day < end:
            found[each.item, each.group, day] += each.number
            if each.interval is None:
                break
            day += relativedelta(months=each.interval)
            day = day if day < over else end
    return found


@given(st.lists(SOME, max_size=12))
def test_what_falls_due_by_month_is_what_a_count_day_by_day_gives(falling):
    expected: Counter = Counter()
    for (_, group, day), number in counted(falling).items():
        expected[group, day.year * 12 + day.month - 1] += number
    assert by_month(falling, FIRST, MONTHS) == dict(expected)


@given(st.lists(SOME, max_size=12))
def test_days_and_costs_are_those_of_the_standards_for_every_item_counted(falling):
    found = sum(needs(falling, BASIS, FIRST, MONTHS).values(), Need())
    standards = {"visual": (2, 100), "lining": (8, 900), "air_brake": (0, 0)}
    by_item: Counter = Counter()
    for (item, _, _), number in counted(falling).items():
        by_item[item] += number
    assert found.number == sum(by_item.values())
    assert found.days == sum(number * standards[item][0] for item, number in by_item.items())
    assert found.cost == sum(number * standards[item][1] for item, number in by_item.items())


@given(st.lists(SOME, max_size=6), st.lists(SOME, max_size=6))
def test_what_is_counted_and_what_is_left_out_are_together_all_that_falls_due(others, ending):
    never = [replace(each, ends=None) for each in ending]
    gone = [each for each in (lost(one, FIRST) for one in ending) if each]
    kept = by_month(ended([*others, *never], gone), FIRST, MONTHS)
    assert kept == by_month([*others, *ending], FIRST, MONTHS)
    out = left_out(gone, FIRST, MONTHS)
    assert all(number > 0 for number in out.values())
    every = by_month([*others, *never], FIRST, MONTHS)
    assert sum(kept.values()) + sum(out.values()) == sum(every.values())


def test_an_item_that_is_due_already_stands_in_the_first_month_and_repeats_from_there():
    old = Falling("visual", "A", FIRST - 30, 60, 1)
    assert by_month([old], FIRST, MONTHS) == {("A", FIRST): 1, ("A", FIRST + 60): 1}
