"""`due-dates` and `decode`: the calculator between pipes."""

import json
import subprocess
import sys

import pytest

from tests.cli.conftest import ROOT, Run

REQUEST = {
    "as_of": "2026-11-25",
    "car": {
        "mark": "ZQKX",
        "number": 104512,
        "specification": "DOT 111A100W1",
        "built_on": "2008-03-15",
    },
    "events": [{"on": "2018-03-15", "items": ["visual"]}],
}
LINE = json.dumps(REQUEST).encode()


def visual(answer: dict) -> str:
    return next(item["due_on"] for item in answer["items"] if item["item"] == "visual")


def test_a_request_on_stdin_is_answered_on_stdout(program: Run) -> None:
    ended = program("due-dates", stdin=LINE)
    assert (ended.status, ended.err) == (0, "")
    answer = json.loads(ended.out)
    assert answer["car"] == "ZQKX 104512"
    assert visual(answer) == "2028-03-15"  # ten years, 49 CFR 180.509(c)(2), 2019 edition


def test_a_list_of_requests_gives_a_list_of_answers(run: Run) -> None:
    ended = run("due-dates", stdin=b"[" + LINE + b"," + LINE + b"]")
    assert [visual(answer) for answer in json.loads(ended.out)] == ["2028-03-15"] * 2


def test_a_decimal_is_judged_as_written(run: Run) -> None:
    # Line C of 7/16 in is 0.40625 exactly: B - F/2, 49 CFR 180.509(g), 2019 edition.
    request = REQUEST | {
        "events": [
            {
                "on": "2018-03-15",
                "items": ["thickness"],
                "readings": [{"zone": "shell_bottom", "inches": 0.40625}],
            }
        ]
    }
    request["car"] = REQUEST["car"] | {"tank": {"required_thickness_in": {"shell_bottom": 0.4375}}}
    answer = json.loads(run("due-dates", stdin=json.dumps(request).encode()).out)
    bottom = next(zone for zone in answer["thickness"] if zone["zone"] == "shell_bottom")
    assert (bottom["line_c_in"], bottom["verdict"]) == (0.40625, "at_or_below_c")


def with_car(facts: bytes, more: bytes = b"") -> bytes:
    """A request as text, since not all of it can be said in Python."""
    car = b'{"mark": "ZQKX", "specification": "DOT 111A100W1", %s}' % facts
    return b'{"as_of": "2026-11-25", "car": %s%s}' % (car, more)


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        (b"", ["request: nothing was given, want a JSON object"]),
        (b'{"as_of": }', ["request: not JSON: column 11: expecting value"]),
        (b"7", ["request: must be an object, got 7"]),
        (
            with_car(b'"number": 0, "colour": "red"'),
            ["car.number: must be at least 1, got 0", "car.colour: is not a field"],
        ),
        (
            b"["
            + with_car(b'"number": 7', b', "events": [{"on": "2026-13-01", "items": []}]')
            + b"]",
            [
                "0.events.0.on: is no day of the calendar, got '2026-13-01'",
                "0.events.0.items: must name at least one item",
            ],
        ),
        (
            with_car(b'"number": 7, "tank": {"inside_diameter_in": NaN}'),
            ["request: NaN is no number, want digits or null"],
        ),
    ],
)
def test_each_fault_is_a_line_on_stderr_and_nothing_is_answered(
    run: Run, text: bytes, faults: list[str]
) -> None:
    ended = run("due-dates", stdin=text)
    assert (ended.status, ended.out) == (2, b"")
    told = ended.err.splitlines()
    assert len(told) == len(faults)
    assert all(line.startswith(fault) for line, fault in zip(told, faults, strict=True))


def test_lines_are_answered_in_order_and_a_bad_one_keeps_its_place(program: Run) -> None:
    ended = program("due-dates", "--lines", stdin=b"\n".join([LINE, b"{", b"", LINE, b"", b""]))
    assert (ended.status, ended.err) == (1, "")
    first, bad, empty, last = map(json.loads, ended.out.splitlines())
    assert visual(first) == visual(last) == "2028-03-15"
    assert bad["error"]["faults"][0]["path"] == "request"
    assert bad["error"]["faults"][0]["problem"].startswith("not JSON: column 2")
    assert empty["error"]["faults"][0]["problem"] == "nothing was given, want a JSON object"


@pytest.mark.parametrize(
    ("line", "path", "problem"),
    [
        (b"[" + LINE + b"]", "request", "a line must be one request, a JSON object"),
        (LINE.replace(b"2026-11-25", b"2026-11"), "as_of", "must be a day YYYY-MM-DD"),
        (b'{"a": "' + b"x" * 9_000_000 + b'"}', "request", "the line is over 8388608 bytes long"),
    ],
)
def test_a_bad_line_is_answered_with_its_faults(
    run: Run, line: bytes, path: str, problem: str
) -> None:
    ended = run("due-dates", "--lines", stdin=line + b"\n" + LINE + b"\n")
    assert ended.status == 1
    bad, good = map(json.loads, ended.out.splitlines())
    assert bad["error"]["faults"][0]["path"] == path
    assert bad["error"]["faults"][0]["problem"].startswith(problem)
    assert visual(good) == "2028-03-15"


def test_all_lines_good_ends_with_0_and_no_lines_are_no_fault(run: Run) -> None:
    assert run("due-dates", "--lines", stdin=LINE).status == 0
    nothing = run("due-dates", "--lines", stdin=b"\n\n")
    assert (nothing.status, nothing.out) == (0, b"")


def test_each_line_is_answered_before_the_next_is_sent() -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "app", "due-dates", "--lines"],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        for _ in range(3):
            process.stdin.write(LINE + b"\n")
            process.stdin.flush()
            assert visual(json.loads(process.stdout.readline())) == "2028-03-15"
        process.stdin.close()
        assert process.wait(30) == 0


def test_many_lines_need_no_more_memory_than_few(program: Run) -> None:
    def peak(lines: int) -> int:
        code = (
            "import resource, sys, runpy\n"
            "sys.argv = ['app', 'due-dates', '--lines']\n"
            "try: runpy.run_module('app', run_name='__main__')\n"
            "except SystemExit: pass\n"
            "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)\n"
        )
        ended = subprocess.run(
            [sys.executable, "-c", code],
            cwd=ROOT,
            input=(LINE + b"\n") * lines,
            capture_output=True,
            check=True,
        )
        assert ended.stdout.count(b"\n") == lines
        return int(ended.stderr)

    # Unfreed answers of 2,000 lines would be some 20 MB.
    assert peak(2200) - peak(200) < 6_000


@pytest.mark.parametrize(
    ("text", "status", "told"),
    [
        ("DOT 111A100W1", 0, '"test_pressure_psig": 100'),  # 49 CFR 179.201-1, 2019 edition
        ("dot-111a100w1", 0, '"class": "111"'),
        ("DOT 111A100Q1", 2, "character"),  # the place is shown
        ("", 2, "specification"),
    ],
)
def test_decode_tells_what_a_specification_means_or_where_it_cannot_be_read(
    run: Run, text: str, status: int, told: str
) -> None:
    ended = run("decode", text)
    assert ended.status == status
    assert told in (ended.text if status == 0 else ended.err)
    assert bool(ended.out) == (status == 0)
