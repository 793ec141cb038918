"""Directives: seeing what a condition finds, freezing it, other terms, closing what was seen to, withdrawing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from sqlalchemy.orm import Session

from app.actions import due, rows
from app.actions.checks import LONGEST_WORDS, Faults, tidy
from app.actions.directive_matches import add, add_followed, add_later, made
from app.actions.stamp import Stamp
from app.core.component_kinds import COMPONENT_KINDS
from app.core.directive import OF_COMPONENTS, Condition, Outcome, comparable
from app.errors import Conflict, NotFound
from app.rules.reader import default_rulebook
from app.store import directive_keeping, directive_list, directive_matching, facilities
from app.store.asked import Standpoint
from app.store.directive_list import MatchFilter, MatchShown
from app.store.directive_matching import Matched
from app.store.directives import (
    ORDERERS,
    OUTCOMES,
    Directive,
    DirectiveClosing,
    DirectiveMatch,
    DirectiveTerm,
)
from app.store.gathering import note

LONGEST_TEXT = 10_000
LONGEST_ORDERER, LONGEST_NUMBER = 50, 29
MOST_DAYS = 3_650


@dataclass(frozen=True, slots=True)
class Term:
    """By which day it is to be done, or how many days after a car was found; and whether that forbids loading."""

    due_on: date | None = None
    due_days: int | None = None
    forbids_loading: bool = False
    reason: str = ""


@dataclass(frozen=True, slots=True)
class NewDirective:
    """What was ordered. `condition` are the fields of `core.directive.Condition` as somebody stated them."""

    party_id: int
    ordered_by: str
    orderer: str
    number: str
    title: str
    what: str
    ordered_on: date
    as_of: date
    term: Term
    condition: Mapping[str, Any]
    caution: str = ""
    takes_later: bool = True
    takes_by_hand: bool = True


@dataclass(frozen=True, slots=True)
class NewClosing:
    """That matches were seen to; `reference` names the event or the report that shows it."""

    done_on: date
    outcome: Outcome
    reference: str = ""
    finding: str = ""


# The condition ----------------------------------------------------------------------------------------------------


class _Stated(BaseModel):
    """A condition as somebody states it: what each field may be."""

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True, str_min_length=1)
    specification: str | None = Field(None, max_length=60)
    design: str | None = Field(None, max_length=LONGEST_WORDS)
    builder: str | None = Field(None, max_length=LONGEST_WORDS)
    built_from: date | None = None
    built_to: date | None = None
    material: Literal[*default_rulebook().materials] | None = None  # type: ignore[valid-type]
    un: str | None = Field(None, pattern=r"^(UN|NA)[0-9]{4}$")
    lading: str | None = Field(None, max_length=LONGEST_WORDS)
    owner: str | None = Field(None, max_length=LONGEST_WORDS)
    lining: str | None = Field(None, max_length=80)
    kind: Literal[*COMPONENT_KINDS] | None = None  # type: ignore[valid-type]
    maker: str | None = Field(None, max_length=LONGEST_WORDS)
    model: str | None = Field(None, max_length=LONGEST_WORDS)
    lot: str | None = Field(None, max_length=LONGEST_WORDS)
    serial_from: str | None = Field(None, max_length=LONGEST_WORDS)
    serial_to: str | None = Field(None, max_length=LONGEST_WORDS)


SAID = {
    "string_pattern_mismatch": "want UN or NA and four digits, such as UN1789",
    "extra_forbidden": "is no field of a condition",
}


def condition_from(stated: Mapping[str, Any]) -> Condition:
    """The condition that these fields state. Raises Refused with every fault by field."""
    faults = Faults()
    condition = _condition(stated, faults)
    faults.refuse()
    assert condition is not None
    return condition


def _condition(stated: Mapping[str, Any], faults: Faults) -> Condition | None:
    try:
        read = _Stated.model_validate(dict(stated))
    except ValidationError as wrong:
        for each in wrong.errors():
            path = ".".join(str(part) for part in each["loc"])
            faults.add(path, SAID.get(each["type"], each["msg"]))
        return None
    condition = Condition(**read.model_dump())
    _check_condition(condition, faults)
    return condition


def _check_condition(condition: Condition, faults: Faults) -> None:
    if not condition.stated():
        faults.add("condition", "say what it is about: at least one field of the condition")
    for name, value in condition.stated().items():
        if isinstance(value, str) and not any(sign.isalnum() for sign in value):
            faults.add(name, f"{value!r} has neither a letter nor a figure")
    if condition.kind is None:
        for name in OF_COMPONENTS:
            if getattr(condition, name) is not None:
                faults.add("kind", f"say the kind of component whose {name.split('_')[0]} is meant")
                break
    first, last = condition.built_from, condition.built_to
    if first and last and first > last:
        faults.add("built_to", f"{last} lies before {first}")
    wrong = comparable(condition.serial_from, condition.serial_to)
    if wrong:
        faults.add("serial_from" if condition.serial_from else "serial_to", wrong)


# Seeing and freezing ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Preview:
    """What a condition finds: on the day to be frozen, and today.

    `unrecorded` cars have nothing on record of what it is about on the day, and are in neither.
    """

    then: Sequence[Matched]
    now: Sequence[Matched]
    unrecorded: int

    @property
    def sure(self) -> list[Matched]:
        return [each for each in self.then if not each.match.by_hand]

    @property
    def by_hand(self) -> list[Matched]:
        return [each for each in self.then if each.match.by_hand]

    @property
    def only_then(self) -> list[Matched]:
        there = {each.key for each in self.now}
        return [each for each in self.then if each.key not in there]

    @property
    def only_now(self) -> list[Matched]:
        there = {each.key for each in self.then}
        return [each for each in self.now if each.key not in there]


def preview(db: Session, party_id: int, condition: Condition, as_of: date, today: date) -> Preview:
    """What would be frozen, and how that differs from today."""
    keys = directive_matching.fleet(db, party_id)
    then = directive_matching.found(db, condition, keys, Standpoint(as_of))
    same = as_of == today
    now = then if same else directive_matching.found(db, condition, keys, Standpoint(today))
    return Preview(then, now, directive_matching.unrecorded(db, condition, keys, Standpoint(as_of)))


def freeze(db: Session, new: NewDirective, stamp: Stamp) -> Directive:
    """Record the order with all that it is about: on its day, what has come to match since, and where that is now.

    Raises Refused with faults by field, Conflict for an order that is on record already.
    """
    faults = Faults()
    condition = _condition(new.condition, faults)
    _check_new(db, new, stamp, faults)
    faults.refuse()
    assert condition is not None
    note(db, "directive.ordered", ("party", new.party_id))
    row = _directive(new, condition, stamp)
    _must_be_new(db, row)
    fleet = directive_matching.fleet(db, row.party_id)
    row.unrecorded = directive_matching.unrecorded(db, condition, fleet, Standpoint(row.as_of))
    db.add(row)
    db.flush()  # its term and matches are to name it
    db.add(_term(row.id, new.term, stamp))
    _find(db, row, condition, fleet, stamp)
    due.refresh(db, directive_keeping.cars_of(db, row.id), stamp.today)
    return row


def _find(
    db: Session, row: Directive, condition: Condition, keys: Sequence[int], stamp: Stamp
) -> None:
    known = set[directive_keeping.MatchKey]()
    then = directive_matching.found(db, condition, keys, Standpoint(row.as_of))
    add(db, row, then, "frozen", stamp, known)
    add_followed(db, row, keys, stamp, known)
    if row.takes_later:
        add_later(db, row, condition, keys, stamp, known)


def _directive(new: NewDirective, condition: Condition, stamp: Stamp) -> Directive:
    return Directive(
        party_id=new.party_id, ordered_by=new.ordered_by, orderer=tidy(new.orderer),
        number=tidy(new.number), title=tidy(new.title), what=new.what.strip(),
        caution=new.caution.strip(), ordered_on=new.ordered_on, as_of=new.as_of,
        frozen_on=stamp.today, condition=condition.stated(), takes_later=new.takes_later,
        takes_by_hand=new.takes_by_hand, **made(stamp),
    )  # fmt: skip


def _check_new(db: Session, new: NewDirective, stamp: Stamp, faults: Faults) -> None:
    if new.party_id not in {party.id for party in facilities.own_parties(db)}:
        faults.add("party", "choose one of your own companies")
    faults.one_of("ordered_by", new.ordered_by, ORDERERS)
    _check_words(new, faults)
    faults.day("ordered_on", new.ordered_on, stamp)
    faults.day("as_of", new.as_of, stamp)
    _check_term(new.term, new.ordered_on, faults)


def _check_words(new: NewDirective, faults: Faults) -> None:
    for name, most in (
        ("orderer", LONGEST_ORDERER), ("number", LONGEST_NUMBER), ("title", LONGEST_WORDS),
    ):  # fmt: skip
        if not 1 <= len(tidy(getattr(new, name))) <= most:
            faults.add(name, f"want 1 to {most} characters")
    if not 1 <= len(new.what.strip()) <= LONGEST_TEXT:
        faults.add("what", f"say what is to be done, in at most {LONGEST_TEXT} characters")
    if len(new.caution) > LONGEST_TEXT:
        faults.add("caution", f"is longer than {LONGEST_TEXT} characters")


def _check_term(term: Term, ordered_on: date, faults: Faults) -> None:
    if (term.due_on is None) == (term.due_days is None):
        faults.add(
            "due_on", "want a day, or a number of days after a car was found: one of the two"
        )
    if term.due_on is not None and term.due_on < ordered_on:
        faults.add("due_on", f"{term.due_on} lies before it was ordered, on {ordered_on}")
    if term.due_days is not None and not 0 <= term.due_days <= MOST_DAYS:
        faults.add("due_days", f"must be 0 to {MOST_DAYS} days, got {term.due_days}")


def _must_be_new(db: Session, row: Directive) -> None:
    if directive_list.on_record(db, row.party_id, row.orderer, row.number):
        raise Conflict(
            f"{row.name} is on record already. Withdraw that one, or correct its number."
        )


def _term(
    directive_id: int, term: Term, stamp: Stamp, corrects: int | None = None
) -> DirectiveTerm:
    return DirectiveTerm(
        directive_id=directive_id, due_on=term.due_on, due_days=term.due_days,
        forbids_loading=term.forbids_loading, reason=term.reason.strip(), corrects=corrects,
        **made(stamp),
    )  # fmt: skip


# Afterwards -------------------------------------------------------------------------------------------------------


def set_term(db: Session, directive_id: int, term: Term, stamp: Stamp) -> DirectiveTerm:
    """Let another term take the place of the one that counts: a later day, say, with the reason."""
    directive = _in_force(db, directive_id)
    faults = Faults()
    _check_term(term, directive.ordered_on, faults)
    if not term.reason.strip():
        faults.add("reason", "say who gave the other term, and why")
    faults.refuse()
    note(db, "directive.term_changed", ("party", directive.party_id))
    old = directive_list.term_of(db, directive_id)
    rows.supersede(db, old, stamp)
    new = _term(directive_id, term, stamp, corrects=old.id)
    rows.add(db, new, "Somebody else changed the term just now. Open it anew.")
    due.refresh(db, directive_keeping.cars_of(db, directive_id), stamp.today)
    return new


def withdraw(db: Session, directive_id: int, reason: str, stamp: Stamp) -> Directive:
    """Let an order count no longer; what was closed of it stays on record."""
    directive = _in_force(db, directive_id)
    note(db, "directive.withdrawn", ("party", directive.party_id))
    rows.withdraw(db, directive, reason, stamp)
    due.refresh(db, directive_keeping.cars_of(db, directive_id), stamp.today)
    return directive


def _in_force(db: Session, directive_id: int) -> Directive:
    directive = directive_list.own_or_raise(db, directive_id)
    if directive.superseded_at is not None:
        raise Conflict("This directive was withdrawn.")
    return directive


def close(
    db: Session, match_ids: Sequence[int], closing: NewClosing, stamp: Stamp
) -> list[DirectiveClosing]:
    """Record that matches of one or several directives were seen to.

    Raises NotFound for one out of reach, Refused with faults by field, Conflict for one closed already.
    """
    found = directive_list.matches_by_key(db, match_ids, MatchFilter(stamp.today))
    if len(found) != len(set(match_ids)):
        raise NotFound("One of these is not in the register. Load the list again.")
    _check_closing(db, found, closing, stamp)
    for each in found:
        if each.closing is not None:
            raise Conflict(f"{each.name} was closed already, on {each.closing.done_on}.")
    note(db, "directive.closed", *_about(found))
    made_now = [_closing(each.row, closing, stamp) for each in found]
    db.add_all(made_now)
    rows.flush(db, "Somebody else closed one of these just now. Load the list again.")
    due.refresh(db, _cars(found), stamp.today)
    return made_now


def _check_closing(
    db: Session, found: Sequence[MatchShown], closing: NewClosing, stamp: Stamp
) -> None:
    faults = Faults()
    if not found:
        faults.add("match", "choose at least one")
    faults.one_of("outcome", closing.outcome, OUTCOMES)
    faults.day("done_on", closing.done_on, stamp)
    for name, most in (("reference", LONGEST_WORDS), ("finding", LONGEST_TEXT)):
        if len(getattr(closing, name)) > most:
            faults.add(name, f"is longer than {most} characters")
    if closing.outcome == "mended" and not (closing.reference or closing.finding):
        faults.add("finding", "say what was found and mended, or name its report as the reference")
    since = directive_list.ordered_on(db, {each.row.directive_id for each in found})
    if since and closing.done_on < since:
        faults.add("done_on", f"{closing.done_on} lies before it was ordered, on {since}")
    if closing.outcome == "gone" and any(each.row.component_id is None for each in found):
        faults.add("outcome", "a car itself is not taken off: choose what was found of it")
    still = [each.name for each in found if each.row.component_id and not each.elsewhere]
    if closing.outcome == "gone" and still:
        faults.add("outcome", f"it is still on {still[0]} by the record: take it off there first")
    faults.refuse()


def _closing(match: DirectiveMatch, closing: NewClosing, stamp: Stamp) -> DirectiveClosing:
    return DirectiveClosing(
        match_id=match.id, done_on=closing.done_on, outcome=closing.outcome,
        reference=tidy(closing.reference), finding=closing.finding.strip(), **made(stamp),
    )  # fmt: skip


def take_back(db: Session, closing_id: int, reason: str, stamp: Stamp) -> DirectiveClosing:
    """Let a closing count no longer, as recorded by mistake: the match is open again."""
    row = db.get(DirectiveClosing, closing_id)
    found = (
        directive_list.matches_by_key(db, [row.match_id], MatchFilter(stamp.today)) if row else []
    )
    if row is None or not found:
        raise NotFound(f"There is no closing with the number {closing_id} in the register.")
    note(db, "directive.closing_taken_back", *_about(found))
    rows.withdraw(db, row, reason, stamp)
    due.settle(db, _cars(found), stamp)
    return row


def _about(found: Sequence[MatchShown]) -> list[tuple[str, int]]:
    return [("car", key) for key in _cars(found)]


def _cars(found: Sequence[MatchShown]) -> list[int]:
    return sorted({each.row.car_id for each in found})
