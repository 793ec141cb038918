"""`plan`: a shop-planning problem in on stdin, the cheapest plan found out on stdout; no store is touched."""

from __future__ import annotations

import argparse
import json
import sys

from app.answers.planning import MOST_SECONDS, SECONDS, plan
from app.cli.status import FINE, tell
from app.files.exact_json import read_json

EPILOG = f"""\
example:
  python -m app plan < problem.json > plan.json
  with problem.json holding
    {{"first_month": "2027-01", "months": 24, "unplaced_cost": 100000,
     "shops": [{{"code": "NORTH", "does": ["tank"], "capacity_days": 40}}],
     "cars": [{{"car": "ZQKX 104512", "visit_cost": 900, "move_cost": {{"NORTH": 1400}},
               "jobs": [{{"job": "visual", "skill": "tank", "days": 5, "latest": "2028-02",
                         "early_cost": 12.5}}]}}]}}

The search ends when the plan is proven to be the cheapest, or after --seconds ({SECONDS:g} when not
said), with the best plan so far and how far from the cheapest it can be (`gap`). On a terminal it
tells how it goes on stderr.

exit statuses:
  0  a plan is on stdout, which may leave jobs out; each says why
  2  the problem was refused; each fault is one line on stderr, "path: sentence"; nothing on stdout"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--seconds",
        type=_seconds,
        default=SECONDS,
        metavar="N",
        help=f"how long to search at most ({SECONDS:g} when not given)",
    )


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = 0.0
    if not 0 < seconds <= MOST_SECONDS:
        raise argparse.ArgumentTypeError(
            f"must be a number above 0 and at most {MOST_SECONDS}, got {text!r}"
        )
    return seconds


def run(args: argparse.Namespace) -> int:
    problem = read_json(sys.stdin.buffer.read())
    print(json.dumps(plan(problem, args.seconds, _tell_of_it), indent=2))
    return FINE


def _tell_of_it(bound: float, best: float) -> None:
    if sys.stderr.isatty():
        tell(f"best so far {best:,.2f}; none costs less than {max(0.0, bound):,.2f}")
