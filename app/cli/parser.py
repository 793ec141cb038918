"""The commands there are. Only the one asked for is imported: `decode` waits for no web server."""

from __future__ import annotations

import argparse
import importlib
from collections.abc import Sequence

# Each module has EPILOG, add_arguments(parser) and run(args) -> exit status.
COMMANDS = {
    "due-dates": ("due_dates", "answer what a car must have done, by when, and why"),
    "decode": ("decode", "say what a specification means, as stenciled on the car"),
    "plan": ("plan", "find the cheapest plan of which car goes to which shop in which month"),
    "import": (
        "bring_in",
        "bring a file of cars, components, events, ladings or visits into the register",
    ),
    "due": ("due", "list what falls due in the register"),
    "serve": ("serve", "serve the register's pages and its JSON API"),
    "migrate": ("migrate", "make the database, or bring it up to this version"),
    "demo": ("demo", "load the invented demo fleet into an empty register"),
    "invite": ("invite", "print a link by which somebody joins a party"),
    "people": ("people", "list who has an account; help somebody who lost access"),
    "refresh-due": ("refresh_due", "work out every due date in the register anew"),
    "backup": ("backup", "write a copy of the whole register to a file, while it is used"),
    "restore": ("restore", "bring a copy back into an empty database of either engine"),
    "move-to": ("move_to", "move the whole register into an empty PostgreSQL database"),
    "evidence": ("evidence", "write an evidence packet of cars for an auditor and for the archive"),
    "hand-over": ("hand_over", "hand a car over to another register, with all of it in a file"),
    "take-over": ("take_over", "take a car over from the file of a hand-over"),
    "head": ("head", "print the head of the record of change, to be kept elsewhere"),
    "retention": ("retention", "list what need be kept no longer, or let reports go"),
    "verify": ("verify", "check that the register is sound, and say what is not"),
}

DESCRIPTION = """\
Stencilbook: the register of railroad tank cars and their qualification due dates, with reasons.

A due date is a calculation aid. The rule in force, the owner's written instructions and the
qualified shop decide."""

EPILOG = """\
Each command tells more with --help. The database is the one that DATABASE_URL names
(sqlite:///./data/stencilbook.db when it names none)."""


def parser_for(given: Sequence[str]) -> argparse.ArgumentParser:
    """A parser of every command's name, and of the arguments of the one asked for in `given`."""
    parser = argparse.ArgumentParser(
        prog="python -m app",
        description=DESCRIPTION,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    for name, (module, summary) in COMMANDS.items():
        command = commands.add_parser(
            name,
            help=summary,
            description=f"{summary[:1].upper()}{summary[1:]}.",
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        if name in given[:1]:
            _complete(command, module)
    return parser


def _complete(command: argparse.ArgumentParser, module: str) -> None:
    found = importlib.import_module(f"app.cli.{module}")
    command.epilog = found.EPILOG
    found.add_arguments(command)
    command.set_defaults(run=found.run)
