"""`demo`: the invented fleet, into an empty register only."""

from __future__ import annotations

import argparse
import importlib
from collections.abc import Callable
from typing import Any

from app.actions.stamp import Stamp
from app.cli.progress import Progress
from app.cli.register import moment, register, today_in
from app.cli.status import FINE, STATUSES, Unusable
from app.settings import read_settings
from app.store.cars import RegisterFilter, count
from app.store.db import write_session

EPILOG = f"""\
example:
  DATABASE_URL=sqlite:///./data/demo.db python -m app demo

Owners, cars, shops and places are all invented. A register that has cars is left as it is.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """None to add."""


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    load = _loader()
    with register(settings) as factory, write_session(factory) as db:
        if count(db, RegisterFilter(standing="all")):
            print("The register has cars already, so the demo fleet was left out.")
            return FINE
        with Progress() as tell:
            load(db, Stamp("demo", moment(), today_in(settings.time_zone)), tell)
        loaded = count(db, RegisterFilter(standing="all"))
    print(f"The demo fleet of {loaded:,} invented cars is in the register.")
    return FINE


def _loader() -> Callable[..., Any]:
    """`load` of the folder beside `app`, which the program itself can do without."""
    try:
        load: Callable[..., Any] = importlib.import_module("seed_demo").load
    except ImportError as missing:
        raise Unusable(
            f"The demo fleet is not here ({missing}). It lies in the folder seed_demo beside app; "
            f"run the command in the folder that holds both."
        ) from None
    return load
