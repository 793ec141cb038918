"""What must hold of any car: safety first, and no surprise."""

import copy
from datetime import date, timedelta

from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from app.answers import due_dates
from tests.core.cars import (
    CALENDAR_ITEMS,
    LINED_ITEMS,
    LIQUOR,
    MECHANICAL,
    SHELL_AND_HEADS,
    UNLINED_ITEMS,
    Json,
    ask,
    days,
    failed,
    inches,
    item,
    passed,
    qualified,
    reading,
    requests,
)

VERDICTS = ("may_load", "check", "may_not_load")
ZONE_VERDICTS = ("above_c", "at_or_below_c", "condemned")
DATED = ("overdue", "soon", "in_date")
NO_DATE = ("by_event", "unknown", "not_required")


def with_event(asked: Json, event: Json) -> Json:
    return {**asked, "events": [*asked["events"], event]}


def with_car(asked: Json, path: str, value: object) -> Json:
    """The same question, the field of the car at `path` replaced."""
    changed = copy.deepcopy(asked)
    *way, last = path.split(".")
    place = changed["car"]
    for name in way:
        if place.get(name) is None:
            place[name] = {}
        place = place[name]
    place[last] = value
    return changed


def a_day(draw_from: st.DataObject, asked: Json) -> str:
    """A day between construction and the day asked for."""
    first = date.fromisoformat(asked["car"]["built_on"] or "1996-01-01")
    return draw_from.draw(days(first, date.fromisoformat(asked["as_of"])))


def interval(asked: Json, name: str) -> int:
    """Months between two inspections; none counts as endless."""
    return item(due_dates(asked), name)["interval_months"] or 10_000


@given(requests(plain=True), st.data(), st.sampled_from(CALENDAR_ITEMS))
def test_a_passing_event_never_brings_a_date_forward(asked: Json, data: st.DataObject, name: str):
    before = item(due_dates(asked), name)
    after = item(due_dates(with_event(asked, passed(a_day(data, asked), name))), name)
    assert after["due_on"] is not None
    # What is owed without a calendar may have been due by the calendar before it became owed.
    assert before["basis_on"] is None or after["due_on"] >= before["due_on"]


@given(requests(plain=True))
def test_what_recurs_is_never_due_later_than_ten_years_after_its_basis(asked: Json):
    answer = due_dates(asked)
    for name in CALENDAR_ITEMS:
        due = item(answer, name)
        if due["basis_on"]:
            limit = date.fromisoformat(due["basis_on"]) + relativedelta(years=10)
            assert date.fromisoformat(due["due_on"]) <= limit
            assert due["calculated_due_on"] == limit.isoformat()


@given(requests())
def test_a_stencil_never_carries_an_item_past_its_maximum(asked: Json):
    bare = with_car(asked, "approvals", [])
    for due in due_dates(bare)["items"]:
        if due["item"] in UNLINED_ITEMS and due["due_on"] and due["basis_on"]:
            limit = date.fromisoformat(due["basis_on"]) + relativedelta(years=10)
            rounded = date(limit.year, 12, 31)
            stenciled = due["due_on"] != due["calculated_due_on"]
            assert due["due_on"] <= (limit if stenciled else rounded).isoformat()


@given(requests(), st.data())
def test_the_status_tells_the_date(asked: Json, data: st.DataObject):
    as_of = date.fromisoformat(asked["as_of"])
    ahead = [due["days_left"] for due in due_dates(asked)["items"]]
    # Most edges are met where one item has exactly the days of notice left.
    edges = [left for left in ahead if left is not None and 0 <= left <= 36_500]
    soon_days = data.draw(st.sampled_from([0, 180, *edges]))
    settings = {**asked["settings"], "soon_days": soon_days}
    for due in due_dates({**asked, "settings": settings})["items"]:
        if due["status"] in NO_DATE:
            assert due["due_on"] is due["days_left"] is None
            continue
        left = (date.fromisoformat(due["due_on"]) - as_of).days
        assert due["days_left"] == left
        if due["status"] in DATED:
            dated = "overdue" if left < 0 else "soon" if left <= soon_days else "in_date"
            assert due["status"] == dated


@given(requests())
def test_next_is_what_comes_first(asked: Json):
    answer = due_dates(asked)
    owed = [due for due in answer["items"] if due["status"] == "due_now"]
    dated = owed or [due for due in answer["items"] if due["due_on"]]
    first = min(dated, key=lambda due: due["due_on"], default=None)
    assert answer["next"] == (first and {"item": first["item"], "due_on": first["due_on"]})


@given(requests())
def test_a_hazardous_lading_is_never_loaded_into_an_overdue_or_condemned_car(asked: Json):
    answer = due_dates(with_car(asked, "service.hazardous", True))
    verdict = answer["loading"]["verdict"]
    deciding = {due["status"] for due in answer["items"] if due["item"] not in MECHANICAL}
    if deciding & {"overdue", "due_now"}:
        assert verdict == "may_not_load"
    elif "unknown" in deciding:
        assert verdict != "may_load"
    if any(row["verdict"] == "condemned" for row in answer["thickness"]):
        assert verdict == "may_not_load"


@given(requests())
def test_a_condemned_car_is_not_loaded_with_anything(asked: Json):
    answer = due_dates(with_car(asked, "service.hazardous", False))
    condemned = any(row["verdict"] == "condemned" for row in answer["thickness"])
    assert answer["loading"]["verdict"] == ("may_not_load" if condemned else "may_load")


@given(requests())
def test_a_lading_not_stated_counts_as_corrosive(asked: Json):
    unsaid, yes, no = (
        with_car(asked, "service.corrosive_or_reactive", stated) for stated in (None, True, False)
    )
    assert interval(unsaid, "thickness") == interval(yes, "thickness")
    assert interval(unsaid, "thickness") <= interval(no, "thickness")
    lining = [due for due in due_dates(unsaid)["items"] if due["item"] == "lining"]
    assert not lining or lining[0]["status"] != "not_required"


@st.composite
def measured_tanks(draw: st.DrawFn) -> Json:
    """An unlined tank in corrosive service, of known steel and diameter, measured all over."""
    tank = {
        "material": draw(st.sampled_from(["TC128B", "A516-70", "A285C"])),
        "inside_diameter_in": draw(st.integers(84, 122)),
        "head_shape": draw(st.sampled_from(["2:1", "2:1", "3:1"])),
    }
    thick = st.integers(37_000, 120_000).map(lambda hundred_thousandths: hundred_thousandths / 1e5)
    read = {name: draw(thick) for name in SHELL_AND_HEADS}
    return ask(qualified(**read), service=LIQUOR, tank=tank)


@given(measured_tanks(), st.sampled_from(SHELL_AND_HEADS))
def test_a_zone_nobody_measured_never_lengthens_the_interval(asked: Json, unmeasured: str):
    blind = copy.deepcopy(asked)
    for event in blind["events"]:
        event["readings"] = [read for read in event["readings"] if read["zone"] != unmeasured]
    assert interval(blind, "thickness") == 60 <= interval(asked, "thickness")


@given(measured_tanks(), st.sampled_from(["tank.inside_diameter_in", "tank.material"]))
def test_a_tank_nobody_knows_never_lengthens_the_interval(asked: Json, unknown: str):
    blind = with_car(asked, unknown, None)
    assert interval(blind, "thickness") == 60 <= interval(asked, "thickness")


@given(requests())
def test_a_lining_nobody_documented_never_lasts_longer(asked: Json):
    documented = with_car(asked, "lining.documented", True)
    if any(due["item"] == "lining" for due in due_dates(documented)["items"]):
        bare = with_car(asked, "lining.documented", None)
        assert interval(bare, "lining") <= interval(documented, "lining")


@given(
    st.dates(date(2016, 1, 1), date(2026, 1, 1)),
    st.integers(-30, 250),
    st.sampled_from(["valve", "disc", "combination", None]),
)
def test_a_relief_device_nobody_protected_is_never_due_later(tested: date, gap: int, kind: str):
    device = {
        "kind": kind,
        "tested_on": tested.isoformat(),
        "installed_on": (tested + timedelta(days=gap)).isoformat(),
    }
    protected, bare, unsaid = (
        item(
            due_dates(ask(relief_device={**device, "protected_in_storage": stated})),
            "relief_device",
        )
        for stated in (True, False, None)
    )
    assert bare["basis_on"] == unsaid["basis_on"] == tested.isoformat()
    assert unsaid["due_on"] <= protected["due_on"]


@given(
    requests(plain=True), st.data(), st.lists(st.sampled_from(LINED_ITEMS), min_size=1, unique=True)
)
def test_a_failed_inspection_without_readings_never_clears_anything(
    asked: Json, data: st.DataObject, inspected: list[str]
):
    before = due_dates(asked)
    after = due_dates(with_event(asked, failed(a_day(data, asked), *inspected)))
    assert VERDICTS.index(after["loading"]["verdict"]) >= VERDICTS.index(
        before["loading"]["verdict"]
    )
    for was, now in zip(before["items"], after["items"], strict=True):
        assert was["item"] == now["item"]
        assert now["status"] == "due_now" or now["status"] == was["status"]
        assert was["due_on"] is None or now["due_on"] <= was["due_on"]
        assert now["basis_on"] == was["basis_on"]
    assert before["thickness"] == after["thickness"]


@given(requests(), st.data(), st.sampled_from(SHELL_AND_HEADS), inches)
def test_a_spot_check_never_makes_a_zone_better(
    asked: Json, data: st.DataObject, where: str, read_in: float
):
    spot = passed(a_day(data, asked), "safety_systems", readings=[reading(where, read_in)])
    rows = zip(
        due_dates(asked)["thickness"], due_dates(with_event(asked, spot))["thickness"], strict=False
    )
    for was, now in rows:
        if was["verdict"] in ZONE_VERDICTS:
            assert ZONE_VERDICTS.index(now["verdict"]) >= ZONE_VERDICTS.index(was["verdict"])


@given(requests(), st.data())
def test_events_of_different_days_may_stand_in_any_order(asked: Json, data: st.DataObject):
    by_day = {event["on"]: event for event in asked["events"]}
    one_a_day = {**asked, "events": list(by_day.values())}
    mixed = {**asked, "events": data.draw(st.permutations(one_a_day["events"]))}
    first, second = due_dates(one_a_day), due_dates(mixed)
    for part in ("items", "next", "thickness", "loading"):
        assert first[part] == second[part]


@given(requests(), st.integers(1, 3000), st.lists(st.sampled_from(LINED_ITEMS), min_size=1))
def test_what_is_dated_after_the_day_changes_nothing_and_is_warned_of(
    asked: Json, ahead: int, inspected: list[str]
):
    later = date.fromisoformat(asked["as_of"]) + timedelta(days=ahead)
    event = failed(later.isoformat(), *set(inspected), readings=[reading("head_a", 0.1)])
    plain, more = due_dates(asked), due_dates(with_event(asked, event))
    for part in ("items", "next", "thickness", "loading"):
        assert plain[part] == more[part]
    assert len(more["warnings"]) > len(plain["warnings"])


@given(requests(plain=True), st.sampled_from(["month_end", "year_end"]))
def test_a_rounded_date_lies_at_the_end_of_the_same_month_or_year(asked: Json, precision: str):
    rounded = {**asked, "settings": {**asked["settings"], "due_precision": precision}}
    for exact, round_ in zip(due_dates(asked)["items"], due_dates(rounded)["items"], strict=True):
        if exact["calculated_due_on"] is None:
            assert round_["calculated_due_on"] is None
            continue
        if exact["item"] not in LINED_ITEMS:
            assert round_ == exact
            continue
        day, end = (date.fromisoformat(due["calculated_due_on"]) for due in (exact, round_))
        month = day.month if precision == "month_end" else 12
        assert (end.year, end.month) == (day.year, month)
        assert (end + timedelta(days=1)).day == 1
