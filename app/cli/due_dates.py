"""`due-dates`: requests in on stdin, answers out on stdout; no store is touched."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from typing import BinaryIO

from app import answers
from app.cli.status import FINE, SOME_LINES_BAD
from app.errors import Fault, Refused
from app.files.exact_json import read_json

# A request is some kilobytes; a longer line is no request, and must not fill the memory.
LONGEST_LINE = 8 * 1024 * 1024

EPILOG = """\
example:
  python -m app due-dates < request.json > response.json
  with request.json holding
    {"as_of": "2026-11-25",
     "car": {"mark": "ZQKX", "number": 104512, "specification": "DOT 111A100W1",
             "built_on": "2014-06-03"},
     "events": [{"on": "2018-03-15", "items": ["visual", "thickness"]}]}

exit statuses:
  0  every request was answered
  1  with --lines: at least one line was bad, and has {"error": {"faults": [...]}} in its place
  2  the input was refused; each fault is one line on stderr, "path: sentence"; nothing on stdout"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--lines",
        action="store_true",
        help="JSON Lines: one request a line in, one answer a line out, in order, as they come",
    )


def run(args: argparse.Namespace) -> int:
    if args.lines:
        return answer_lines(sys.stdin.buffer)
    print(json.dumps(answers.due_dates(read_json(sys.stdin.buffer.read())), indent=2))
    return FINE


def answer_lines(source: BinaryIO) -> int:
    """Answer each line at its place, in memory that does not grow with the number of lines."""
    status = FINE
    for line in _lines(source):
        try:
            answer = _answer(line)
        except Refused as refused:
            answer = {"error": {"faults": _as_json(refused)}}
            status = SOME_LINES_BAD
        # Flushed at once: a program that feeds us through a pipe may wait for each answer.
        print(json.dumps(answer), flush=True)
    return status


def _answer(line: bytes | None) -> object:
    if line is None:
        raise Refused.because([Fault("request", f"the line is over {LONGEST_LINE} bytes long")])
    request = read_json(line)
    if not isinstance(request, dict):
        raise Refused.because([Fault("request", "a line must be one request, a JSON object")])
    return answers.due_dates(request)


def _as_json(refused: Refused) -> list[dict[str, str]]:
    faults = refused.faults or [Fault("request", str(refused))]
    return [{"path": fault.path, "problem": fault.problem} for fault in faults]


def _lines(source: BinaryIO) -> Iterator[bytes | None]:
    """The lines of `source`; None for one that is too long.

    Empty lines at the end are no lines, but one between others keeps its place, so that answers can
    be counted off against requests.
    """
    empty = 0
    while line := source.readline(LONGEST_LINE):
        if not line.strip():
            empty += 1
            continue
        yield from (b"" for _ in range(empty))
        empty = 0
        if len(line) == LONGEST_LINE and not line.endswith(b"\n"):
            _pass_over_the_rest(source)
            yield None
        else:
            yield line


def _pass_over_the_rest(source: BinaryIO) -> None:
    while rest := source.readline(LONGEST_LINE):
        if rest.endswith(b"\n"):
            return
