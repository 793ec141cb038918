"""The family of errors: each says its sentence, and carries the places to mend."""

import pytest

from app.errors import Busy, Conflict, Fault, NewerStore, NotFound, Problem, Refused


def test_a_problem_says_its_sentence_and_keeps_its_faults() -> None:
    faults = [Fault("row 2, built_on", "no such day"), Fault("row 3, mark", "empty")]
    problem = Refused("Nothing was stored: 2 rows are wrong.", faults)
    assert str(problem) == "Nothing was stored: 2 rows are wrong."
    assert problem.faults == faults


@pytest.mark.parametrize(
    ("faults", "sentence"),
    [
        ([Fault("on", "lies in the future")], "on: lies in the future"),
        ([Fault("", "the file is empty")], "the file is empty"),  # a fault of the whole
        ([Fault("on", "missing"), Fault("items", "missing")], "on: missing (and 1 more)"),
    ],
)
def test_refusing_for_faults_says_the_first_of_them(faults: list[Fault], sentence: str) -> None:
    assert str(Refused.because(faults)) == sentence


@pytest.mark.parametrize(
    "problem",
    [Refused("no"), NotFound("no"), Conflict("no"), Busy(), NewerStore("0042")],
    ids=lambda problem: type(problem).__name__,
)
def test_every_kind_is_caught_as_a_problem(problem: Problem) -> None:
    with pytest.raises(Problem):
        raise problem


def test_a_newer_store_says_which_and_that_nothing_changed() -> None:
    assert "0042" in str(NewerStore("0042"))
    assert "Nothing was changed" in str(NewerStore("0042"))
