"""The exit statuses of every command, and how faults are told on stderr."""

from __future__ import annotations

import sys

from app.errors import Problem

FINE = 0
SOME_LINES_BAD = 1
REFUSED = 2
UNUSABLE = 3
STOPPED = 130  # as a shell reports the end by Ctrl+C
PIPE_CLOSED = 141  # as a shell reports the end by a closed pipe

STATUSES = """\
exit statuses:
  0  done
  2  what was given is wrong; each fault is one line on stderr
  3  the database or a file cannot be used: locked, from a newer version, unreadable"""


class Unusable(Problem):
    """The database or a file cannot be used as it is."""


def tell(sentence: str) -> None:
    """Say `sentence` on stderr."""
    print(sentence, file=sys.stderr)


def tell_faults(problem: Problem) -> None:
    """Say each fault on its own line, `path: sentence`; without faults the problem's own."""
    for line in [str(fault) for fault in problem.faults] or [str(problem)]:
        tell(line)
