"""`people`: who has an account; and the way back in for somebody who lost access, on the machine itself."""

from __future__ import annotations

import argparse

from sqlalchemy.orm import Session

from app.actions import invitations, people, sign_in
from app.actions.people import Office
from app.cli.first_account import set_up_path, told
from app.cli.invite import address
from app.cli.register import moment, register, who
from app.cli.status import FINE, STATUSES
from app.errors import Conflict, NotFound
from app.settings import Settings, read_settings
from app.store import accounts, members
from app.store.db import Sessions, read_session, write_session
from app.store.doer import Doer
from app.store.people import Person

EPILOG = f"""\
examples:
  python -m app people
  python -m app people --new-password pat@company.example

Make sure that it is really the person who asks, before a link is handed over.

{STATUSES}"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    one = parser.add_mutually_exclusive_group()
    add = one.add_argument
    add("--set-up", action="store_true", help="print a new link that makes the first account")
    add("--new-password", metavar="EMAIL", help="print a link by which this person sets a new one")
    add("--take-seconds-away", metavar="EMAIL", help="ask no codes and passkeys of this person")
    add("--end", metavar="EMAIL", help="end this person's account and all that it may")


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    if args.set_up:
        return _set_up(settings)
    with register(settings) as factory:
        if args.new_password:
            print(address(settings, _new_password(factory, args.new_password)))
        elif args.take_seconds_away:
            _take_away(factory, args.take_seconds_away)
        elif args.end:
            _end(factory, args.end)
        else:
            _list(factory)
    return FINE


def _set_up(settings: Settings) -> int:
    path = set_up_path(settings)
    if path is None:
        raise Conflict("There are accounts already; invite others instead.")
    print(told(address(settings, path)))
    return FINE


def _new_password(factory: Sessions, email: str) -> str:
    with write_session(factory, doer=Doer(who())) as db:
        person = _person(db, email)
        return f"/new-password/{invitations.new_password_link(db, _office(), person.id, moment())}"


def _take_away(factory: Sessions, email: str) -> None:
    with write_session(factory, doer=Doer(who())) as db:
        people.take_seconds_away(db, _office(), _person(db, email).id, moment())
    print("The password alone lets this person in now.")


def _end(factory: Sessions, email: str) -> None:
    with write_session(factory, doer=Doer(who())) as db:
        people.end_person(db, _office(), _person(db, email).id, moment())
    print("This person may do nothing here any longer.")


def _list(factory: Sessions) -> None:
    with read_session(factory) as db:
        held = members.memberships(db)
        seen = accounts.last_seen(db, {each.person.id for each in held})
        for each in held:
            last = seen.get(each.person.id)
            when = f"{last:%Y-%m-%d %H:%M} UTC" if last else "never"
            role = each.membership.role.replace("_", " ")
            print(f"{each.party.name}  {role}  {each.person.name}  {each.person.email}  {when}")
        if not held:
            print("Nobody has a role yet.")


def _office() -> Office:
    return Office(None, who())


def _person(db: Session, email: str) -> Person:
    found = accounts.by_email(db, sign_in.email_of(email))
    if found is None:
        raise NotFound(
            f"Nobody has an account of the address {email}. python -m app people lists them."
        )
    return found
