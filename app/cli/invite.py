"""`invite`: a link for somebody to join a party, made on the machine itself."""

from __future__ import annotations

import argparse

from sqlalchemy.orm import Session

from app.access import ROLES
from app.actions import invitations, people
from app.actions.people import Office
from app.cli.register import moment, register, who
from app.cli.status import FINE, STATUSES
from app.errors import NotFound, Refused
from app.settings import Settings, read_settings
from app.store import members
from app.store.db import write_session
from app.store.doer import Doer
from app.store.tables import Party

EPILOG = f"""\
example:
  python -m app invite --email pat@company.example --party "Company" --role planner --role administrator

Prints a link that works once, within seven days; hand it over. --new-party adds the party, which
then stands for itself; the first one there is looks after the register.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--email", required=True, help="the address of mail that the person signs in with")
    add("--party", required=True, help="the name of the party, as it is in the register")
    add("--role", required=True, action="append", choices=ROLES, help="may be given several times")
    add("--name", default="", help="the person's name")
    add("--new-party", action="store_true", help="add the party when there is none of this name")


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    with register(settings) as factory, write_session(factory, doer=Doer(who())) as db:
        party = _party(db, args.party, args.new_party, args.role)
        office = Office(None, who())
        key = invitations.invite(db, office, args.email, args.name, party.id, args.role, moment())
    print(address(settings, f"/invitation/{key}"))
    return FINE


def address(settings: Settings, path: str) -> str:
    """A whole address of the register, as it is opened by people."""
    return f"{settings.public_url or f'http://localhost:{settings.port}'}{path}"


def _party(db: Session, name: str, new: bool, roles: list[str]) -> Party:
    found = members.own_party(db, name.strip())
    first = members.keeper(db) is None
    if found is None and not new:
        raise NotFound(f"No party of the name {name} stands for itself. --new-party adds it.")
    if first and "administrator" not in roles:
        raise Refused("The first who joins has to be an administrator, to invite the others.")
    party = found or people.add_party(db, name)
    if first:
        people.look_after_register(db, party)
    return party
