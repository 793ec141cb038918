"""A file of cars: added, known again, changed as dated facts, or refused with the place of each fault."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy.orm import Session

from app.actions import cars as changing
from app.actions import imports
from app.actions.changes import NewName, NewService, NewStanding
from app.errors import Refused
from app.files import sheets
from app.store.columns import BEGINNING
from app.store.tables import (
    ApprovalFact,
    CarName,
    Component,
    Construction,
    Fitting,
    Installation,
    LiningFact,
    Ownership,
    Party,
    Removal,
    ServiceFact,
    StencilFact,
)
from tests.actions.importing import (
    CARS,
    TODAY,
    bring_in,
    car,
    counts,
    everything,
    faults,
    look,
    rows,
    stamp,
    what_is_due,
)

HEAD = "mark,number,specification,"
FULL = (
    "mark;number;specification;built_on;rebuilt_on;owner;lining_owner;region;material;"
    "tensile_psi;inside_diameter_in;joint_efficiency;head_shape;jacketed;built_to;"
    "required_thickness_in_head_a;commodity;hazard_class;packing_group;corrosive_or_reactive;"
    "corrosion_rate_mil_per_year;service_from;lining_kind;lining_applied_on;"
    "lining_interval_months;lining_documented;relief_device_kind;relief_device_set_psig;"
    "relief_device_tested_on;relief_device_installed_on;relief_device_protected_in_storage;"
    "service_equipment_interval_months;reflective_sheeting_installed_on;stencil_marked_on;"
    "stencil_due_visual;stencil_due_thickness;approval_lining_interval_months;"
    "approval_lining_reference;approval_lining_stenciled\n"
    "ZQKX;1;DOT 111A100W5;1998-04-20;2005-06;A;B;north;a516-70;70000;119;0.9;3:1;no;cpc 1232;"
    "7/16;Acid;8;II;yes;2.5;2019-05-02;rubber;2015-03;60;no;valve;75;2019-01-15;2019-03;yes;96;"
    "2008-01-01;2018-03-15;2028;2023-06;144;EX-1;yes\n"
)


def one(columns: str, values: str, specification: str = "DOT 111A100W1") -> str:
    return f"{HEAD}{columns}\nZQKX,1,{specification},{values}\n"


def test_new_cars_come_with_their_facts_and_their_due_dates(any_db: Session) -> None:
    assert counts(bring_in(any_db, "cars", CARS)) == (2, 0, 0)
    one, two = car(any_db, 1), car(any_db, 2)
    assert (one.specification, one.commodity, one.standing) == (
        "DOT 111A100W1", "Hydrochloric acid", "in_service",
    )  # fmt: skip
    assert two.built_on == date(2012, 5, 1)
    assert [each.name for each in rows(any_db, Party)] == ["Example Alpha Lines"]
    assert rows(any_db, CarName, car_id=one.id)[0].from_on == BEGINNING
    assert {row[0] for row in what_is_due(any_db)} == {one.id, two.id}
    assert one.next_item is not None


def test_every_column_finds_its_place(any_db: Session) -> None:
    bring_in(any_db, "cars", FULL)
    built = rows(any_db, Construction)[0]
    assert (built.material, built.built_to, built.head_shape) == ("A516-70", "CPC-1232", "3:1")
    assert (built.required_head_a_in, built.joint_efficiency) == (Decimal("0.4375"), Decimal("0.9"))
    assert built.jacketed is False
    assert built.insulated is None
    service = rows(any_db, ServiceFact)[0]
    assert (service.from_on, service.hazard_class, service.packing_group) == (
        date(2019, 5, 2), "8", "II",
    )  # fmt: skip
    lining = rows(any_db, LiningFact)[0]
    assert (lining.lined, lining.applied_on, lining.owner_interval_months, lining.documented) == (
        True, date(2015, 3, 1), 60, False,
    )  # fmt: skip
    put_on = rows(any_db, Installation)[0]
    assert (put_on.position, put_on.installed_on, put_on.installed_month_only, put_on.from_on) == (
        "top", date(2019, 3, 1), True, date(2019, 3, 1),
    )  # fmt: skip
    assert rows(any_db, Component)[0].kind == "relief_valve"
    assert rows(any_db, Fitting)[0].service_equipment_interval_months == 96
    assert (rows(any_db, StencilFact)[0].visual, rows(any_db, StencilFact)[0].thickness) == (
        "2028", "2023-06",
    )  # fmt: skip
    approval = rows(any_db, ApprovalFact)[0]
    assert (approval.item, approval.interval_months, approval.stenciled) == ("lining", 144, True)
    owned = rows(any_db, Ownership)[0]
    names = {party.id: party.name for party in rows(any_db, Party)}
    assert (names[owned.owner_id], names[owned.lining_owner_id]) == ("A", "B")


def test_a_car_without_an_owner_is_listed_under_unassigned_and_that_is_told(
    any_db: Session,
) -> None:
    content = "mark,number,specification\nZQKX,1,DOT 111A100W1\nZQKX,2,DOT 111A100W1\n"
    preview = look(any_db, "cars", content)
    assert preview.remarks == ("Cars without an owner, listed under Unassigned: 2.",)
    assert preview.new_parties == ("Unassigned",)


def test_a_preview_stores_nothing(any_db: Session) -> None:
    before = everything(any_db)
    assert counts(look(any_db, "cars", CARS)) == (2, 0, 0)
    assert everything(any_db) == before


@pytest.mark.parametrize("content", [CARS, FULL])
def test_the_same_file_again_adds_nothing(any_db: Session, content: str) -> None:
    bring_in(any_db, "cars", content)
    before = everything(any_db)
    rows_in_it = content.count("\n") - 1
    assert counts(look(any_db, "cars", content, days=40)) == (0, 0, rows_in_it)
    assert counts(bring_in(any_db, "cars", content, days=40)) == (0, 0, rows_in_it)
    assert everything(any_db) == before


CHANGES: list[tuple[str, str, str, list[tuple[str, str, str]]]] = [
    # a conversion
    ("specification", "DOT 111A100W1", "DOT 117R100W", [("specification", "DOT 111A100W1", "DOT 117R100W")]),
    # another owner
    ("owner", "Example Alpha", "Example Bravo", [("owner", "Example Alpha", "Example Bravo")]),
    # what nobody knew
    ("built_on", "", "1998-04-20", [("built_on", "", "1998-04-20")]),
    ("jacketed", "yes", "no", [("jacketed", "yes", "no")]),
    ("stencil_due_visual", "2028", "2038", [("stencil_due_visual", "2028", "2038")]),
    ("lining_kind", "rubber", "epoxy", [("lining_kind", "rubber", "epoxy")]),
    ("relief_device_set_psig", "75", "165", [("relief_device_set_psig", "75", "165")]),
]  # fmt: skip


@pytest.mark.parametrize(("column", "first", "then", "told"), CHANGES)
def test_what_is_new_about_a_known_car_is_told_and_stored_once(
    any_db: Session, column: str, first: str, then: str, told: list[tuple[str, str, str]]
) -> None:
    def file(value: str) -> str:
        if column == "specification":
            return f"mark,number,specification\nZQKX,1,{value}\n"
        return one(column, value)

    bring_in(any_db, "cars", file(first))
    preview = look(any_db, "cars", file(then), days=1)
    assert counts(preview) == (0, 1, 0)
    assert [(each.what, each.was, each.will_be) for each in preview.changes] == told
    assert {(each.row, each.car) for each in preview.changes} == {(2, "ZQKX 1")}
    assert counts(bring_in(any_db, "cars", file(then), days=1)) == (0, 1, 0)
    assert counts(look(any_db, "cars", file(then), days=2)) == (0, 0, 1)


def test_a_cell_that_is_empty_says_nothing(any_db: Session) -> None:
    bring_in(any_db, "cars", CARS)
    before = everything(any_db)
    content = "mark,number,specification,built_on,owner,commodity\nZQKX,1,DOT 111A100W1,,,\n"
    assert counts(bring_in(any_db, "cars", content)) == (0, 0, 1)
    assert everything(any_db) == before


def test_a_change_holds_from_the_day_it_is_brought_in_and_the_past_stays(any_db: Session) -> None:
    bring_in(any_db, "cars", one("jacketed", "yes"))
    bring_in(any_db, "cars", one("jacketed", "no"), days=30)
    before, after = rows(any_db, Construction)
    assert (before.from_on, before.jacketed) == (BEGINNING, True)
    assert (after.from_on, after.jacketed) == (date(2026, 12, 25), False)


def test_what_only_fills_in_a_blank_holds_as_long_as_the_fact_it_completes(any_db: Session) -> None:
    bring_in(any_db, "cars", one("jacketed", "yes"))
    bring_in(any_db, "cars", one("built_on", "1998-04-20"), days=30)
    after = rows(any_db, Construction)[-1]
    assert (after.from_on, after.built_on, after.jacketed) == (BEGINNING, date(1998, 4, 20), True)
    assert car(any_db).built_on == date(1998, 4, 20)


def test_another_lading_does_not_inherit_number_class_and_rate_of_the_one_before(
    any_db: Session,
) -> None:
    bring_in(
        any_db, "cars", one("commodity,un,hazard_class,corrosive_or_reactive", "Acid,UN1789,8,no")
    )
    bring_in(any_db, "cars", one("commodity,service_from", "Example Brine,2020-02-01"))
    new = rows(any_db, ServiceFact)[-1]
    assert (new.commodity, new.from_on) == ("Example Brine", date(2020, 2, 1))
    assert (new.un, new.hazard_class, new.corrosive_or_reactive) == (None, None, None)
    assert new.hazardous  # not stated counts as yes


def test_a_file_from_before_another_lading_repeats_what_was_stored_then(any_db: Session) -> None:
    old = one("commodity,service_from", "Acid,2015-01-01")
    bring_in(any_db, "cars", old)
    changing.put_into_service(
        any_db, car(any_db).id, NewService("Example Brine", from_on=date(2020, 1, 1)), stamp()
    )
    any_db.commit()
    assert counts(look(any_db, "cars", old)) == (0, 0, 1)
    assert car(any_db).commodity == "Example Brine"


def test_a_new_lining_drops_what_supported_a_long_interval_of_the_one_before(
    any_db: Session,
) -> None:
    columns = "lining_kind,lining_applied_on,lining_interval_months,lining_documented"
    bring_in(any_db, "cars", one(columns, "rubber,2010-01-01,144,yes"))
    bring_in(any_db, "cars", one("lining_applied_on", "2024-01-01"))
    new = rows(any_db, LiningFact)[-1]
    assert (new.applied_on, new.from_on) == (date(2024, 1, 1), date(2024, 1, 1))
    assert new.documented is False


def test_a_relief_device_put_on_later_replaces_the_one_on_the_car(any_db: Session) -> None:
    columns = "relief_device_kind,relief_device_tested_on,relief_device_installed_on"
    old = one(columns, "valve,2010-01-01,2010-02-01")
    bring_in(any_db, "cars", old)
    new = one(columns, "valve,2020-01-01,2020-02-01")
    assert counts(bring_in(any_db, "cars", new)) == (0, 1, 0)
    assert [each.removed_on for each in rows(any_db, Removal)] == [date(2020, 2, 1)]
    assert len(rows(any_db, Component)) == 2
    # both files are known again, the older one too
    assert counts(look(any_db, "cars", new)) == counts(look(any_db, "cars", old)) == (0, 0, 1)


def test_more_about_the_relief_device_on_the_car_is_a_correction_of_how_it_was_put_on(
    any_db: Session,
) -> None:
    bring_in(any_db, "cars", one("relief_device_set_psig", "75"))
    bring_in(any_db, "cars", one("relief_device_tested_on,relief_device_kind", "2020-01-01,valve"))
    (put_on,) = rows(any_db, Installation)
    assert (put_on.set_psig, put_on.tested_on) == (Decimal(75), date(2020, 1, 1))
    assert put_on.corrects is not None
    assert rows(any_db, Component)[-1].kind == "relief_valve"


def test_a_car_said_to_have_no_relief_device_has_none(any_db: Session) -> None:
    content = one("relief_device_kind", "none")
    bring_in(any_db, "cars", content)
    assert rows(any_db, Fitting)[0].has_relief_device is False
    assert rows(any_db, Installation) == []
    assert counts(look(any_db, "cars", content)) == (0, 0, 1)


FAULTS: list[tuple[str, str]] = [
    (
        "mark,number,specification\nZQKX-1,1,DOT 111A100W1\n",
        "row 2, mark: found 'ZQKX-1'; want the mark alone: ZQKX here, and 1 under number",
    ),
    (
        "mark,number,specification\nZQKX,1,\n",
        "row 2, specification: want specification, which must be there",
    ),
    (
        "mark,number,specification\nZQKX,1,DOT 111Q100W1\n",
        "row 2, specification: found 'DOT 111Q100W1'; want the specification as stenciled; at character 8",
    ),
    (one("built_on", "2026-11-26"), "row 2, built_on: found '2026-11-26'; want a day not after today"),
    (
        one("built_on,rebuilt_on", "1998-04-20,1998-03-31"),
        "row 2, rebuilt_on: found '1998-03-31'; want a day not before 1998-04-20",
    ),
    (
        one("built_on,lining_applied_on", "1998-04-20,1990-01"),
        "row 2, lining_applied_on: found '1990-01-01'; want a day not before 1998-04-20",
    ),
    (one("service_from", "2030-01-01"), "row 2, service_from: found '2030-01-01'; want a day not after"),
    (
        one("relief_device_kind,relief_device_set_psig", "none,75"),
        "row 2, relief_device_kind: found 'none'; want no other facts of a relief device",
    ),
    (
        one("approval_visual_reference", "EX-1"),
        "row 2, approval_visual_interval_months: want the interval of this approval",
    ),
    (
        "mark,number,specification\nZQKX,1,DOT 111A100W1\nZQKX,0001,DOT 117R100W\n",
        "row 3: found 'ZQKX 1'; want one row for each car; row 2 says otherwise of it",
    ),
    (
        "mark,number,specification\nZQKX,1,DOT 111A100W1,more\n",
        "row 2: want 3 cells as in the header, got 4",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("content", "fault"), FAULTS)
def test_a_row_that_cannot_be_is_a_fault_with_its_place(
    db: Session, content: str, fault: str
) -> None:
    (found,) = faults(db, "cars", content)
    assert found.startswith(fault)


def test_lined_in_the_month_in_which_it_was_built_is_no_fault(db: Session) -> None:
    assert faults(db, "cars", one("built_on,lining_applied_on", "1998-04-20,1998-04")) == []


def test_a_row_that_stands_there_twice_is_counted_as_repeated(db: Session) -> None:
    content = "mark,number,specification\nZQKX,1,DOT 111A100W1\nzqkx,0001,dot 111a100w1\n"
    assert counts(look(db, "cars", content)) == (1, 0, 1)


def test_one_bad_row_and_nothing_is_stored_and_every_bad_row_is_told(any_db: Session) -> None:
    before = everything(any_db)
    any_db.rollback()
    lines = CARS + "ZQKX,x,DOT 111A100W1,,,,\n" + "ZQKX,4,DOT 111A100W1,1/2/1998,,,maybe\n"
    with pytest.raises(Refused) as refused:
        bring_in(any_db, "cars", lines)
    assert [fault.path for fault in refused.value.faults] == [
        "row 4, number", "row 5, built_on", "row 5, un",
    ]  # fmt: skip
    assert str(refused.value).startswith(
        "cars.csv was not brought in, and nothing of it was stored: 2 rows cannot be taken."
    )
    any_db.commit()
    assert everything(any_db) == before


def test_a_car_built_after_it_was_inspected_is_a_fault(any_db: Session) -> None:
    bring_in(any_db, "cars", one("built_on", "1998-04-20"))
    bring_in(any_db, "events", "mark,number,on,items\nZQKX,1,2001-02-03,visual\n")
    (fault,) = faults(any_db, "cars", one("built_on", "2001-03-01"))
    assert "want a day not after 2001-02-03, on which the car is recorded" in fault


def test_the_name_of_a_scrapped_car_is_free_for_another(any_db: Session) -> None:
    bring_in(any_db, "cars", CARS)
    changing.change_standing(
        any_db, car(any_db).id, NewStanding("scrapped", from_on=TODAY), stamp()
    )
    any_db.commit()
    assert counts(look(any_db, "cars", CARS)) == (1, 0, 1)


def test_a_file_from_before_a_car_was_re_marked_says_what_it_would_do(any_db: Session) -> None:
    bring_in(any_db, "cars", CARS)
    changing.re_mark(any_db, car(any_db).id, NewName("ZQAX", 77, from_on=TODAY), stamp())
    any_db.commit()
    preview = look(any_db, "cars", CARS)
    assert counts(preview) == (1, 0, 1)
    assert (
        "ZQKX 1 is added as a car of its own; a car now called ZQAX 77 once bore"
        in preview.remarks[0]
    )


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    facts=st.dictionaries(
        st.sampled_from(["jacketed", "insulated", "hazardous", "corrosive_or_reactive"]),
        st.sampled_from(["yes", "no"]), min_size=1,
    ),
    dates=st.dictionaries(
        st.sampled_from([
            "built_on", "service_from", "lining_applied_on", "relief_device_installed_on",
            "relief_device_tested_on", "stencil_marked_on", "reflective_sheeting_installed_on",
        ]),
        st.dates(date(2000, 1, 1), date(2020, 1, 1)).map(date.isoformat),
    ),
)  # fmt: skip
def test_any_file_brought_in_twice_is_the_same_as_once(
    db: Session, facts: dict[str, str], dates: dict[str, str]
) -> None:
    if "built_on" in dates:
        dates["built_on"] = "1999-01-01"
    cells = facts | dates
    content = one(",".join(cells), ",".join(cells.values()))
    first = in_one_transaction(db, content)
    second = in_one_transaction(db, content)
    db.rollback()
    assert first == (1, 0, 0)
    assert second == (0, 0, 1)


def in_one_transaction(db: Session, content: str) -> tuple[int, int, int]:
    return counts(imports.apply(db, "cars", sheets.read("cars.csv", content.encode()), stamp()))
