"""Which lining a failure was of, and whether it came before the lining's interval was over (180.509(i))."""

from datetime import date

import pytest

from app.core.lining_life import Applied, lives
from app.rules.reader import default_rulebook

MAY = date(2018, 5, 1)


def only(applied: Applied, *failed: date, removed: tuple[date, ...] = ()):
    (life,) = lives([applied], removed, failed, default_rulebook())
    return life


@pytest.mark.parametrize(
    ("applied", "failed", "due_on", "early"),
    [
        (Applied(MAY, owner_interval_months=60), date(2023, 4, 30), date(2023, 5, 1), True),
        (Applied(MAY, owner_interval_months=60), date(2023, 5, 1), date(2023, 5, 1), False),
        # At most 8 years without documents (180.509(i), 2019 edition), and 8 where the owner set none.
        (Applied(MAY), date(2026, 4, 30), date(2026, 5, 1), True),
        (Applied(MAY, owner_interval_months=120), date(2027, 5, 1), date(2026, 5, 1), False),
        (Applied(MAY, owner_interval_months=120, documented=True), date(2027, 5, 1), date(2028, 5, 1), True),
        (Applied(None, owner_interval_months=60), date(2019, 5, 1), None, False),
    ],
)  # fmt: skip
def test_a_lining_failed_early_when_it_failed_before_its_interval(applied, failed, due_on, early):
    life = only(applied, failed)
    assert (life.failed_on, life.due_on, life.failed_early) == (failed, due_on, early)


def test_the_first_failure_counts_and_none_before_it_was_applied():
    assert only(
        Applied(MAY), date(2017, 1, 1), date(2021, 1, 1), date(2020, 1, 1)
    ).failed_on == date(2020, 1, 1)


def test_a_failure_is_of_the_lining_that_was_on_the_car():
    first, second = lives(
        [Applied(date(2024, 5, 1)), Applied(MAY)], [], [date(2024, 5, 1)], default_rulebook()
    )
    assert (first.applied.on, first.until, first.failed_on) == (
        MAY,
        date(2024, 5, 1),
        date(2024, 5, 1),
    )
    assert second.failed_on is None


def test_a_removal_ends_a_lining():
    life = only(Applied(MAY), date(2022, 1, 1), removed=(date(2020, 1, 1),))
    assert (life.until, life.failed_on) == (date(2020, 1, 1), None)
