"""Whether cars may be loaded, asked by mark and number: what a loading rack wants to know, and what is kept of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import asdict, dataclass, replace
from datetime import date
from functools import cached_property
from itertools import chain
from uuid import uuid4

from sqlalchemy.orm import Session

from app.actions import directive_matches as directives
from app.actions import rulebooks
from app.actions.rulebooks import Programme
from app.actions.stamp import Stamp
from app.core.facts import Answer, Loading, Reason, Service
from app.core.loading import GAS, falling_due, in_date_through, strictest, with_doubts
from app.core.moving import Moving, moving
from app.core.trial import Change
from app.errors import Conflict, NotFound, Problem, Refused
from app.files.cells import Unreadable
from app.files.names import un_number
from app.store import bearers, facts, ladings, loading, reach
from app.store.directives import Directive
from app.store.facts import CarRecord
from app.store.names import Name, read_name
from app.store.tables import Lading

# How long a car may be under way, where whoever asks says nothing else.
WITHIN_DAYS = 30
MOST_DAYS = 365
MOST_CARS = 1_000


@dataclass(frozen=True, slots=True)
class Asked:
    """A car as it was written; `lading` is what is about to be loaded, by number or by its name in the list."""

    car: str
    lading: str = ""


@dataclass(frozen=True, slots=True)
class When:
    """The day of loading, and so many days after it within which what falls due is told."""

    on: date
    within: int = WITHIN_DAYS


@dataclass(frozen=True, slots=True)
class MayLoad:
    """The answer for a car on a day, with the lading `commodity`.

    `through` is the last day on which no date of it is past, None where it has none; `soon` falls due
    within the days asked for; `moving` stands beside the answer, as what the rule leaves open.
    """

    car_id: int
    mark: str
    number: int
    specification: str
    commodity: str | None
    on: date
    loading: Loading
    through: date | None
    soon: tuple[Reason, ...]
    moving: tuple[Moving, ...]
    warnings: tuple[Reason, ...]


Answered = MayLoad | Problem
Opens = Callable[[], AbstractContextManager[Session]]


def answered_and_kept(
    reading: Opens, writing: Opens, asked: Sequence[Asked], when: When, stamp: Stamp
) -> tuple[list[Answered], str]:
    """The answer to each, in their order, and the key of the list under which they are kept.

    Worked out in a session that only reads, so that others write meanwhile. Raises Refused for more
    than are answered at once.
    """
    with reading() as db:
        found = answers(db, asked, when)
    with writing() as db:
        return found, keep(db, asked, when, found, stamp)


def answers(db: Session, asked: Sequence[Asked], when: When) -> list[Answered]:
    """About the cars in record that bear these marks and numbers today, in their order.

    An answer is Refused for what is no mark and number, or no lading of the list; NotFound where the
    session reaches no such car; Conflict where it reaches two, each in the register of another company.
    Raises Refused for more than are answered at once.
    """
    if len(asked) > MOST_CARS:
        raise Refused(
            f"{len(asked):,} cars were asked about; at most {MOST_CARS:,} are answered at once."
        )
    names = [_name(each.car) for each in asked]
    named = bearers.all_named(db, {name for name in names if not isinstance(name, Problem)})
    ids = [car_id for found in named.values() for car_id in found]
    records = facts.load(db, ids, when.on)
    rack = _Rack(db, when, rulebooks.in_force(db), named, records)
    return [
        name if isinstance(name, Problem) else rack.answer(name, each.lading)
        for name, each in zip(names, asked, strict=True)
    ]


def _name(written: str) -> Name | Problem:
    try:
        return read_name(written)
    except Refused as refused:
        return refused


@dataclass(frozen=True)
class _Rack:
    """What the answers to several questions share."""

    db: Session
    when: When
    programme: Programme
    named: Mapping[Name, Sequence[int]]
    records: Mapping[int, CarRecord]

    def answer(self, name: Name, lading: str) -> Answered:
        try:
            record = self._record(name)
            return _strictest(lading, list(self._answers(record, lading)))
        except Problem as problem:
            return problem

    def _record(self, name: Name) -> CarRecord:
        shown, found = f"{name[0]} {name[1]}", self.named.get(name, ())
        if not found:
            raise NotFound(
                f"There is no car {shown} in the register. Check the mark and number on the car; "
                f"without an answer it is not to be loaded on the word of this page."
            )
        if len(found) > 1:
            raise Conflict(
                f"Two cars are in record as {shown}. Ask their owners which of the two it is."
            )
        record = self.records.get(found[0])
        if record is None or (record.car.built_on or self.when.on) > self.when.on:
            raise NotFound(f"By what is recorded, there was no car {shown} on {self.when.on}.")
        return record

    def _answers(self, record: CarRecord, lading: str) -> Iterator[MayLoad]:
        """For each lading that was meant: the recorded one, and those of the list that go by what was written."""
        held = record.car.service
        recorded = not lading.strip() or _is_recorded(lading, held)
        if recorded:
            yield self._as_recorded(record)
        listed = self._meant(lading)
        if not recorded and not listed:
            raise Refused(
                f"{lading.strip()!r} is not on the list of ladings, and not recorded of this car. Write a number "
                f"such as UN1789 or a name that is on the list, or have it put on the list first."
            )
        for entry in listed:
            # What is recorded of the car's own lading goes before what the list says of it.
            if not (recorded and _same(entry.name, held.commodity)):
                yield self._with(record, entry)

    def _meant(self, lading: str) -> Sequence[Lading]:
        if lading.strip() and lading not in self._listed:
            self._listed[lading] = ladings.meant(self.db, lading.strip(), _un(lading))
        return self._listed.get(lading, ())

    @cached_property
    def _listed(self) -> dict[str, Sequence[Lading]]:
        """What a lading as it was written means: a train's cars mostly carry the same."""
        return {}

    def _as_recorded(self, record: CarRecord) -> MayLoad:
        answer = self.programme.whole_answer(record, self.when.on).answer
        return self._told(record, record.car.service, answer)

    def _with(self, record: CarRecord, entry: Lading) -> MayLoad:
        service = ladings.service_listed(entry)
        answer = self.programme.whole_answer(record, self.when.on, Change(service)).answer
        told = self._told(record, service, answer)
        loading = with_doubts(
            told.loading,
            directives.would_be_about(self.db, record, entry, self.orders, self.when.on),
        )
        return replace(
            told, loading=loading, warnings=(*told.warnings, *_not_looked_up(told, service))
        )

    @cached_property
    def orders(self) -> Sequence[Directive]:
        """The directives that a lading brings a car under."""
        return directives.by_lading(self.db)

    def _told(self, record: CarRecord, service: Service, answer: Answer) -> MayLoad:
        car, (on, within) = record.car, (self.when.on, self.when.within)
        return MayLoad(
            record.car_id,
            car.mark,
            car.number,
            car.specification,
            service.commodity,
            on,
            answer.loading,
            in_date_through(answer.items),
            falling_due(answer.items, on, within),
            moving(answer.loading, self.programme.of(record.owner_id).rulebook),
            answer.warnings,
        )


def _not_looked_up(told: MayLoad, lading: Service) -> Iterator[Reason]:
    """What nobody looked up of a listed lading; that no pressure of a gas was compared is a doubt already."""
    if not lading.pressures.has_vapor_pressure and not (lading.hazard_class or "").startswith(GAS):
        yield Reason(
            f"The list has no vapor pressure of {told.commodity}: whether the test pressure that the car is marked "
            f"with is enough was not compared",
            "49 CFR 173.31(c)",
        )
    yield Reason(
        f"Whether {told.specification} is authorised for {told.commodity} is not looked up here",
        "49 CFR part 173",
    )


def _is_recorded(written: str, held: Service) -> bool:
    number = _un(written)
    if number:
        return number == held.un
    return _same(written.strip(), held.commodity)


def _same(name: str, other: str | None) -> bool:
    return name.casefold() == (other or "").casefold()


def _un(written: str) -> str | None:
    try:
        return un_number(written)
    except Unreadable:
        return None


def _strictest(lading: str, found: Sequence[MayLoad]) -> MayLoad:
    """Of a number that stands for several ladings nobody is to take the mildest: neither answer, day nor warning."""
    if len(found) == 1:
        return found[0]
    verdict = strictest(each.loading for each in found).verdict
    least = min(
        (each for each in found if each.loading.verdict == verdict),
        key=lambda each: each.through or date.max,
    )
    several = Reason(
        f"{lading.strip()} stands for {len(found)} ladings; the strictest answer is given, the one for "
        f"{least.commodity or 'the recorded one'}, with what the others would say besides"
    )
    return replace(
        least,
        loading=replace(
            least.loading, reasons=_each_once(each.loading.reasons for each in (least, *found))
        ),
        through=min((each.through for each in found if each.through), default=None),
        soon=_each_once(each.soon for each in found),
        warnings=(several, *_each_once(each.warnings for each in (least, *found))),
    )


def _each_once(told: Iterable[Iterable[Reason]]) -> tuple[Reason, ...]:
    return tuple(dict.fromkeys(chain.from_iterable(told)))


# Keeping ----------------------------------------------------------------------------------------------------------


def keep(
    db: Session, asked: Iterable[Asked], when: When, found: Iterable[Answered], stamp: Stamp
) -> str:
    """Keep each question with its answer, word for word; gives the key of the list that they make."""
    key, person = uuid4().hex, reach.of(db).person_id
    rows = [
        {
            "recorded_at": stamp.at,
            "recorded_by": stamp.by,
            "person_id": person,
            "list_key": key,
            "asked": each.car.strip()[:200],
            "lading": each.lading.strip()[:200],
            "on_day": when.on,
            "within_days": when.within,
            **_answer_columns(answered),
        }
        for each, answered in zip(asked, found, strict=True)
    ]
    loading.keep(db, rows)
    return key


def _answer_columns(answered: Answered) -> dict[str, object]:
    if isinstance(answered, Problem):
        return {
            "car_id": None,
            "verdict": None,
            "through": None,
            "told": {"problem": str(answered)},
        }
    return {
        "car_id": answered.car_id,
        "verdict": answered.loading.verdict,
        "through": answered.through,
        "told": {
            "car": f"{answered.mark} {answered.number}",
            "specification": answered.specification,
            "commodity": answered.commodity,
            "reasons": _plain(answered.loading.reasons),
            "caution": answered.loading.caution,
            "soon": _plain(answered.soon),
            "warnings": _plain(answered.warnings),
            "moving": [
                {"situation": each.situation, "reasons": _plain(each.reasons)}
                for each in answered.moving
            ],
        },
    }


def _plain(reasons: Iterable[Reason]) -> list[dict[str, str | None]]:
    return [asdict(each) for each in reasons]
