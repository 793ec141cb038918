"""The due dates painted on the car.

Source: 49 CFR 180.515, annual edition of October 1, 2019: dates on the consolidated stencil take precedence
over dates changed but not stenciled. How a painted year is read is common practice; that a stencil never
carries an item past the maximum of 180.509 is ours.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import (
    LIQUOR,
    OIL,
    UNLINED_ITEMS,
    ask,
    changed,
    citations,
    failed,
    item,
    measured,
    passed,
    qualified,
    statuses,
    texts,
)

# Everything passed on 2018-03-15, so it is due by the calendar on 2028-03-15; asked on 2026-11-25.


def painted(on="2018-03-15", **due):
    return {"marked_on": on, "due": due}


def new_warnings(asked, *, without="stencil"):
    """Warnings that are not there without the stencil."""
    bare = {**asked, "car": {name: v for name, v in asked["car"].items() if name != without}}
    usual = due_dates(bare)["warnings"]
    return [note for note in due_dates(asked)["warnings"] if note not in usual]


@pytest.mark.parametrize("name", UNLINED_ITEMS)
@pytest.mark.parametrize(
    ("written", "year_read", "due_on", "capped"),
    [
        ("2027-09-30", "start", "2027-09-30", False),  # a day
        ("2027-09-30", "end", "2027-09-30", False),
        ("2028-03-15", "start", "2028-03-15", False),  # exactly the maximum
        ("2028-03-16", "start", "2028-03-15", True),  # past it: the maximum controls
        ("2030-01-01", "start", "2028-03-15", True),
        ("2028", "start", "2028-01-01", False),  # the safe reading, the default
        ("2027", "end", "2027-12-31", False),  # common practice
        ("2028", "end", "2028-03-15", True),  # past the maximum
        ("2029", "start", "2028-03-15", True),
        ("2024", "start", "2024-01-01", False),  # overdue by its stencil
    ],
)
def test_a_painted_date_controls_but_never_past_the_maximum(
    name, written, year_read, due_on, capped
):
    asked = ask(
        qualified(), stencil=painted(**{name: written}), settings={"stencil_year": year_read}
    )
    due = item(due_dates(asked), name)
    assert due["due_on"] == due_on
    assert (due["calculated_due_on"], due["basis_on"]) == ("2028-03-15", "2018-03-15")
    assert due["status"] == ("overdue" if due_on < "2026-11-25" else "in_date")
    assert bool(new_warnings(asked)) is capped
    assert "49 CFR 180.515" in citations(due["reasons"])


def test_a_painted_year_is_read_as_its_start_by_default():
    asked = ask(qualified(), stencil=painted(visual="2027"))
    assert item(due_dates(asked), "visual")["due_on"] == "2027-01-01"


def test_a_stencil_touches_only_the_items_painted_on_it():
    plain = due_dates(ask(qualified()))
    answer = due_dates(ask(qualified(), stencil=painted(visual="2027-01-31")))
    moved = [
        due["item"]
        for due, was in zip(answer["items"], plain["items"], strict=True)
        if due["due_on"] != was["due_on"]
    ]
    assert moved == ["visual"]


@pytest.mark.parametrize("marked_on", [None, "2018-03-20"])
def test_a_stencil_of_unknown_age_is_held_to_the_maximum_like_any_other(marked_on):
    asked = ask(qualified(), stencil=painted(marked_on, visual="2030-01-31"))
    assert item(due_dates(asked), "visual")["due_on"] == "2028-03-15"


@pytest.mark.parametrize(
    ("marked_on", "due_on"),
    [
        ("2018-03-20", "2027-01-31"),  # marked after the inspection
        ("2018-03-15", "2027-01-31"),  # on its day: not overtaken
        ("2018-03-14", "2028-03-15"),  # the day before: overtaken
        ("2012-01-01", "2028-03-15"),
        (None, "2027-01-31"),  # nobody knows when: never overtaken
        ("2027-01-01", "2028-03-15"),  # not painted yet
        ("2018-04", "2027-01-31"),  # a month counts from its first day
        ("2018-03", "2028-03-15"),
    ],
)
def test_a_passing_event_later_than_the_marking_overtakes_it(marked_on, due_on):
    asked = ask(qualified(), stencil=painted(marked_on, visual="2027-01-31"))
    assert item(due_dates(asked), "visual")["due_on"] == due_on


def test_only_a_pass_of_the_item_itself_overtakes_its_marking():
    events = [qualified(), passed("2020-01-01", "thickness"), failed("2021-01-01", "thickness")]
    asked = ask(*events, stencil=painted(visual="2027-01-31", thickness="2027-01-31"))
    answer = due_dates(asked)
    assert item(answer, "visual")["due_on"] == "2027-01-31"
    # Failed since: what is owed beats the stencil.
    assert item(answer, "thickness")["due_on"] == "2021-01-01"


@pytest.mark.parametrize(
    ("due", "warns", "verdict"),
    [
        ("2025-12-31", True, "check"),  # overtaken and past: the car shows an old date
        ("2026-11-24", True, "check"),
        ("2026-11-25", False, "may_load"),  # today is not past
        ("2027-06-30", False, "may_load"),  # overtaken, but not past
    ],
)
def test_a_car_that_does_not_show_its_new_date_is_to_be_checked(due, warns, verdict):
    asked = ask(qualified(), stencil=painted("2016-01-01", visual=due))
    answer = due_dates(asked)
    assert item(answer, "visual")["due_on"] == "2028-03-15"
    assert bool(new_warnings(asked)) is warns
    assert answer["loading"]["verdict"] == verdict
    assert bool(answer["loading"]["reasons"]) >= warns


def test_an_old_stencil_does_not_hold_up_a_lading_that_is_not_hazardous():
    asked = ask(
        qualified(),
        stencil=painted("2016-01-01", visual="2025-12-31"),
        service={**OIL, "hazardous": False},
    )
    answer = due_dates(asked)
    assert answer["loading"]["verdict"] == "may_load"


def test_with_nothing_to_count_from_the_stencil_controls_alone():
    asked = ask(built_on=None, stencil=painted("2018-03-15", visual="2035-05-01"))
    due = item(due_dates(asked), "visual")
    assert (due["status"], due["due_on"]) == ("in_date", "2035-05-01")
    assert due["basis_on"] is due["calculated_due_on"] is None


@pytest.mark.parametrize("on", ["2026-01-10", "2018-03-15"])
def test_what_is_owed_beats_the_stencil(on):
    asked = ask(
        qualified(), failed(on, "visual"), stencil=painted("2018-03-15", visual="2027-01-31")
    )
    due = item(due_dates(asked), "visual")
    assert (due["status"], due["due_on"]) == ("due_now", on)


def test_a_painted_date_is_never_rounded_and_the_maximum_neither():
    settings = {"due_precision": "year_end"}
    early = ask(qualified(), stencil=painted(visual="2027-01-31"), settings=settings)
    assert item(due_dates(early), "visual")["due_on"] == "2027-01-31"
    late = ask(qualified(), stencil=painted(visual="2028-12-31"), settings=settings)
    due = item(due_dates(late), "visual")
    assert (due["due_on"], due["calculated_due_on"]) == ("2028-03-15", "2028-12-31")


def test_a_stencil_may_carry_past_the_interval_of_the_owner_up_to_the_maximum():
    # 180.515: the stencil takes precedence over an adjustment that is not stenciled.
    owner = {"owner_interval_months": 60}
    for written, due_on in (("2026-06-30", "2026-06-30"), ("2029-06-30", "2028-03-15")):
        asked = ask(
            qualified(), service_equipment=owner, stencil=painted(service_equipment=written)
        )
        due = item(due_dates(asked), "service_equipment")
        assert (due["due_on"], due["calculated_due_on"]) == (due_on, "2023-03-15")


@pytest.mark.parametrize(
    ("bottom_in", "written", "due_on"),
    [
        (0.406, "2022-06-30", "2022-06-30"),  # within five years
        (0.406, "2025-06-30", "2023-03-15"),  # five years are the maximum of a thin tank
        (0.407, "2025-06-30", "2025-06-30"),  # ten of a sound one
        (0.407, "2029-06-30", "2028-03-15"),
    ],
)
def test_the_maximum_of_the_thickness_is_its_interval(bottom_in, written, due_on):
    asked = ask(
        qualified(shell_bottom=bottom_in), service=LIQUOR, stencil=painted(thickness=written)
    )
    assert item(due_dates(asked), "thickness")["due_on"] == due_on


@pytest.mark.parametrize(
    ("interval", "documented", "written", "due_on"),
    [
        (60, False, "2024-06-30", "2024-06-30"),  # past the owner's, within eight years
        (60, False, "2026-06-30", "2026-03-15"),  # eight years are the maximum
        (120, True, "2027-06-30", "2027-06-30"),  # documented: its own interval
        (120, True, "2029-06-30", "2028-03-15"),
        (None, False, "2030-06-30", "2026-03-15"),
    ],
)
def test_the_maximum_of_a_lining_is_eight_years_or_what_is_documented(
    interval, documented, written, due_on
):
    lining = {
        "kind": "rubber",
        "applied_on": "2018-03-15",
        "owner_interval_months": interval,
        "documented": documented,
    }
    asked = ask(lining=lining, service=LIQUOR, stencil=painted("2018-04-01", lining=written))
    assert item(due_dates(asked), "lining")["due_on"] == due_on


def test_a_lined_tank_takes_no_thickness_date_from_the_stencil():
    asked = ask(
        passed("2018-03-15", "thickness", readings=measured()),
        lining={"kind": "rubber", "applied_on": "2018-03-15"},
        service=LIQUOR,
        stencil=painted(thickness="2027-06-30"),
    )
    due = item(due_dates(asked), "thickness")
    assert (due["status"], due["due_on"]) == ("by_event", None)


def test_a_lining_that_is_not_required_takes_no_date_from_the_stencil():
    asked = ask(
        lining={"kind": "rubber", "applied_on": "2018-03-15"},
        service=OIL,
        stencil=painted("2018-04-01", lining="2025-06-30"),
    )
    due = item(due_dates(asked), "lining")
    assert (due["status"], due["due_on"]) == ("not_required", None)


@pytest.mark.parametrize(
    ("marked_on", "due_on"),
    [
        ("2024-07-09", "2034-07-10"),  # painted before this device was put on
        ("2024-07-10", "2030-01-31"),  # on the day
        ("2024-08-01", "2030-01-31"),
    ],
)
def test_a_marking_before_the_installation_says_nothing_of_the_relief_device(marked_on, due_on):
    device = {
        "kind": "valve",
        "tested_on": "2024-01-15",
        "installed_on": "2024-07-10",
        "protected_in_storage": True,
    }
    asked = ask(
        qualified(), relief_device=device, stencil=painted(marked_on, relief_device="2030-01-31")
    )
    assert item(due_dates(asked), "relief_device")["due_on"] == due_on


def test_a_stencil_dates_a_relief_device_whose_test_nobody_knows():
    device = {"kind": "valve", "installed_on": "2024-07-10"}
    asked = ask(
        qualified(), relief_device=device, stencil=painted("2024-08-01", relief_device="2033")
    )
    due = item(due_dates(asked), "relief_device")
    assert (due["status"], due["due_on"], due["basis_on"]) == ("in_date", "2033-01-01", None)


def test_an_overdue_stencil_stops_the_loading():
    answer = due_dates(ask(qualified(), stencil=painted(visual="2026-06-30")))
    assert statuses(answer)["visual"] == "overdue"
    assert answer["loading"]["verdict"] == "may_not_load"


def test_a_change_on_the_car_does_not_overtake_a_marking():
    asked = ask(
        qualified(),
        changed("2020-01-01", "service_equipment_changed"),
        stencil=painted(service_equipment="2027-01-31"),
    )
    assert item(due_dates(asked), "service_equipment")["due_on"] == "2027-01-31"


def test_the_reasons_tell_the_calculated_date_beside_the_painted_one():
    asked = ask(qualified(), stencil=painted(visual="2027-01-31"))
    assert "2027-01-31" in texts(item(due_dates(asked), "visual")["reasons"])
