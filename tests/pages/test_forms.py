"""Reading forms: by the parsers of files, every fault beside its field, nothing typed lost."""

from datetime import date
from decimal import Decimal

import pytest

from app.errors import Fault
from app.files import days, measures
from app.pages import forms
from app.pages.event_form import blank, more_rows, read_event
from app.pages.forms import Entries, Field

DAY = Field("on", "Day", days.day, needed=True)
INCHES = Field("inches", "Inches", measures.thickness)


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("0.4375", Decimal("0.4375")),
        ("7/16", Decimal("0.4375")),  # as plate is spoken of
        (" 7/16 in ", Decimal("0.4375")),
        ("", None),  # not needed, so empty is not stated
    ],
)
def test_a_field_reads_what_a_cell_of_a_file_reads(typed, value):
    values, entries = forms.read((INCHES,), {"inches": [typed]})
    assert (values["inches"], dict(entries.problems)) == (value, {})


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "Nothing was entered; this is needed."),
        ("1/2/2019", "this one may mean 2019-01-02 or 2019-02-01"),
        ("2026-02-30", "there is no such day"),
        ("2026-11", "the month alone does not do here"),
    ],
)
def test_a_fault_stands_beside_its_field_and_what_was_typed_stays(typed, said):
    _, entries = forms.read((DAY,), {"on": [typed]})
    assert said in entries.problem("on")
    assert entries.text("on") == typed


def test_faults_of_an_action_go_beside_the_fields_they_name_and_others_over_the_form():
    faults = [Fault("on", "lies in the future"), Fault("on", "is wrong"), Fault("x.y", "cannot be")]
    assert forms.beside(faults, ["on"]) == {
        "on": "Lies in the future. Is wrong.",
        "": "Cannot be.",
    }


@pytest.mark.parametrize(
    ("value", "typed"),
    [
        (None, []),
        (True, ["yes"]),
        (False, ["no"]),
        (date(2026, 11, 25), ["2026-11-25"]),
        (Decimal("1E+2"), ["100"]),  # never as a computer writes it
        (("visual", "thickness"), ["visual", "thickness"]),
    ],
)
def test_what_is_on_record_fills_a_form_as_a_person_would_type_it(value, typed):
    assert forms.as_typed(value) == typed


def test_rows_without_inches_are_left_out_and_the_others_keep_their_place():
    typed = {**blank().typed, "happened_on": ["2026-11-01"], "items": ["thickness"]}
    typed |= {"readings.1.inches": ["13/32"], "readings.3.inches": ["0.44"]}
    event, _ = read_event(typed)
    assert event is not None
    found = [(each.zone, each.inches) for each in event.readings]
    assert found == [("shell_bottom", Decimal("0.40625")), ("head_b", Decimal("0.44"))]


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [
        ({"items": []}, "items", "Nothing is ticked"),
        ({"happened_on": [""]}, "happened_on", "this is needed"),
        ({"readings.0.inches": ["thin"]}, "readings.0.inches", "Found 'thin'"),
        ({"readings.4.inches": ["0.4"]}, "readings.4.zone", "No zone is chosen"),
        ({"readings.0.inches": ["0,437"]}, "readings.0.inches", "with a point, not a comma"),
    ],
)
def test_each_fault_of_an_event_is_told_at_its_field(changes, field, said):
    typed = {**blank().typed, "happened_on": ["2026-11-01"], "items": ["visual"], **changes}
    event, entries = read_event(typed)
    assert event is None
    assert said in entries.problem(field)


def test_more_rows_keep_what_stands_in_those_there_are():
    longer = more_rows(Entries({"readings.0.inches": ["0.4"], "readings.0.extent": ["local"]}))
    assert longer.text("readings.0.extent") == "local"
    assert len(longer.rows("readings")) == 3
