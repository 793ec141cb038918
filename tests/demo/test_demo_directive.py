"""The demo's directive finds exactly the cars that carried its lot on the frozen day, as the files of the demo tell.

What the files tell is worked out here from their text alone, row by row, past the register.
"""

import csv
import io
from datetime import date, timedelta

import pytest
from sqlalchemy import select

from app.actions import directives
from app.store import directive_list, intake
from app.store.directive_list import MatchFilter
from app.store.directives import Directive
from seed_demo.demo_files import texts
from seed_demo.tour_directive import LOT
from tests.demo.test_demo_tour import demo, loaded_on  # noqa: F401  fixtures

Found = set[tuple[str, str]]


@pytest.fixture(scope="module")
def directive(demo) -> Directive:  # noqa: F811
    return demo.scalars(select(Directive)).one()


def carried(today: date, day: date, lot: str = LOT) -> Found:
    """Car and serial of each valve of a lot on a day, from the file of components: put on by then, not off by then."""
    rows = csv.DictReader(io.StringIO(texts(today)["components"]))
    return {
        (f"{row['mark']} {row['number']}", row["serial"])
        for row in rows
        if row["kind"] == "relief_valve"
        and row["lot"] == lot
        and row["installed_on"] <= day.isoformat()
        and not (row["removed_on"] and row["removed_on"] <= day.isoformat())
    }


def by_the_register(db, directive: Directive, today: date, *found: str) -> Found:
    rows = directive_list.matches_of(db, directive.id, MatchFilter(today))
    return {
        (each.name, each.row.about.rpartition("serial ")[2])
        for each in rows
        if each.row.found in found
    }


def test_it_froze_exactly_the_cars_that_carried_the_lot_on_the_day(demo, loaded_on, directive):  # noqa: F811
    wanted = carried(loaded_on, directive.as_of)
    assert len(wanted) > 20
    assert by_the_register(demo, directive, loaded_on, "frozen") == wanted
    # Not those of today: one valve of the tour was moved between.
    assert carried(loaded_on, loaded_on) != wanted


def test_valves_that_were_moved_before_and_after_took_the_order_along(demo, loaded_on, directive):  # noqa: F811
    assert by_the_register(demo, directive, loaded_on, "followed", "later", "recorded_later") == {
        ("ZQTX 212", "RV-211"), ("ZQTX 214", "RV-213"),
    }  # fmt: skip


@pytest.mark.parametrize("lot", ["L17", "L20", "L33"])
@pytest.mark.parametrize("back", [0, 1, 2, 30, 90, 1_200, 2_700])
def test_any_lot_is_found_on_any_day_as_the_files_tell(demo, loaded_on, directive, lot, back):  # noqa: F811
    day = loaded_on - timedelta(days=back)
    asked = directives.condition_from({"kind": "relief_valve", "lot": lot})
    found = directives.preview(demo, directive.party_id, asked, day, loaded_on)
    names = intake.names_of(demo, [each.car_id for each in found.sure])
    told = {(names[each.car_id], each.about.rpartition("serial ")[2]) for each in found.sure}
    assert told == {_since_moved(each, day, loaded_on) for each in carried(loaded_on, day, lot)}


def _since_moved(found: tuple[str, str], day: date, today: date) -> tuple[str, str]:
    """After the files were brought in, one valve was moved as of the day before."""
    moved = found == ("ZQTX 213", "RV-213") and day >= today - timedelta(days=1)
    return ("ZQTX 214", "RV-213") if moved else found
