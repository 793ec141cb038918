"""Approved alternative intervals.

Source: 49 CFR 180.509(l) and 180.515, annual edition of October 1, 2019: another interval may be approved,
and until it is on the stencil the dates that are stenciled take precedence.
"""

import json

import pytest

from app.answers import due_dates
from tests.core.cars import LIQUOR, UNLINED_ITEMS, ask, citations, item, qualified


def approval(name, months, stenciled=True, reference="ZQ-APP-7"):
    return {
        "item": name,
        "interval_months": months,
        "reference": reference,
        "stenciled": stenciled,
    }


def due(name, *approvals, **car):
    return item(due_dates(ask(qualified(), approvals=list(approvals), **car)), name)


@pytest.mark.parametrize("name", UNLINED_ITEMS)
@pytest.mark.parametrize(
    ("months", "due_on"),
    [
        (144, "2030-03-15"),  # longer
        (84, "2025-03-15"),  # shorter
        (120, "2028-03-15"),  # the same
    ],
)
def test_a_stenciled_approval_replaces_the_interval(name, months, due_on):
    found = due(name, approval(name, months))
    assert (found["interval_months"], found["due_on"]) == (months, due_on)
    assert "49 CFR 180.509(l)" in citations(found["reasons"])
    assert "ZQ-APP-7" in json.dumps(found["reasons"])


@pytest.mark.parametrize("months", [144, 84])
def test_an_approval_that_is_not_stenciled_changes_nothing_and_is_told(months):
    asked = ask(qualified(), approvals=[approval("visual", months, stenciled=False)])
    answer = due_dates(asked)
    found = item(answer, "visual")
    assert (found["interval_months"], found["due_on"]) == (120, "2028-03-15")
    assert "ZQ-APP-7" in json.dumps([found["reasons"], answer["warnings"]])


def test_stenciled_is_no_unless_stated():
    found = due("visual", {"item": "visual", "interval_months": 144})
    assert found["interval_months"] == 120


@pytest.mark.parametrize(
    ("several", "months"),
    [
        ([approval("visual", 144), approval("visual", 132)], 132),  # the shortest
        ([approval("visual", 132), approval("visual", 144)], 132),
        ([approval("visual", 144), approval("visual", 60, stenciled=False)], 144),  # stenciled ones
        ([approval("thickness", 60)], 120),  # of another item
    ],
)
def test_of_several_the_shortest_stenciled_one_of_the_item_counts(several, months):
    assert due("visual", *several)["interval_months"] == months


def test_an_approval_replaces_five_years_of_a_thin_tank_too():
    asked = ask(
        qualified(shell_bottom=0.406), service=LIQUOR, approvals=[approval("thickness", 84)]
    )
    assert item(due_dates(asked), "thickness")["interval_months"] == 84


def test_an_approval_replaces_the_eight_years_of_a_lining():
    asked = ask(
        lining={"kind": "rubber", "applied_on": "2018-03-15"},
        service=LIQUOR,
        approvals=[approval("lining", 132)],
    )
    assert item(due_dates(asked), "lining")["due_on"] == "2029-03-15"


@pytest.mark.parametrize(
    ("written", "due_on"),
    [
        ("2029-06-30", "2029-06-30"),  # within the approved twelve years
        ("2031-06-30", "2030-03-15"),  # past them
    ],
)
def test_a_stenciled_approval_is_also_the_maximum_of_the_stencil(written, due_on):
    stencil = {"marked_on": "2018-03-15", "due": {"visual": written}}
    found = due("visual", approval("visual", 144), stencil=stencil)
    assert found["due_on"] == due_on


def test_a_shorter_approval_lowers_the_maximum_of_the_stencil():
    stencil = {"marked_on": "2018-03-15", "due": {"visual": "2027-06-30"}}
    found = due("visual", approval("visual", 84), stencil=stencil)
    assert found["due_on"] == "2025-03-15"


def test_an_approved_interval_is_rounded_like_the_others():
    settings = {"due_precision": "month_end"}
    assert due("visual", approval("visual", 144), settings=settings)["due_on"] == "2030-03-31"
