"""Every action that changes the record names its deed, so that its entry reads as what was done."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ACTIONS = Path(__file__).parents[2] / "app" / "actions"
STATEMENTS = {"update", "insert", "delete"}
WRITERS = {"add", "add_all", "delete", "supersede", "withdraw"}
# Of what these write nothing is kept in the record of change: it is derived, or only passes.
NOTHING_KEPT = ("attempts", "due", "fleet_due", "jobs", "may_load", "notices", "uploads")
# Steps of other modules' actions, which name the deed.
STEPS = ("rows", "change_events", "directive_matches")
# A step of taking a car over, which names the deed.
KEPT_WITHIN = (("told_orders", "keep"),)
# Counts attempts, and begins a sign-in only by way of `begin`.
COUNTS_ALONE = (("sign_in", "try_password"), ("sign_in", "with_password"))


def functions():
    """Every function by module and name, with what it calls by its last name, and whether it writes."""
    found = {}
    for path in sorted(ACTIONS.rglob("*.py")):
        module = ".".join(path.relative_to(ACTIONS).with_suffix("").parts)
        for node in ast.parse(path.read_text()).body:
            for each in node.body if isinstance(node, ast.ClassDef) else [node]:
                if isinstance(each, ast.FunctionDef):
                    found[module, each.name] = (each, names_called(each), writes(each))
    return found


def names_called(node):
    calls = [each.func for each in ast.walk(node) if isinstance(each, ast.Call)]
    return {
        call.attr if isinstance(call, ast.Attribute) else getattr(call, "id", "") for call in calls
    }


def writes(node):
    """Adds, deletes or stamps a row, sends a statement that does, or sets a column of what it was given."""
    for each in ast.walk(node):
        if isinstance(each, ast.Call) and isinstance(each.func, ast.Attribute):
            owner = each.func.value
            named = getattr(owner, "id", getattr(owner, "attr", ""))
            if each.func.attr in WRITERS and named in ("db", "rows"):
                return True
        if isinstance(each, ast.Call) and getattr(each.func, "id", "") in STATEMENTS:
            return True
    return False


FOUND = functions()


def reaches(name, wanted, seen=None):
    """Whether a function, or one of ours that it calls, is or calls `wanted`."""
    seen = set() if seen is None else seen
    if name in seen:
        return False
    seen.add(name)
    _, called, writing = FOUND[name]
    if wanted(called, writing):
        return True
    ours = [each for each in FOUND if each[1] in called]
    near = [each for each in ours if each[0] == name[0]] or ours
    return any(reaches(each, wanted, seen) for each in near)


CHANGING = [
    name
    for name, (node, _, _) in FOUND.items()
    if not name[1].startswith("_")
    and any(argument.arg == "db" for argument in node.args.args)
    and name[0] not in (*NOTHING_KEPT, *STEPS)
    and name not in (*COUNTS_ALONE, *KEPT_WITHIN)
    and reaches(name, lambda called, writing: writing)
]


@pytest.mark.parametrize("name", CHANGING, ids=".".join)
def test_an_action_that_changes_something_names_its_deed(name):
    assert reaches(name, lambda called, writing: "note" in called)


def test_the_walk_sees_the_actions_there_are():
    for known in (("events", "record_event"), ("cars", "add_car"), ("ladings", "save")):
        assert known in CHANGING
