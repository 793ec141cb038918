"""A row with a cell that cannot be read still tells what else is wrong with it, in one go."""

import pytest
from sqlalchemy.orm import Session

from app.files.columns import Kind
from tests.actions.importing import CARS, bring_in, faults

EVENTS = "mark,number,on,items,outcome,readings"
# Kind, header, row; then the column and a word of each fault, in any order and no others.
ROWS: list[tuple[Kind, str, str, set[tuple[str, str]]]] = [
    ("cars", "mark,number,specification,built_on", "ZQKX,9,XYZ,1/2/2019",
     {("built_on", "1/2/2019"), ("specification", "as stenciled")}),
    ("cars", "mark,number,specification,built_on", "ZQKX,0,XYZ,2030-01-01",
     {("number", "'0'"), ("specification", "as stenciled"), ("built_on", "not after today")}),
    # nothing is said of the day of a lining when the day it was built is not known for sure
    ("cars", "mark,number,specification,built_on,lining_applied_on",
     "ZQKX,9,DOT 111A100W1,1/2/2019,1990-01-01", {("built_on", "1/2/2019")}),
    # the interval is there, only unreadable
    ("cars", "mark,number,specification,approval_lining_interval_months,approval_lining_reference",
     "ZQKX,9,DOT 111A100W1,long,R-1", {("approval_lining_interval_months", "long")}),
    # which of several cells is which, nobody knows
    ("cars", "mark,number,specification", "ZQKX,9,XYZ,more", {("", "quotation marks")}),
    ("events", EVENTS, "ZQKX,1,2030-01-01,visual,pass,shell_top=thick",
     {("readings", "thick"), ("on", "not after today")}),
    ("events", EVENTS, "ZQKX,7,2020-01-01,visual,maybe,",
     {("outcome", "maybe"), ("number", "in the register")}),
    ("events", EVENTS, "ZQKX,1,1990-01-01,brakes of all sorts,fail,",
     {("items", "brakes"), ("on", "when the car was built")}),
    ("events", EVENTS, "ZQKX,1,yesterday,service_equipment_changed,fail,",
     {("on", "yesterday"), ("outcome", "is a change")}),
    ("components", "mark,number,kind,position,tested_on,installed_on",
     "ZQKX,7,valve,top,2030-01-01,someday",
     {("installed_on", "someday"), ("tested_on", "not after today"), ("number", "in the register")}),
    ("ladings", "name,un,corrosive_or_reactive", "Syrup,UN1,perhaps",
     {("un", "UN1"), ("corrosive_or_reactive", "perhaps")}),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "header", "row", "told"), ROWS)
def test_the_other_faults_of_a_row_are_told_beside_the_unreadable_cell(
    db: Session, kind: Kind, header: str, row: str, told: set[tuple[str, str]]
) -> None:
    bring_in(db, "cars", CARS)
    found = faults(db, kind, f"{header}\n{row}\n")
    assert len(found) == len(told), found
    for column, word in told:
        place = f"row 2, {column}: " if column else "row 2: "
        assert [word in each for each in found if each.startswith(place)] == [True], found
