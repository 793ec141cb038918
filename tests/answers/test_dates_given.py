"""Days and months as they are given: what is taken, what is refused, and what lies after the day asked for.

Source: 49 CFR 180.517(b), annual edition of October 1, 2019: a report must show month and year only. How a
month counts is ours, on the safe side.
"""

import pytest

from app.answers import due_dates
from app.errors import Refused
from tests.core.cars import LIQUOR, ask, changed, failed, item, passed, qualified


def paths(asked):
    with pytest.raises(Refused) as refusal:
        due_dates(asked)
    return [fault.path for fault in refusal.value.faults]


@pytest.mark.parametrize(
    ("car", "events"),
    [
        ({"built_on": "2010-06"}, []),
        ({"rebuilt_on": "2015-06"}, []),
        ({"lining": {"kind": "rubber", "applied_on": "2018-06"}}, []),
        ({"relief_device": {"kind": "valve", "tested_on": "2018-06"}}, []),
        ({"relief_device": {"kind": "valve", "tested_on": "2018-06-01",
                            "installed_on": "2018-07"}}, []),
        ({"reflective_sheeting": {"installed_on": "2018-06"}}, []),
        ({"stencil": {"marked_on": "2018-06", "due": {"visual": "2026-01-31"}}}, []),
        ({}, [passed("2018-06", "visual")]),
        ({}, [{"on": "2018-06", "items": ["visual", "thickness"]}]),
    ],
)  # fmt: skip
def test_a_month_counts_as_its_first_day(car, events):
    """The answer is that for the first day of each month, but for the sentences."""

    def spelt(value):
        if isinstance(value, dict):
            return {name: spelt(inner) for name, inner in value.items()}
        if isinstance(value, list):
            return [spelt(inner) for inner in value]
        is_month = isinstance(value, str) and len(value) == 7 and value[4:5] == "-"
        return f"{value}-01" if is_month else value

    def bare(answer):
        return [{**due, "reasons": None} for due in answer["items"]]

    in_months = ask(*events, **{"service": LIQUOR, **car})
    assert bare(due_dates(in_months)) == bare(due_dates(spelt(in_months)))


@pytest.mark.parametrize(
    ("asked", "path"),
    [
        (ask(as_of="2026-11"), "as_of"),  # the first day would be too early to see what is overdue
        (ask(failed("2020-05", "visual")), "events.0.on"),
        (ask(changed("2020-05", "damage")), "events.0.on"),
        (ask(changed("2020-05", "lining_removed")), "events.0.on"),
        (ask(changed("2020-05", "relief_device_changed", "relief_device")), "events.0.on"),
        (ask(passed("2020-05", "visual"), failed("2020-06", "visual")), "events.1.on"),
    ],
)
def test_a_month_is_refused_where_its_first_day_is_not_the_safe_one(asked, path):
    assert paths(asked) == [path]


@pytest.mark.parametrize(
    "written",
    [
        "2023-02-29",  # no such day
        "2024-13-01",
        "2024-00-10",
        "2024-13",  # no such month
        "2024",  # a year alone
        "24-01-15",
        "2024-1-5",
        "20240115",
        "2024-01-15T00:00:00",
        "15/01/2024",
        "1/2/2019",
        "Jan 2019",
        "yesterday",
        " 2024-01-15",
        "",
        20240115,
        1705276800.0,
        True,
        ["2024-01-15"],
        {"year": 2024},
    ],
)
@pytest.mark.parametrize("path", ["as_of", "car.built_on", "events.0.on"])
def test_what_is_no_day_is_refused(written, path):
    asked = ask(passed("2020-01-01", "visual"))
    if path == "as_of":
        asked["as_of"] = written
    elif path == "car.built_on":
        asked["car"]["built_on"] = written
    else:
        asked["events"][0]["on"] = written
    assert paths(asked) == [path]


@pytest.mark.parametrize(
    ("asked", "path"),
    [
        (ask(built_on="2026-11-26"), "car.built_on"),  # after the day asked for
        (ask(passed("2010-05-31", "visual")), "events.0.on"),  # inspected before built
        (ask(failed("2010-05-31", "visual")), "events.0.on"),
        (ask(changed("2010-05-31", "lining_applied")), "events.0.on"),
        (ask(qualified(), passed("2009-01", "visual")), "events.1.on"),
        (ask(rebuilt_on="2010-05-31"), "car.rebuilt_on"),
        (ask(lining={"kind": "rubber", "applied_on": "2010-05-31"}), "car.lining.applied_on"),
    ],
)
def test_what_cannot_have_been_is_refused(asked, path):
    assert paths(asked) == [path]


@pytest.mark.parametrize(
    "asked",
    [
        ask(built_on="2026-11-25"),  # built today
        ask(passed("2010-06-01", "visual")),  # inspected on the day it was built
        ask(rebuilt_on="2010-06-01"),
        ask(lining={"kind": "rubber", "applied_on": "2010-06-01"}),
        ask(relief_device={"kind": "valve", "tested_on": "2009-01-01"}),  # older than the car
        ask(passed("1990-01-01", "visual"), built_on=None),
    ],
)
def test_the_day_it_was_built_is_not_before(asked):
    assert due_dates(asked)["items"]


@pytest.mark.parametrize(
    ("car", "events"),
    [
        # Asked for 2026-11-25.
        ({}, [passed("2026-11-26", "visual")]),
        ({}, [failed("2026-11-26", "visual")]),
        ({}, [changed("2026-11-26", "damage")]),
        ({}, [changed("2026-11-26", "relief_device_changed")]),
        ({}, [passed("2026-12", "thickness")]),
        ({"rebuilt_on": "2026-11-26"}, []),
        ({"relief_device": {"tested_on": "2026-11-26"}}, []),
        ({"relief_device": {"installed_on": "2026-11-26"}}, []),
        ({"stencil": {"marked_on": "2026-11-26", "due": {"visual": "2027-01-31"}}}, []),
        ({"lining": {"applied_on": "2026-11-26"}}, []),
        ({"reflective_sheeting": {"installed_on": "2026-11-26"}}, []),
    ],
)
def test_what_is_dated_after_the_day_is_as_if_it_were_not_there_with_a_warning(car, events):
    plain, more = due_dates(ask(qualified())), due_dates(ask(qualified(), *events, **car))
    for part in ("items", "next", "thickness", "loading"):
        assert more[part] == plain[part]
    assert len(more["warnings"]) > len(plain["warnings"])


def test_the_day_itself_has_happened():
    asked = ask(failed("2026-11-25", "visual"))
    assert item(due_dates(asked), "visual")["status"] == "due_now"


def test_the_month_of_the_day_has_begun():
    asked = ask(passed("2026-11", "visual"), as_of="2026-11-01")
    assert item(due_dates(asked), "visual")["basis_on"] == "2026-11-01"


@pytest.mark.parametrize("as_of", ["2010-06-01", "1999-12-31", "2099-12-31"])
def test_a_question_may_be_asked_of_any_day(as_of):
    assert due_dates(ask(as_of=as_of, built_on=None))["as_of"] == as_of


@pytest.mark.parametrize(
    ("asked", "path"),
    [
        # Ten years on there is no such day any more.
        (ask(as_of="9999-12-31", built_on=None), "as_of"),
        (ask(as_of="9999-12-31", built_on="9995-01-01"), "as_of"),
        (ask(built_on="0001-01-01"), "car.built_on"),
    ],
)
def test_a_day_outside_any_car_s_life_is_refused(asked, path):
    assert path in paths(asked)
