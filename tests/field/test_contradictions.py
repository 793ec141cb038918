"""What a report says against itself: a pass with a condemned reading, a day over when the car was taken along."""

import pytest

from app.store import reports
from app.store.field import FieldEntry, Report
from tests.field.entries import DAY, Tablet
from tests.field.places import placed
from tests.store.cast import stamp

CONDEMNED = "0.200"


@pytest.fixture
def place(db):
    return placed(db)


def measured(place, outcome: str, inches: str = CONDEMNED) -> Tablet:
    tablet = place.tablet("thickness")
    tablet.reading(inches, ring=2, spot="ring 2, 6 o'clock", confirmed=True)
    tablet.outcome("thickness", outcome)
    assert set(place.states(*tablet.entries)) == {"stored"}
    return tablet


def test_a_pass_with_a_condemned_reading_is_signed_only_by_whoever_says_that_it_is_right(place):
    tablet = measured(place, "pass").sign()
    (result,) = place.send(tablet.last)
    assert (result.state, [each.path for each in result.faults]) == (
        "refused",
        ["signed.confirmed"],
    )
    assert "ring 2, 6 o'clock reads 0.200 in, which is condemned" in result.faults[0].problem
    assert place.events() == []
    assert place.states(tablet.mend(confirmed=True)) == ["stored"]
    assert [each.items for each in place.events()] == ["thickness"]


@pytest.mark.parametrize(("outcome", "inches"), [("fail", CONDEMNED), ("pass", "0.437")])
def test_a_report_that_agrees_with_itself_is_signed_as_it_is(place, outcome, inches):
    assert place.states(measured(place, outcome, inches).sign().last) == ["stored"]


@pytest.mark.parametrize(
    ("happened_on", "taken_at", "state"),
    [
        ("2025-10-23", "2026-11-25T08:00:00+00:00", "refused"),
        ("2026-11-23", "2026-11-24T12:00:00+00:00", "stored"),  # not over in the farthest west
        ("2026-11-23", "2026-11-24T12:00:01+00:00", "refused"),
        ("2025-10-23", None, "stored"),
    ],
)
def test_a_day_that_was_over_when_the_car_was_taken_along_is_to_be_confirmed(
    place, happened_on, taken_at, state
):
    says = {"happened_on": happened_on, "taken_at": taken_at}
    tablet = Tablet(place.car_id).begin("visual", **says)
    (result,) = place.send(tablet.last)
    assert result.state == state
    if state == "refused":
        assert [each.path for each in result.faults] == ["says.happened_on"]
        assert place.states(tablet.mend(confirmed=True)) == ["stored"]


def test_an_entry_stored_before_a_field_was_thought_of_is_known_when_it_comes_again(place):
    tablet = Tablet(place.car_id).begin("visual")
    entry = tablet.last
    says = {"visit_id": None, **entry["says"]}
    assert "confirmed" not in says
    report = Report(
        key=tablet.report, car_id=place.car_id, person_id=place.by.person_id,
        happened_on=stamp().today, recorded_at=stamp(60).at, recorded_by="Ada Nobody",
    )  # fmt: skip
    place.db.add(report)
    place.db.flush()
    place.db.add(
        FieldEntry(
            key=entry["key"],
            report_id=report.id,
            car_id=place.car_id,
            place=1,
            kind="begun",
            made_at=stamp().at.replace(hour=9, minute=0),
            says=reports.written(says),
            recorded_at=stamp(60).at,
            recorded_by="Ada Nobody",
        )
    )
    place.db.flush()
    assert place.states(entry) == ["known"]
    assert place.states(entry | {"says": entry["says"] | {"confirmed": True}}) == ["refused"]
    assert str(stamp().today) == DAY
