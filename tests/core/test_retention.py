"""How long a report is kept: until the next inspection of the same type has passed (49 CFR 180.517, 2019 edition)."""

from datetime import date

import pytest
from dateutil.relativedelta import relativedelta

from app.core.retention import Report, let_go, papers_until


def report(key, on, items="visual", passed=True, zones=(), last=None):
    return Report(key, on, last or on, frozenset(items.split()), passed, frozenset(zones))


OLD, NEW, NEWEST = date(2015, 3, 4), date(2025, 2, 3), date(2026, 1, 2)


@pytest.mark.parametrize(
    ("reports", "free"),
    [
        ([report(1, OLD)], {}),
        ([report(1, OLD), report(2, NEW)], {1: NEW}),
        # A failed one completes nothing.
        ([report(1, OLD), report(2, NEW, passed=False)], {}),
        ([report(1, OLD, passed=False), report(2, NEW)], {1: NEW}),
        # Another type is another report.
        ([report(1, OLD), report(2, NEW, "thickness")], {}),
        # A report of two types waits for both.
        ([report(1, OLD, "visual thickness"), report(2, NEW)], {}),
        ([report(1, OLD, "visual thickness"), report(2, NEW), report(3, NEWEST, "thickness")], {1: NEWEST}),
        # The first that passes, not the last.
        ([report(1, OLD), report(2, NEW), report(3, NEWEST)], {1: NEW, 2: NEWEST}),
        # On the same day nothing is next.
        ([report(1, OLD), report(2, OLD)], {}),
        # A month alone may have been any day of it.
        ([report(1, date(2025, 2, 1), last=date(2025, 2, 28)), report(2, NEW)], {}),
        ([report(1, OLD), report(2, date(2025, 2, 1), last=date(2025, 2, 28))], {1: date(2025, 2, 28)}),
        # Readings go when a later thickness test measured each zone (common practice, no source).
        ([report(1, OLD, "thickness", zones=("head_a",)), report(2, NEW, "thickness")], {}),
        ([report(1, OLD, "thickness", zones=("head_a",)), report(2, NEW, "thickness", zones=("head_a",))], {1: NEW}),
        # A change to the car is no report of an inspection.
        ([report(1, OLD, ""), report(2, NEW)], {}),
    ],
)  # fmt: skip
def test_a_report_is_kept_until_the_next_of_each_type_has_passed(reports, free):
    assert let_go(reports) == free


@pytest.mark.parametrize(
    ("left", "until"),
    [
        (date(2025, 3, 4), date(2026, 3, 4)),
        (date(2024, 2, 29), date(2025, 2, 28)),  # as python-dateutil has it
    ],
)
def test_a_former_owner_keeps_the_papers_for_a_year(left, until):
    assert papers_until(left) == until == left + relativedelta(years=1)
