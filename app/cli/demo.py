"""`demo`: the invented fleet and invented people, into an empty register only."""

from __future__ import annotations

import argparse
import importlib
from collections.abc import Sequence
from secrets import token_hex
from typing import Any

from app.actions.stamp import Stamp
from app.cli.progress import Progress
from app.cli.register import moment, register, today_in, who
from app.cli.status import FINE, STATUSES, Unusable
from app.settings import read_settings
from app.store import accounts
from app.store.car_counts import count
from app.store.cars import RegisterFilter
from app.store.db import write_session
from app.store.doer import Doer
from app.store.gathering import note

EPILOG = f"""\
example:
  DATABASE_URL=sqlite:///./data/demo.db python -m app demo

Owners, cars, shops, places and people are all invented. A register that has cars is left as it is.
People who may sign in are added where there is no account yet, with a password made up on loading:
it is printed once. Never let a register with these people face a network.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """None to add."""


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    demo = _demo()
    password = "-".join(token_hex(3) for _ in range(4))
    added: Sequence[Any] = ()
    with register(settings) as factory, write_session(factory, doer=Doer(who())) as db:
        if count(db, RegisterFilter(standing="all")):
            print("The register has cars already, so the demo fleet was left out.")
            return FINE
        with Progress() as tell:
            note(db, "demo.loaded")
            stamp = Stamp("demo", moment(), today_in(settings.time_zone))
            demo.load(db, stamp, tell)
            if not accounts.anybody(db):
                added = demo.settle(db, stamp, password)
        loaded = count(db, RegisterFilter(standing="all"))
    print(f"The demo fleet of {loaded:,} invented cars is in the register.")
    if added:
        _tell(added, password)
    return FINE


def _tell(added: Sequence[Any], password: str) -> None:
    print("Sign in as one of these invented people:")
    for each in added:
        print(f"  {each.email:<24} {', '.join(each.roles).replace('_', ' ')} at {each.party}")
    print(f"The password of each, told only now: {password}")


def _demo() -> Any:
    """The folder beside `app`, which the program itself can do without."""
    try:
        return importlib.import_module("seed_demo")
    except ImportError as missing:
        raise Unusable(
            f"The demo fleet is not here ({missing}). It lies in the folder seed_demo beside app; "
            f"run the command in the folder that holds both."
        ) from None
