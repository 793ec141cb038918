"""`plan`: a problem on stdin, a plan on stdout, nothing else there."""

import json

import pytest

from tests.answers.test_plan import PROBLEM, changed
from tests.cli.conftest import Run


def test_a_problem_on_stdin_is_planned_on_stdout(program: Run) -> None:
    """In a program of its own, since the solver's library writes past Python's own streams."""
    ended = program("plan", "--seconds", "20", stdin=json.dumps(PROBLEM).encode())
    assert (ended.status, ended.err) == (0, "")
    assert json.loads(ended.out)["visits"][0]["month"] == "2028-02"


def test_a_bad_problem_is_refused_by_field_and_nothing_is_on_stdout(run: Run) -> None:
    ended = run("plan", stdin=json.dumps(changed("cars.0.jobs.0.days", 0)).encode())
    assert (ended.status, ended.out) == (2, b"")
    assert ended.err == "cars.0.jobs.0.days: must be above 0, got 0\n"


def test_what_is_no_json_is_refused(run: Run) -> None:
    ended = run("plan", stdin=b"{")
    assert (ended.status, ended.out) == (2, b"")


@pytest.mark.parametrize("seconds", ["0", "-1", "soon", "inf", "nan"])
def test_a_time_that_is_none_is_refused(run: Run, seconds: str) -> None:
    ended = run("plan", "--seconds", seconds, stdin=json.dumps(PROBLEM).encode())
    assert (ended.status, ended.out) == (2, b"")
    assert "must be a number above 0" in ended.err
