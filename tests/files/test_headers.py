"""What sheets usually call a column is found by its title; what leaves something open is asked about."""

import pytest

from app.files.columns import Kind
from app.files.headers import matched


@pytest.mark.parametrize(
    ("kind", "header", "meant"),
    [
        (
            "cars",
            "Car Mark,Car Number,DOT Spec,Build Date,Car Owner,Product,UN Number,PG,PRD Type",
            "mark,number,specification,built_on,owner,commodity,un,packing_group,relief_device_kind",
        ),
        (
            "events",
            "Initial,Car No,Date,Item,Shop,Report No,Remarks",
            "mark,number,on,items,facility,reference,notes",
        ),
        (
            "visits",
            "Reporting mark,Number,Shop,Date sent,Arrived,Released",
            "mark,number,shop,sent_on,arrived_on,released_on",
        ),
    ],
)
def test_what_sheets_usually_call_a_column_is_read(kind: Kind, header: str, meant: str):
    found = matched(kind, header.split(","))
    assert not found.faults
    assert [column.name for column in found.columns if column] == meant.split(",")


def test_a_title_that_leaves_a_unit_open_is_asked_about():
    (told,) = matched("cars", ["mark", "number", "specification", "Inside diameter"]).faults
    assert "did you mean inside_diameter_in?" in told.problem
