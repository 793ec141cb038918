"""`decode`: what a specification means, as stenciled on the car."""

from __future__ import annotations

import argparse
import json

from app import answers
from app.cli.status import FINE

EPILOG = """\
example:
  python -m app decode "DOT 111A100W1"

exit statuses:
  0  decoded; one JSON object is on stdout
  2  it cannot be read; the sentence on stderr shows the place"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "text",
        metavar="TEXT",
        help="the specification; spaces, hyphens and case do not matter",
    )


def run(args: argparse.Namespace) -> int:
    print(json.dumps(answers.decode(args.text), indent=2))
    return FINE
