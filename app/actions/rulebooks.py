"""Which rules hold for whose cars, and changing that: load an edition, put it in force, take it back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from sqlalchemy.orm import Session

from app.actions.stamp import Stamp
from app.core.devices import Whole
from app.core.mechanical import FIRST_BY_ANOTHER
from app.core.trial import NOTHING, Change
from app.errors import Fault, Refused
from app.rules.edition import BadEdition, Edition, Wrong, read_edition
from app.rules.overlay import Laid, differences, faults_over, laid
from app.store import cars, rulebooks
from app.store.derived import RulebookEdition, RulebookInForce
from app.store.due import Again
from app.store.facts import CarRecord
from app.store.gathering import note

BUILT_IN = "us-49cfr"
Holding = Mapping[int | None, int]


@dataclass(frozen=True, eq=False, slots=True)
class Programme:
    """The rulebook for all cars, and those of owners with a stricter programme of their own."""

    everyone: Laid
    owners: Mapping[int, Laid] = field(default_factory=dict)

    def of(self, owner_id: int) -> Laid:
        return self.owners.get(owner_id, self.everyone)

    def read(self, record: CarRecord) -> CarRecord:
        """The car with open questions read as its owner's rulebook reads them."""
        chosen = self.of(record.owner_id).settings
        if not chosen:
            return record
        return replace(record, settings=replace(record.settings, **chosen))  # type: ignore[arg-type]

    def whole_answer(self, record: CarRecord, day: date, tried: Change = NOTHING) -> Whole:
        """The calculator's answer for a stored car on a day, by the rules that hold for it.

        With something `tried`, the answer if that were so.
        """
        return self.read(record).whole_answer(day, self.of(record.owner_id).rulebook, tried)


def in_force(db: Session, known_at: datetime | None = None) -> Programme:
    """The rules that every answer for a stored car goes by, now or as they were put in force by a moment."""
    holding = rulebooks.in_force(db, known_at)
    return as_held(db, holding) if holding else Programme(laid(()))


def again(db: Session) -> Again:
    """By item, after how many months at most it falls due again once it is done, where a first time may be farther."""
    book = in_force(db).everyone.rulebook
    return {item: book.rule(item).months for item in FIRST_BY_ANOTHER}


def as_held(db: Session, holding: Holding) -> Programme:
    """The rules as they are when these editions hold, by owner (None: for all).

    An owner's programme lies over whatever holds for all. Raises Refused when an edition does not
    fit this version of the program.
    """
    known = {each.id: each for each in rulebooks.editions(db)}
    for_all = _sources(known, holding.get(None))
    try:
        owners = {
            owner_id: laid((*for_all, known[edition_id].source))
            for owner_id, edition_id in holding.items()
            if owner_id is not None
        }
        return Programme(laid(for_all), owners)
    except BadEdition as bad:
        raise Refused(
            "A rulebook edition that is in force does not fit this version of the program, so no "
            f"date was worked out. Put another in force. What is wrong: {bad}"
        ) from bad


def laid_edition(db: Session, row: RulebookEdition) -> tuple[Laid, Laid]:
    """What a loaded edition lies over, and the rulebook that results."""
    known = {each.id: each for each in rulebooks.editions(db)}
    sources = _sources(known, row.id)
    return laid(sources[:-1]), laid(sources)


def _sources(known: Mapping[int, RulebookEdition], edition_id: int | None) -> tuple[str, ...]:
    """The documents of an edition and of all that it is laid over, the lowest first."""
    codes = {each.code: each for each in known.values()}
    found: list[str] = []
    row = known[edition_id] if edition_id is not None else None
    while row is not None:
        found.append(row.source)
        row = codes.get(row.base)
    return tuple(reversed(found))


# Changes ----------------------------------------------------------------------------------------------------------


def load(db: Session, source: str, stamp: Stamp) -> RulebookEdition:
    """Keep an edition beside those there are; nothing goes by it until it is put in force.

    Raises Refused with every fault and its place in the document.
    """
    try:
        edition = read_edition(source)
    except BadEdition as bad:
        raise Refused.because(Fault(*each) for each in bad.faults) from bad
    owner = cars.party_by_name(db, edition.owner) if edition.owner else None
    faults = _faults(db, edition, source)
    if faults:
        raise Refused.because(faults)
    row = RulebookEdition(
        code=edition.id, edition=edition.edition, base=edition.base,
        owner_id=owner.id if owner else None, source=source,
        recorded_at=stamp.at, recorded_by=stamp.by,
    )  # fmt: skip
    note(db, "edition.loaded")
    db.add(row)
    db.flush()  # for its key
    return row


def _faults(db: Session, edition: Edition, source: str) -> list[Fault]:
    found = []
    same = rulebooks.by_code(db, edition.id)
    if edition.id == BUILT_IN or same:
        found.append(Fault("id", f"{edition.id} is loaded already; give this one another id"))
    if edition.owner and cars.party_by_name(db, edition.owner) is None:
        found.append(Fault("owner", f"there is no owner named {edition.owner!r} in the register"))
    base = rulebooks.by_code(db, edition.base)
    if base is None and edition.base != BUILT_IN:
        found.append(
            Fault("base", f"there is no rulebook {edition.base}; the built-in is {BUILT_IN}")
        )
    elif base and base.owner_id is not None:
        found.append(
            Fault("base", f"{edition.base} is an owner's programme, and nothing is laid over one")
        )
    else:
        found += _over_base(db, edition, source, base)
    return found


def _over_base(
    db: Session, edition: Edition, source: str, base: RulebookEdition | None
) -> list[Fault]:
    known = {each.id: each for each in rulebooks.editions(db)}
    below = _sources(known, base.id if base else None)
    under = laid(below)
    faults = faults_over(edition, under.document)
    if not faults and not differences(under, laid((*below, source))):
        faults = [Wrong("", f"nothing in it differs from {edition.base}")]
    return [Fault(*each) for each in faults]


def put_in_force(
    db: Session, edition_id: int | None, owner_id: int | None, stamp: Stamp
) -> RulebookInForce:
    """From now on dates go by this edition (None: by none of its own), for an owner or for all (None).

    The caller works out the due dates of the cars it touches in the same transaction. Raises Refused
    where nothing would change, and for an owner's programme meant for others.
    """
    rulebooks.hold_fleet(db)
    edition = rulebooks.edition_or_raise(db, edition_id) if edition_id is not None else None
    if edition and edition.owner_id != owner_id:
        raise Refused("An owner's programme is for that owner's cars, any other edition for all.")
    if rulebooks.in_force(db).get(owner_id) == edition_id:
        raise Refused("It is in force already, so nothing was changed.")
    row = RulebookInForce(
        edition_id=edition_id, owner_id=owner_id, recorded_at=stamp.at, recorded_by=stamp.by
    )
    note(db, "edition.put_in_force" if edition else "edition.ended")
    db.add(row)
    db.flush()  # so that dates are worked out by it
    return row
