"""Every list is answered from an index: no large table is read whole for it, and none is sorted."""

import ast
import json
from dataclasses import replace
from pathlib import Path

import pytest

from app import store
from app.store import due_before, retention
from app.store.paging import Cursor
from tests.store.cast import TODAY
from tests.store.counting import statements
from tests.store.list_questions import (
    KNOWN,
    LARGE,
    NAME,
    QUESTIONS,
    SEEN,
    SOME,
    stock,
    tell,
    untell,
)

# Rows by the planner's estimate; what is sorted or read beyond it is no page.
FEW = 1_000


@pytest.fixture(scope="module")
def large(request):
    """A session on PostgreSQL with rows to choose by."""
    from sqlalchemy import make_url

    from tests.fixtures.postgres import fresh_database
    from tests.fixtures.store import _engine, _session

    template = make_url(request.getfixturevalue("postgres_template")).database
    server = request.getfixturevalue("postgres_url")
    with fresh_database(server, template) as url, _engine(url) as engine, _session(engine) as db:
        stock(db)
        yield db


@pytest.fixture(scope="module", params=["untold", "told"])
def lite(request, kept_db):
    """A session on SQLite that knows nothing of how large its tables are, and one that was told."""
    told = request.param == "told"
    if told:
        tell(kept_db)
    yield kept_db
    if told:
        untell(kept_db)


@pytest.mark.parametrize("name", QUESTIONS)
def test_a_list_begins_at_an_index_on_sqlite(lite, name):
    with statements(lite) as sent:
        QUESTIONS[name](lite)
    assert sent
    wrong = [plan for each in sent if _reads_whole(each[0], plan := _sqlite_plan(lite, *each))]
    assert not wrong or name in KNOWN, wrong


def _sqlite_plan(db, statement, parameters):
    rows = db.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters)
    return [row[3] for row in rows]


def _reads_whole(statement, plan):
    """Whether SQLite reads a large table to its end, or sorts what it found in one from which it began."""
    steps = [line.split() for line in plan if line.startswith(("SCAN", "SEARCH"))]
    scanned = any(
        kind == "SCAN" and table in LARGE and "INDEX" not in how for kind, table, *how in steps
    )
    sorts = "USE TEMP B-TREE FOR ORDER BY" in plan
    begins_large = any(table in LARGE and "(rowid=?)" not in how for _, table, *how in steps[:1])
    # A table that is scanned by its key is in that order, and left as soon as the page is full.
    return (scanned and (sorts or "LIMIT" not in statement)) or (sorts and begins_large)


NARROWED = {
    "all": {},
    "of an owner": {"owner_id": SOME},
    "of an item": {"item": "lining"},
    "in a region": {"region": "region 1"},
    "by name": {"search": NAME},
    "of saved lists": {"lists": (replace(SEEN, owner_id=SOME), replace(SEEN, rule="visual"))},
    "without what is set aside": {"aside": False},
}


def test_cars_that_are_gone_are_found_by_their_standing(lite):
    """Whatever the order: where no car is gone, every car would be gone through for none."""
    with statements(lite) as sent:
        retention.left(lite, 0, 50)
    plan = _sqlite_plan(lite, *sent[0])
    assert "SEARCH car_1 USING COVERING INDEX ix_car_standing_register (standing=?)" in plan
    assert plan[0] == "SEARCH car USING INTEGER PRIMARY KEY (rowid=?)"


@pytest.mark.parametrize("name", [name for name in QUESTIONS if "by a longer name" in name])
def test_few_names_are_looked_up_before_their_items(lite, name):
    with statements(lite) as sent:
        QUESTIONS[name](lite)
    for each in sent:
        plan = _sqlite_plan(lite, *each)
        items = [line for line in plan if " due " in line]
        assert set(items) == {"SEARCH due USING INDEX sqlite_autoindex_due_1 (car_id=?)"}


NAMES = {"of an owner": "ix_car_owner_register", "in a region": "ix_car_region_register"}


@pytest.mark.parametrize("narrowed", NARROWED)
def test_what_moved_begins_with_what_was_written_since(lite, narrowed):
    """Whatever else it asks: on most days that is little, and a register large."""
    seen = replace(SEEN, **NARROWED[narrowed])
    with statements(lite) as sent:
        due_before.moved(lite, seen, TODAY, 1)
        due_before.each_moved(lite, seen, TODAY)
        due_before.count_moved(lite, seen, TODAY, 10)
    assert len(sent) == 3
    for each in sent:
        first = next(line for line in _sqlite_plan(lite, *each) if line.startswith("S"))
        assert first.endswith("USING INDEX ix_due_before_day (day>?)")


@pytest.mark.parametrize("narrowed", NARROWED)
def test_much_that_moved_is_looked_for_in_the_order_of_names(lite, narrowed):
    seen = replace(SEEN, **NARROWED[narrowed])
    with statements(lite) as sent:
        for after in (None, *(Cursor(("ZQKX", 1100, 2), back) for back in (False, True))):
            due_before.moved(lite, seen, TODAY, due_before.MANY, after and after.as_text())
    assert len(sent) == 3
    for each in sent:
        plan = _sqlite_plan(lite, *each)
        assert f" car USING COVERING INDEX {NAMES.get(narrowed, 'ix_car_register')}" in plan[0]
        assert "USE TEMP B-TREE FOR ORDER BY" not in plan


@pytest.mark.postgres
@pytest.mark.parametrize("name", QUESTIONS)
def test_a_list_begins_at_an_index_on_postgresql(large, name):
    with statements(large) as sent:
        QUESTIONS[name](large)
    wrong = [step for each in sent for step in _postgresql_steps(large, *each) if _is_much(step)]
    assert not wrong or name in KNOWN, json.dumps(wrong, indent=1)


def _postgresql_steps(db, statement, parameters):
    found = db.connection().exec_driver_sql(f"EXPLAIN (FORMAT JSON) {statement}", parameters)
    return list(_steps(found.scalar_one()[0]["Plan"]))


def _steps(step):
    yield step
    for each in step.get("Plans", ()):
        yield from _steps(each)


def _is_much(step):
    if step["Node Type"] == "Seq Scan":
        return step["Relation Name"] in LARGE
    return step["Node Type"] == "Sort" and step["Plan Rows"] > FEW


def test_every_list_that_pages_is_among_these():
    paged = set()
    for path in Path(store.__file__).parent.rglob("*.py"):
        for function in ast.walk(ast.parse(path.read_text())):
            if isinstance(function, ast.FunctionDef) and _calls_page_of(function):
                paged.add(f"{path.stem}.{function.name}")
    assert len(paged) > 4
    assert paged <= {name.partition(",")[0] for name in QUESTIONS}


def _calls_page_of(function):
    calls = [each.func for each in ast.walk(function) if isinstance(each, ast.Call)]
    return any(isinstance(called, ast.Name) and called.id == "page_of" for called in calls)
