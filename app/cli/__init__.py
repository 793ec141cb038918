"""`python -m app ...`: arguments to actions and answers, problems to exit statuses."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

from app.cli.parser import parser_for
from app.cli.status import FINE, PIPE_CLOSED, REFUSED, STOPPED, UNUSABLE, Unusable, tell_faults
from app.errors import Busy, NewerStore, Problem


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and give its exit status; without a command, show what there is."""
    given = sys.argv[1:] if argv is None else list(argv)
    parser = parser_for(given)
    args = parser.parse_args(given)
    if not hasattr(args, "run"):
        parser.print_help()
        return FINE
    try:
        status: int = args.run(args)
        sys.stdout.flush()
    except (Unusable, Busy, NewerStore) as problem:
        tell_faults(problem)
        return UNUSABLE
    except Problem as problem:
        tell_faults(problem)
        return REFUSED
    except BrokenPipeError:
        return _after_a_closed_pipe()
    except KeyboardInterrupt:
        return STOPPED
    return status


def _after_a_closed_pipe() -> int:
    """Whoever read our output has left; not even the interpreter may write more as it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return PIPE_CLOSED
