"""`python -m app due-dates` and `python -m app decode`, run as a person or another program runs them."""

import json
import subprocess
import sys
from pathlib import Path

import jsonschema_rs
import pytest

from app.answers import due_dates
from tests.answers.shape import ANSWER, FAULTS
from tests.core.cars import ask, passed, qualified, reading, zone

ROOT = Path(__file__).parents[2]


def run(*words, given=""):
    return subprocess.run(
        [sys.executable, "-m", "app", *words],
        input=given,
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=ROOT,
        timeout=60,
        check=False,
    )


def bad():
    return ask(tank={"inside_diameter_in": -3})


def test_one_question_gives_one_answer():
    done = run("due-dates", given=json.dumps(ask(qualified())))
    assert (done.returncode, done.stderr) == (0, "")
    answer = json.loads(done.stdout)
    jsonschema_rs.validate(ANSWER, answer)
    assert answer == json.loads(json.dumps(due_dates(ask(qualified()))))


def test_a_list_of_questions_gives_a_list_of_answers_in_order():
    asked = [ask(qualified(), number=number) for number in (3, 1, 2)]
    done = run("due-dates", given=json.dumps(asked))
    assert done.returncode == 0
    assert [answer["car"] for answer in json.loads(done.stdout)] == ["ZQKX 3", "ZQKX 1", "ZQKX 2"]


def test_an_empty_list_gives_an_empty_list():
    done = run("due-dates", given="[]")
    assert (done.returncode, json.loads(done.stdout)) == (0, [])


def test_lines_give_a_line_each_in_order():
    asked = [json.dumps(ask(qualified(), number=number)) for number in (3, 1, 2)]
    done = run("due-dates", "--lines", given="\n".join(asked) + "\n")
    assert (done.returncode, done.stderr) == (0, "")
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert [answer["car"] for answer in answers] == ["ZQKX 3", "ZQKX 1", "ZQKX 2"]


def test_a_bad_line_gives_its_faults_at_its_place_and_the_rest_go_on():
    lines = [
        json.dumps(ask(number=1)),
        json.dumps(bad()),
        '{"as_of": ',  # breaks off
        "5",  # no question
        json.dumps(ask(number=2)),
    ]
    done = run("due-dates", "--lines", given="\n".join(lines))
    assert done.returncode == 1
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(answers) == 5
    assert [answers[0]["car"], answers[4]["car"]] == ["ZQKX 1", "ZQKX 2"]
    for answer in answers[1:4]:
        jsonschema_rs.validate(FAULTS, answer)
        assert answer["error"]["faults"]
    assert answers[1]["error"]["faults"] == [
        {"path": "car.tank.inside_diameter_in", "problem": "must be above 0, got -3"}
    ]
    assert "Traceback" not in done.stderr


def test_lines_are_answered_as_they_come():
    with subprocess.Popen(
        [sys.executable, "-m", "app", "due-dates", "--lines"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as program:
        assert program.stdin
        assert program.stdout
        for number in (7, 8):
            program.stdin.write(json.dumps(ask(number=number)) + "\n")
            program.stdin.flush()
            # The next question is asked only when this one is answered.
            assert json.loads(program.stdout.readline())["car"] == f"ZQKX {number}"
        program.stdin.close()
        assert program.wait(timeout=60) == 0


def test_faults_go_to_stderr_one_a_line():
    asked = bad()
    asked["car"]["numbre"] = asked["car"].pop("number")
    asked["events"] = [passed("soon", "visual")]
    done = run("due-dates", given=json.dumps(asked))
    assert (done.returncode, done.stdout) == (2, "")
    lines = done.stderr.splitlines()
    assert "car.tank.inside_diameter_in: must be above 0, got -3" in lines
    places = {line.split(": ")[0] for line in lines}
    assert places == {
        "car.tank.inside_diameter_in",
        "car.number",
        "car.numbre",
        "events.0.on",
    }


def test_a_bad_question_in_a_list_refuses_the_list_and_says_which():
    done = run("due-dates", given=json.dumps([ask(), bad()]))
    assert (done.returncode, done.stdout) == (2, "")
    assert "1.car.tank.inside_diameter_in: must be above 0, got -3" in done.stderr


@pytest.mark.parametrize("given", ["", "{", "not json", "5", '"car"', "null", "[5]", "\x00"])
def test_what_is_no_question_is_refused_in_a_sentence(given):
    done = run("due-dates", given=given)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.strip()
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("written", "verdict"),
    [
        # Bottom shell of a 111A100W1: C is 0.40625 in.
        ("0.40625", "at_or_below_c"),
        ("4.0625e-1", "at_or_below_c"),
        ("0.406250000", "at_or_below_c"),
        ("0.40625000000000000000000001", "above_c"),  # more digits than a binary number holds
        ("0.40624999999999999999999999", "at_or_below_c"),
        # D is 0.375 in.
        ("0.37499999999999999999999999", "condemned"),
        ("0.375", "at_or_below_c"),
    ],
)
def test_numbers_are_the_decimals_as_written(written, verdict):
    event = passed("2018-03-15", "thickness", readings=[reading("shell_bottom", 7777)])
    done = run("due-dates", given=json.dumps(ask(event)).replace("7777", written))
    assert done.returncode == 0, done.stderr
    assert zone(json.loads(done.stdout), "shell_bottom")["verdict"] == verdict


@pytest.mark.parametrize("written", ["1e400", "1e-99999999", "NaN", "Infinity", "9" * 5000])
def test_a_number_beyond_all_measure_is_refused_at_once(written):
    event = passed("2018-03-15", "thickness", readings=[reading("shell_bottom", 7777)])
    done = run("due-dates", given=json.dumps(ask(event)).replace("7777", written))
    assert (done.returncode, done.stdout) == (2, "")
    assert "Traceback" not in done.stderr
    assert 0 < len(done.stderr) < 1000


def test_a_name_given_twice_is_refused():
    asked = json.dumps(ask()).replace('"number": 104512', '"number": 104512, "number": 7')
    done = run("due-dates", given=asked)
    assert done.returncode == 2
    assert "number" in done.stderr


def test_a_byte_order_mark_is_no_fault():
    done = run("due-dates", given="\ufeff" + json.dumps(ask()))
    assert done.returncode == 0


def test_decode_prints_one_object():
    done = run("decode", "DOT 111A100W1")
    assert (done.returncode, done.stderr) == (0, "")
    found = json.loads(done.stdout)
    assert (found["class"], found["burst_psig"], found["minimum_plate_in"]) == ("111", 500, 0.4375)


@pytest.mark.parametrize("text", ["DOT 111A100Q1", "DOT 999A100W", ""])
def test_decode_refuses_with_status_two(text):
    done = run("decode", text)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.strip()
    assert "Traceback" not in done.stderr
