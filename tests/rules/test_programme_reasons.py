"""What stands against an owner's stricter programme says so: an approval stenciled, a documented lining interval.

Source: 49 CFR 180.509(l) and (i), annual edition of October 1, 2019. That both stand against a programme of
the owner is ours.
"""

from datetime import date

import pytest

from app.core.due import due_dates
from app.core.facts import Approval, Car, Event, Facts, Lining, Service
from app.rules.overlay import differences, laid, own

HEAD = 'id = "zq-own"\nedition = "Invented programme"\nbase = "us-49cfr"\n'
OWNED = HEAD + 'owner = "Quillmoor Invented Leasing"\n'
WORDS = 'text = "Invented programme, page 3"\ncitation = "Invented programme 3"\n'
CORROSIVE = Service("Tanning liquor", corrosive_or_reactive=True)


def months(rule, interval):
    return f"[rules.{rule}]\ninterval_months = {interval}\n{WORDS}"


def due(name, source, *approvals, lining=None):
    car = Car("ZQKX", 1, "DOT 111A100W1", date(2010, 1, 1),
              service=CORROSIVE, approvals=approvals, lining=lining)  # fmt: skip
    facts = Facts(date(2026, 11, 25), car, (Event(date(2020, 3, 15), ("visual",)),))
    return due_dates(facts, laid((source,) if source else ()).rulebook).item(name)


def said(found):
    """Which sentences speak of the programme."""
    return [each for each in found.reasons if "owner's programme asks" in each.text]


def test_a_stenciled_approval_stands_against_the_programme_and_says_so():
    found = due("visual", OWNED + months("visual", 84), Approval("visual", 144, "ZQ-7", True))
    assert (found.interval_months, found.due_on) == (144, date(2032, 3, 15))
    (told,) = said(found)
    assert told.text == (
        "The owner's programme asks for 84 months; the approval stenciled on the car stands, "
        "by 49 CFR 180.509(l), and its 144 months count"
    )
    assert told.citation == "49 CFR 180.509(l)"


@pytest.mark.parametrize(
    ("source", "approval"),
    [
        (OWNED + months("visual", 84), Approval("visual", 84, "ZQ-7", True)),  # no longer
        (OWNED + months("visual", 84), Approval("visual", 60, "ZQ-7", True)),
        (OWNED + months("visual", 84), Approval("visual", 144, "ZQ-7")),  # not stenciled
        (OWNED + months("safety_systems", 84), Approval("visual", 144, "ZQ-7", True)),
        (HEAD + months("visual", 84), Approval("visual", 144, "ZQ-7", True)),  # nobody's programme
        (None, Approval("visual", 144, "ZQ-7", True)),
    ],
)
def test_where_nothing_escapes_the_programme_nothing_is_said(source, approval):
    assert said(due("visual", source, approval)) == []


def lined(interval, documented):
    return Lining("rubber", date(2022, 5, 1), interval, documented)


@pytest.mark.parametrize("interval", [84, 120])
def test_a_documented_lining_interval_stands_against_the_programme_and_says_so(interval):
    found = due("lining", OWNED + months("lining", 60), lining=lined(interval, True))
    assert found.interval_months == interval
    (told,) = said(found)
    assert told.text == (
        f"The owner's programme asks for 60 months; the lining's {interval} months are documented "
        "and stand, by 49 CFR 180.509(i)"
    )
    assert told.citation == "49 CFR 180.509(i)"


@pytest.mark.parametrize(
    ("source", "interval", "documented", "counts"),
    [
        (OWNED + months("lining", 60), 84, False, 60),
        (OWNED + months("lining", 60), 48, True, 48),
        (OWNED + months("lining", 60), None, True, 60),
        (HEAD + months("lining", 60), 84, True, 84),
        (None, 120, True, 120),
    ],
)
def test_a_lining_that_keeps_to_the_programme_says_nothing_of_it(
    source, interval, documented, counts
):
    found = due("lining", source, lining=lined(interval, documented))
    assert (found.interval_months, said(found)) == (counts, [])


def test_an_approval_over_a_documented_lining_tells_of_both():
    approval = Approval("lining", 144, "ZQ-7", True)
    found = due("lining", OWNED + months("lining", 60), approval, lining=lined(120, True))
    assert found.interval_months == 144
    assert [each.citation for each in said(found)] == ["49 CFR 180.509(i)", "49 CFR 180.509(l)"]


def test_whose_rule_it_is_shows_as_no_difference_of_its_own():
    found = differences(own(), laid((OWNED + months("visual", 84),)))
    assert sorted(each.place for each in found) == [
        f"rules.visual.{field}" for field in ("citation", "confidence", "edition", "interval_months", "text")
    ]  # fmt: skip
