"""What is told of moving a car that may not be loaded, and the days around a loading."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta

from app.core.facts import Due, Loading, Reason
from app.core.loading import CAUTION, falling_due, in_date_through, strictest
from app.core.moving import OPEN, moving
from app.rules.reader import default_rulebook

DAY = date(2026, 11, 25)


def due(item: str, due_on: date | None, state: str = "dated") -> Due:
    return Due(
        item=item, state=state, due_on=due_on, basis_on=None, interval_months=None,
        calculated_due_on=due_on, confidence="verified", reasons=(), rule="",
    )  # fmt: skip


def answer(verdict: str) -> Loading:
    return Loading(verdict, (Reason("as it stands"),), CAUTION)


@pytest.mark.parametrize("verdict", ["may_load", "check"])
def test_nothing_is_told_of_moving_a_car_that_is_not_forbidden_to_load(verdict):
    assert moving(answer(verdict), default_rulebook()) == ()


# What forbids the loading, and of which situations something is told: a hold says nothing of the rule.
FORBIDDEN = [
    ([None], []),
    (["filling"], ["loaded", "to_shop"]),
    (["condemned"], ["to_shop"]),
    ([None, "filling"], ["loaded", "to_shop"]),
]


@pytest.mark.parametrize(("rules", "situations"), FORBIDDEN)
def test_moving_is_told_of_overdue_and_condemned_cars(rules, situations):
    book = default_rulebook()
    reasons = tuple(Reason("so", book.rule(rule).citation if rule else None) for rule in rules)
    told = moving(Loading("may_not_load", reasons, CAUTION), book)
    assert [each.situation for each in told] == situations


def test_a_mechanical_item_has_no_say_in_it():
    book = default_rulebook()
    reason = Reason("so", book.rule("filling").citation, "mechanical")
    assert moving(Loading("may_not_load", (reason,), CAUTION), book) == ()


def test_moving_an_overdue_car_is_told_with_its_citations_and_never_as_a_yes():
    """49 CFR 173.31(a)(3), (d)(1), 2015 edition; 174.50 as agency pages of 2014 tell it."""
    book = default_rulebook()
    overdue = Reason("Visual inspection is overdue", book.rule("filling").citation)
    told = moving(Loading("may_not_load", (overdue,), CAUTION), book)
    cited = [reason.citation for each in told for reason in each.reasons]
    assert cited == ["49 CFR 173.31(a)(3)", "49 CFR 173.31(d)(1)", "49 CFR 174.50"]
    words = " ".join(reason.text for each in told for reason in each.reasons)
    assert "it says nothing" in words
    assert "no permission" in OPEN


# Days from the loading to the due day; within how many days is asked for; whether it is told.
AHEAD = [
    (-1, 30, False),
    (0, 30, True),
    (1, 0, False),
    (0, 0, True),
    (30, 30, True),
    (31, 30, False),
]


@pytest.mark.parametrize(("days", "within", "told"), AHEAD)
def test_what_falls_due_within_the_days_asked_for_is_told_to_its_last_day(days, within, told):
    """Counted once more by dateutil."""
    items = [due("thickness", DAY + relativedelta(days=days))]
    said = falling_due(items, DAY, within)
    assert [each.text for each in said] == (
        [f"Thickness test falls due on {items[0].due_on}, {_in(days)}"] if told else []
    )


def _in(days: int) -> str:
    return {0: "that very day", 1: "a day later"}.get(days, f"{days} days later")


# Items that only the car's mechanics ask for, that happen by event or are not known, do not count.
THROUGH = [
    ([], None),
    ([("thickness", 10)], 10),
    ([("thickness", 10), ("visual", 5), ("air_brake", 1)], 5),
    ([("air_brake", 1)], None),
]


@pytest.mark.parametrize(("items", "days"), THROUGH)
def test_a_car_is_in_date_through_the_soonest_day_that_decides(items, days):
    dated = [due(item, DAY + timedelta(days=each)) for item, each in items]
    undated = [due("lining", None, "unknown"), due("leakage", None, "by_event")]
    expected = None if days is None else DAY + timedelta(days=days)
    assert in_date_through([*dated, *undated]) == expected


@pytest.mark.parametrize(
    ("verdicts", "chosen"),
    [
        (["may_load"], 0),
        (["may_load", "check", "may_not_load"], 2),
        (["may_load", "check", "check"], 1),
    ],
)
def test_of_several_answers_the_first_that_allows_least_counts(verdicts, chosen):
    answers = [answer(verdict) for verdict in verdicts]
    assert strictest(answers) is answers[chosen]
