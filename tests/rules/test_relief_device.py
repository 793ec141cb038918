"""Relief devices: what counts as the day of the test.

Sources: 49 CFR 180.509(k) and 180.515(c), annual edition of October 1, 2019: a reclosing device qualified
within six months before it was installed, and protected until then, counts from its installation. What
counts when the clause fails, and when a device was changed, is ours.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import ask, changed, citations, failed, item, names, passed, texts

AS_OF = "2025-06-01"


def device(tested_on="2024-01-15", installed_on="2024-07-10", protected=True, **more):
    return {
        "kind": "valve",
        "tested_on": tested_on,
        "installed_on": installed_on,
        "protected_in_storage": protected,
        **more,
    }


def relief(*events, as_of=AS_OF, **car):
    return item(due_dates(ask(*events, as_of=as_of, **car)), "relief_device")


@pytest.mark.parametrize(
    ("fitted", "basis_on", "due_on"),
    [
        # 180.515(c): tested 2024-01-15, so the six months end on 2024-07-15.
        (device(installed_on="2024-07-10"), "2024-07-10", "2034-07-10"),
        (device(installed_on="2024-07-15"), "2024-07-15", "2034-07-15"),  # at most six months
        (device(installed_on="2024-07-16"), "2024-01-15", "2034-01-15"),  # a day too late
        (device(installed_on="2024-09-01"), "2024-01-15", "2034-01-15"),
        (device(installed_on="2024-01-15"), "2024-01-15", "2034-01-15"),  # the same day
        (device(installed_on="2024-01-16"), "2024-01-16", "2034-01-16"),
        (device(installed_on="2023-12-01"), "2024-01-15", "2034-01-15"),  # tested on the car
        (device(installed_on=None), "2024-01-15", "2034-01-15"),  # only the test is known
        (device("2023-08-31", "2024-02-29"), "2024-02-29", "2034-02-28"),  # a short month
        (device("2023-08-31", "2024-03-01"), "2023-08-31", "2033-08-31"),
        # Not protected, or not said to be.
        (device(protected=False), "2024-01-15", "2034-01-15"),
        (device(protected=None), "2024-01-15", "2034-01-15"),
        # Only reclosing devices.
        (device(kind="combination"), "2024-07-10", "2034-07-10"),
        (device(kind="disc"), "2024-01-15", "2034-01-15"),
        (device(kind=None), "2024-01-15", "2034-01-15"),
        # A month-only installation is tried with its last day and counts from its first.
        (device(installed_on="2024-06"), "2024-06-01", "2034-06-01"),
        (device(installed_on="2024-07"), "2024-01-15", "2034-01-15"),
        # A month-only test counts from its first day.
        (device("2024-01", "2024-07-01"), "2024-07-01", "2034-07-01"),
        (device("2024-01", "2024-07-02"), "2024-01-01", "2034-01-01"),
    ],
)
def test_a_device_installed_within_six_months_of_its_test_counts_from_then(
    fitted, basis_on, due_on
):
    due = relief(relief_device=fitted)
    assert (due["basis_on"], due["due_on"]) == (basis_on, due_on)
    assert due["status"] == "in_date"
    clause = basis_on == fitted["installed_on"] and basis_on != fitted["tested_on"]
    if clause:
        assert "49 CFR 180.515(c)" in citations(due["reasons"])


@pytest.mark.parametrize(
    ("tested_on", "installed_on", "events", "basis_on"),
    [
        # Neither date: what was inspected, else built.
        (None, None, [], "2010-06-01"),
        (None, None, [passed("2018-03-15", "relief_device")], "2018-03-15"),
        # A change with neither date: another device, of which only what came in or after it counts.
        (None, None, [changed("2020-01-01", "relief_device_changed")], None),
        (
            None,
            None,
            [
                passed("2018-03-15", "relief_device"),
                changed("2020-01-01", "relief_device_changed"),
            ],
            None,
        ),
        (
            None,
            None,
            [
                changed("2020-01-01", "relief_device_changed"),
                passed("2021-02-01", "relief_device"),
            ],
            "2021-02-01",
        ),
        (
            None,
            None,
            [changed("2020-01-01", "relief_device_changed", "relief_device")],
            "2020-01-01",  # passed in the very event
        ),
        (
            None,
            None,
            [
                changed("2020-01-01", "relief_device_changed"),
                passed("2020-01-01", "relief_device"),
            ],
            "2020-01-01",  # the same day, a later place
        ),
        (
            None,
            None,
            [
                passed("2020-01-01", "relief_device"),
                changed("2020-01-01", "relief_device_changed"),
            ],
            None,  # the same day, an earlier place
        ),
        (
            None,
            None,
            [changed("2026-01-01", "relief_device_changed")],
            "2010-06-01",  # has not happened yet
        ),
        # Both dates, and a change after both: another device.
        (
            "2024-01-15",
            "2024-07-10",
            [changed("2024-08-01", "relief_device_changed")],
            None,
        ),
        (
            "2024-01-15",
            "2024-07-10",
            [
                changed("2024-08-01", "relief_device_changed"),
                passed("2024-09-01", "relief_device"),
            ],
            "2024-09-01",
        ),
        # Both dates, and a change that is not after both: they describe the device put on then.
        (
            "2024-01-15",
            "2024-07-10",
            [changed("2024-07-10", "relief_device_changed")],
            "2024-07-10",
        ),
        (
            "2024-01-15",
            "2024-07-10",
            [changed("2024-03-01", "relief_device_changed")],
            "2024-07-10",
        ),
        # A pass on or after the later of the two takes over.
        ("2024-01-15", "2024-09-01", [passed("2024-09-01", "relief_device")], "2024-09-01"),
        ("2024-01-15", "2024-07-10", [passed("2025-01-01", "relief_device")], "2025-01-01"),
        ("2024-01-15", "2024-09-01", [passed("2024-08-31", "relief_device")], "2024-01-15"),
        ("2024-07-10", "2024-01-15", [passed("2024-07-11", "relief_device")], "2024-07-11"),
        # Only the test is known.
        ("2024-01-15", None, [], "2024-01-15"),
        ("2024-01-15", None, [passed("2023-03-15", "relief_device")], "2024-01-15"),
        ("2024-01-15", None, [passed("2024-02-01", "relief_device")], "2024-02-01"),
        # Only the installation is known: nobody knows the test.
        (None, "2024-07-10", [], None),
        (None, "2024-07-10", [passed("2018-03-15", "relief_device")], None),
        (None, "2024-07-10", [passed("2024-07-10", "relief_device")], "2024-07-10"),
        # A test or an installation that has not happened yet is as if it were not there.
        ("2026-01-15", None, [passed("2018-03-15", "relief_device")], "2018-03-15"),
        ("2024-01-15", "2026-07-10", [], "2024-01-15"),
    ],
)
def test_the_basis_is_that_of_the_device_on_the_car_now(tested_on, installed_on, events, basis_on):
    due = relief(*events, relief_device=device(tested_on, installed_on))
    assert due["basis_on"] == basis_on
    if basis_on is None:
        assert (due["status"], due["due_on"]) == ("unknown", None)


def test_an_unknown_device_is_warned_of():
    answer = due_dates(ask(relief_device=device(None, "2024-07-10"), as_of=AS_OF))
    assert "relief device" in texts(answer["warnings"])


@pytest.mark.parametrize(
    ("owner", "months", "due_on"),
    [
        (None, 120, "2034-07-10"),  # 180.509(k)(1)
        (60, 60, "2029-07-10"),  # the owner's is shorter
        (120, 120, "2034-07-10"),
        (144, 120, "2034-07-10"),  # never longer
    ],
)
def test_the_owner_may_only_shorten_the_interval(owner, months, due_on):
    due = relief(relief_device=device(owner_interval_months=owner))
    assert (due["interval_months"], due["due_on"]) == (months, due_on)


def test_a_car_without_a_relief_device_has_no_such_item():
    answer = due_dates(ask(relief_device={"kind": "none"}))
    assert "relief_device" not in names(answer)


def test_a_car_whose_relief_device_is_not_described_has_the_item_all_the_same():
    assert relief(relief_device=None)["basis_on"] == "2010-06-01"


def test_a_failed_device_is_due_now_though_its_test_date_is_recent():
    due = relief(failed("2025-02-01", "relief_device"), relief_device=device())
    assert (due["status"], due["due_on"]) == ("due_now", "2025-02-01")
    assert due["basis_on"] == "2024-07-10"


def test_the_date_of_a_device_is_rounded_like_the_others():
    settings = {"due_precision": "year_end"}
    assert relief(relief_device=device(), settings=settings)["due_on"] == "2034-12-31"


def why(**fitted):
    """The sentence that says what a device is counted from."""
    due = relief(relief_device={"kind": "valve", "protected_in_storage": True, **fitted})
    (told,) = [each["text"] for each in due["reasons"] if each["text"].startswith(START)]
    return told


START = ("Counted from", "Not known from when")
NOT_BY_CLAUSE = (
    "Counted from 2024-01-15, when it was tested; "
    "the six-month clause for a later installation does not apply: "
)


@pytest.mark.parametrize(
    ("fitted", "told"),
    [
        ({"tested_on": "2024-01-15", "installed_on": "2024-07-10"},
         ("Counted from 2024-07-10, when it was installed: tested on 2024-01-15, at most six months before, "
         "and protected in storage")),
        # The month ends within the six months, and the test may lie after its first day.
        ({"tested_on": "2024-01-15", "installed_on": "2024-06"},
         ("Counted from 2024-06-01, the first day of the month in which it was installed: no day is stated, and the "
         "earliest is the safe side. Tested on 2024-01-15, at most six months before that month's last day, and "
         "protected in storage")),
        ({"tested_on": "2024-05-10", "installed_on": "2024-05"},
         ("Counted from 2024-05-01, the first day of the month in which it was installed: no day is stated, and the "
         "earliest is the safe side. Tested on 2024-05-10, within that same month, and protected in storage")),
        # Some days of the month lie within the six months, the last does not.
        ({"tested_on": "2024-01-15", "installed_on": "2024-07"},
         NOT_BY_CLAUSE + ("installed in 2024-07, no day stated, and that month's last day, which is the safe "
                          "one to try, lies more than six months after its test")),
        # No day of it does.
        ({"tested_on": "2024-01-15", "installed_on": "2024-09"},
         NOT_BY_CLAUSE + "installed in 2024-09, more than six months after its test"),
        ({"tested_on": "2024-01-15", "installed_on": "2024-09-01"},
         NOT_BY_CLAUSE + "installed on 2024-09-01, more than six months after its test"),
        ({"tested_on": "2024-01-15", "installed_on": "2023-12"},
         NOT_BY_CLAUSE + "installed in 2023-12, before its test"),
        ({"installed_on": "2024-05"},
         "Not known from when to count: the relief device was installed in 2024-05 and its test is not known"),
    ],
)  # fmt: skip
def test_what_a_device_counts_from_is_told_as_it_is_known(fitted, told):
    assert why(**fitted) == told


@pytest.mark.parametrize(
    ("installed_on", "told"),
    [
        ("2024-06", "The day of its installation could only make it later"),
        ("2024-07", "A day of its installation up to 2024-07-15 would be counted from instead"),
        ("2024-09", None),
        ("2024-06-10", None),
    ],
)
def test_a_month_only_installation_says_what_its_day_would_change(installed_on, told):
    due = relief(relief_device=device(installed_on=installed_on))
    of_its_day = [
        each["text"] for each in due["reasons"] if "day of its installation" in each["text"]
    ]
    assert of_its_day == ([told] if told else [])


@pytest.mark.parametrize("day", range(1, 32))
def test_the_day_of_a_month_only_installation_could_only_make_it_later(day):
    for month, tested in (("2024-07", "2024-02-10"), ("2024-07", "2024-07-20")):
        unsaid = relief(relief_device=device(tested, month))
        said = relief(relief_device=device(tested, f"{month}-{day:02}"))
        assert unsaid["basis_on"] == f"{month}-01" <= said["basis_on"]
