"""Audits: drawing a sample, answering its checklist, findings, closing them; and what the register says of a point."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, timedelta

from sqlalchemy.orm import Session

from app.actions import looking_back, rulebooks
from app.actions.checks import LONGEST_WORDS, tidy
from app.actions.stamp import Stamp
from app.core import contradictions
from app.core.audit.points import ANSWERS, AnswerWord, OnRecord, Point, Says, register_says
from app.core.audit.sampling import at_most_wrong, drawn
from app.core.loading import MECHANICAL
from app.errors import Conflict, Fault, NotFound, Refused
from app.rules.audit_points import built_in_points
from app.store import auditing, car_as_known, cars, due, facilities
from app.store.asked import Standpoint
from app.store.auditing import Answers, FindingShown
from app.store.audits import (
    SEVERITIES,
    Audit,
    AuditAnswer,
    AuditCar,
    AuditFinding,
    AuditFindingStep,
    Step,
)
from app.store.cars import RegisterFilter
from app.store.due import DueFilter
from app.store.gathering import note

# A larger one is no sample that people look through car by car.
MOST_CARS = 2_000
LONGEST_SEED = 60
MOST_OWN_POINTS = 40
OWN = "a point of this audit’s own"
AT_ONCE = 1_000
CONFIDENCE = 95
Drawn = tuple[str, int]


@dataclass(frozen=True, slots=True)
class Selected:
    """Of which cars a sample is drawn: a list's filter, as an address holds it and in words.

    `at` is None where the list of today is meant, by all that is known now.
    """

    of: str
    asked: Mapping[str, str]
    filter: RegisterFilter | DueFilter
    in_words: str
    at: Standpoint | None = None


@dataclass(frozen=True, slots=True)
class NewAudit:
    """A draw: its size, its seed, the built-in points that are asked, and further ones in the planner's words."""

    title: str
    selected: Selected
    size: int
    seed: str
    points: tuple[str, ...]
    own_points: tuple[str, ...] = ()


def population(db: Session, selected: Selected) -> list[Drawn]:
    """The cars of a selection, each once, its name and its key, by mark and number.

    Raises Refused for more cars than can be looked back at.
    """
    found = {(mark, number, key) for mark, number, key in _cars_of(db, selected)}
    return [(f"{mark} {number}", key) for mark, number, key in sorted(found)]


def _cars_of(db: Session, selected: Selected) -> Iterable[tuple[str, int, int]]:
    wanted, at = selected.filter, selected.at
    if isinstance(wanted, DueFilter):
        rows = due.each(db, wanted) if at is None else looking_back.due_items(db, at, wanted).each()
        return ((row.mark, row.number, row.car_id) for row in rows)
    if at is not None:
        then = looking_back.register(db, at, wanted).cars
        return ((car.mark, car.number, key) for key, car in then.items())
    return _registered(db, wanted)


def _registered(db: Session, wanted: RegisterFilter) -> Iterable[tuple[str, int, int]]:
    after: str | None = None
    while True:
        page = cars.register(db, wanted, after, AT_ONCE)
        yield from ((car.mark, car.number, car.id) for car in page.rows)
        after = page.next_after
        if after is None:
            return


def draw(db: Session, party_id: int, new: NewAudit, stamp: Stamp) -> Audit:
    """Draw a sample and keep it with all that drew it. Raises Refused with every fault beside its field."""
    among = population(db, new.selected)
    title, seed = tidy(new.title), tidy(new.seed)
    checklist = [*_chosen(new.points), *_own(new.own_points)]
    faults = [*_wrong_words(title, seed), *_wrong_size(new.size, len(among))]
    if not checklist:
        faults.append(Fault("points", "want one point at least"))
    if len(set(new.own_points)) < len(new.own_points):
        faults.append(Fault("own_points", "the same point is given twice"))
    if len(new.own_points) > MOST_OWN_POINTS:
        faults.append(Fault("own_points", f"want {MOST_OWN_POINTS} at most"))
    if faults:
        raise Refused.because(faults)
    if not any(party.id == party_id for party in facilities.own_parties(db)):
        raise NotFound("There is no such company.")
    note(db, "audit.drawn", ("party", party_id))
    at = new.selected.at
    row = Audit(
        party_id=party_id, title=title, in_words=new.selected.in_words,
        selection={"of": new.selected.of, "asked": dict(new.selected.asked)},
        as_of=at.as_of if at else stamp.today, known_at=(at and at.known_at) or stamp.at,
        population=len(among), names=auditing.packed([name for name, _ in among]),
        size=new.size, seed=seed, checklist=[asdict(each) for each in checklist],
        recorded_at=stamp.at, recorded_by=stamp.by,
    )  # fmt: skip
    db.add(row)
    db.flush()  # its cars are to name it
    db.add_all(_rows(row.id, drawn(seed, among, new.size)))
    db.flush()
    return row


def _rows(audit_id: int, chosen: Sequence[Drawn]) -> Iterable[AuditCar]:
    for place, (name, key) in enumerate(chosen, start=1):
        mark, number = name.split(" ")
        yield AuditCar(audit_id=audit_id, car_id=key, place=place, mark=mark, number=int(number))


def _chosen(ids: Sequence[str]) -> list[Point]:
    return [each for each in built_in_points() if each.id in ids]


def _own(asked: Sequence[str]) -> list[Point]:
    return [Point(f"own-{place}", text, "", OWN) for place, text in enumerate(asked, start=1)]


def _wrong_words(title: str, seed: str) -> Iterable[Fault]:
    if not 1 <= len(title) <= LONGEST_WORDS:
        yield Fault("title", f"want a title of 1 to {LONGEST_WORDS} characters")
    if not 1 <= len(seed) <= LONGEST_SEED:
        yield Fault("seed", f"want a seed of 1 to {LONGEST_SEED} characters")
    elif not (seed.isascii() and seed.isprintable()):
        yield Fault("seed", "want letters, digits and signs that every keyboard has")


def _wrong_size(size: int, many: int) -> Iterable[Fault]:
    if not many:
        yield Fault("size", "no car answers to the selection, so there is nothing to draw from")
    elif not 1 <= size <= min(many, MOST_CARS):
        yield Fault("size", f"{size}; want 1 to {min(many, MOST_CARS)} of the {many} cars")


def points_of(audit: Audit) -> list[Point]:
    """The checklist as it was kept with the draw."""
    return [Point(**each) for each in audit.checklist]


# The checklist of a car -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Given:
    """An answer to a point, with a note."""

    answer: str
    note: str = ""


def answer(db: Session, audit_car_id: int, given: Mapping[str, Given], stamp: Stamp) -> int:
    """Keep those answers that differ from what counts; how many. Raises Refused beside the points' names."""
    audit, car = auditing.drawn_car_or_raise(db, audit_car_id)
    known = {each.id for each in points_of(audit)}
    faults = [
        Fault(f"answer.{point}", f"{each.answer!r} is none of the choices")
        for point, each in given.items()
        if point not in known or each.answer not in ANSWERS
    ]
    faults += [
        Fault(f"note.{point}", "say in a few words what does not conform")
        for point, each in given.items()
        if each.answer == "does_not" and not each.note.strip()
    ]
    if faults:
        raise Refused.because(faults)
    counts = auditing.answers(db, audit.id, car.id).get(car.id, {})
    fresh = {point: each for point, each in given.items() if _differs(counts.get(point), each)}
    if fresh:
        note(db, "audit.answered", ("party", audit.party_id))
    db.add_all(
        AuditAnswer(
            audit_car_id=car.id, point=point, answer=each.answer, note=each.note.strip(),
            recorded_at=stamp.at, recorded_by=stamp.by,
        )
        for point, each in fresh.items()
    )  # fmt: skip
    db.flush()
    return len(fresh)


def _differs(held: AuditAnswer | None, given: Given) -> bool:
    if held is None:
        return given.answer != "not_looked_at" or bool(given.note.strip())
    return (held.answer, held.note) != (given.answer, given.note.strip())


def seen_from(audit: Audit) -> Standpoint:
    """The day and the moment from which the cars of a sample are looked at, whenever that is done."""
    return Standpoint(audit.as_of, audit.known_at)


def says(db: Session, audit: Audit, car: AuditCar) -> dict[str, Says]:
    """By point what the register says of a drawn car, as known when it was drawn; none where it is not reached."""
    if not cars.reached(db, car.car_id):
        return {}
    known = on_record(db, car.car_id, seen_from(audit))
    found = {each.id: register_says(each, known) for each in points_of(audit)}
    return {point: said for point, said in found.items() if said}


def on_record(db: Session, car_id: int, at: Standpoint) -> OnRecord:
    """What was on record of a car that the session reaches."""
    record = looking_back.record_of(db, car_id, at)
    programme = rulebooks.in_force(db, at.known_at)
    answered = programme.whole_answer(record, at.as_of).answer
    mounted = car_as_known.on_car(car_as_known.mounted_history(db, car_id, at))
    kinds = {each.component.kind for each in mounted}
    rulebook = programme.of(record.owner_id).rulebook
    return OnRecord(
        day=at.as_of,
        answer=answered,
        last=[each for each in auditing.last_done(db, car_id, at) if each.item not in MECHANICAL],
        devices=[(each.label, each.device) for each in record.relief_devices],
        contradictions=contradictions.of_car(record.car, record.events, kinds, rulebook),
        unexplained=auditing.unexplained(db, car_id, at),
    )


# Findings ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NewFinding:
    """What is wrong; `severity` is one of `store.audits.SEVERITIES`, and only a remark needs no day."""

    what: str
    severity: str
    due_on: date | None = None
    responsible: str = ""
    audit_car_id: int | None = None
    point: str | None = None


def find(db: Session, audit_id: int, new: NewFinding, stamp: Stamp) -> AuditFinding:
    """Keep a finding. Raises Refused beside its fields, NotFound for a car of another sample."""
    audit = auditing.audit_or_raise(db, audit_id)
    if new.audit_car_id is not None:
        of_audit, _ = auditing.drawn_car_or_raise(db, new.audit_car_id)
        if of_audit.id != audit.id:
            raise NotFound(f"There is no car with the number {new.audit_car_id} in this sample.")
    faults = [*_wrong_finding(audit, new)]
    if faults:
        raise Refused.because(faults)
    note(db, "audit.found", ("party", audit.party_id))
    row = AuditFinding(
        audit_id=audit.id, audit_car_id=new.audit_car_id, point=new.point, what=new.what.strip(),
        severity=new.severity, due_on=new.due_on, responsible=tidy(new.responsible),
        recorded_at=stamp.at, recorded_by=stamp.by,
    )  # fmt: skip
    db.add(row)
    db.flush()
    return row


def _wrong_finding(audit: Audit, new: NewFinding) -> Iterable[Fault]:
    if not new.what.strip():
        yield Fault("what", "say what is wrong")
    if new.severity not in SEVERITIES:
        yield Fault("severity", "choose how bad it is")
    elif new.severity != "remark" and new.due_on is None:
        yield Fault("due_on", "want the day until which it is to be mended")
    if new.due_on is not None and new.due_on < _draw_began(audit):
        yield Fault("due_on", f"{new.due_on} lies before the draw, on {audit.recorded_at:%Y-%m-%d}")
    if new.severity != "remark" and not tidy(new.responsible):
        yield Fault("responsible", "want who sees to it")
    if len(tidy(new.responsible)) > LONGEST_WORDS:
        yield Fault("responsible", f"want {LONGEST_WORDS} characters at most")
    if new.point is not None and new.point not in {each.id for each in points_of(audit)}:
        yield Fault("point", "is no point of this audit")


@dataclass(frozen=True, slots=True)
class NewStep:
    """A finding is closed, with what was done on which day and the proof of it, or opened again with why."""

    step: Step
    said: str
    evidence: str = ""
    done_on: date | None = None


def take_step(db: Session, finding_id: int, new: NewStep, stamp: Stamp) -> FindingShown:
    """Close a finding or open it again. Raises Refused beside its fields, Conflict where it is so already."""
    auditing.hold_finding(db, finding_id)
    found = auditing.finding_or_raise(db, finding_id)
    closing = new.step == "closed"
    if found.open != closing:
        raise Conflict(f"The finding is {'closed' if closing else 'open'} already.")
    faults = [*_wrong_step(found.audit, new, stamp.today)]
    if faults:
        raise Refused.because(faults)
    note(db, f"audit.finding_{new.step}", ("party", found.audit.party_id))
    db.add(
        AuditFindingStep(
            finding_id=finding_id, step=new.step, said=new.said.strip(), evidence=new.evidence.strip(),
            done_on=new.done_on, recorded_at=stamp.at, recorded_by=stamp.by,
        )
    )  # fmt: skip
    db.flush()
    return auditing.finding_or_raise(db, finding_id)


def _wrong_step(audit: Audit, new: NewStep, today: date) -> Iterable[Fault]:
    if new.step == "reopened":
        if not new.said.strip():
            yield Fault("said", "say why it is open again")
        return
    if not new.said.strip():
        yield Fault("said", "say what was done")
    if not new.evidence.strip():
        yield Fault("evidence", "say where the proof of it is")
    if new.done_on is None:
        yield Fault("done_on", "want the day on which it was mended")
    elif new.done_on > today:
        yield Fault("done_on", f"{new.done_on} is after today, {today}")
    elif new.done_on < _draw_began(audit):
        yield Fault(
            "done_on", f"{new.done_on} lies before the draw, on {audit.recorded_at:%Y-%m-%d}"
        )


def _draw_began(audit: Audit) -> date:
    """The first day that can be the one of the draw: where it was drawn it can be a day less than in UTC."""
    return (audit.recorded_at - timedelta(days=1)).date()


# The summary ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PointSummed:
    """How many cars of the sample have each answer to a point."""

    point: Point
    counts: Mapping[str, int]

    @property
    def looked_at(self) -> int:
        """Cars of which the point was answered, those to which it does not apply among them."""
        return sum(many for word, many in self.counts.items() if word != "not_looked_at")


@dataclass(frozen=True, slots=True)
class Summary:
    """An audit as a whole: its cars, what counts of each, the points summed, and its findings.

    `begun` counts the cars of which a point was looked at, `judged` those of which one applies. `most_wrong` is how
    many cars of all drawn from may have a point that does not conform, at most and with `CONFIDENCE` percent, by
    the cars that were judged; None until every point of every car was looked at.
    """

    audit: Audit
    cars: Sequence[AuditCar]
    answers: Answers
    points: Sequence[PointSummed]
    findings: Sequence[FindingShown]
    wrong: int
    done: int
    begun: int
    judged: int
    most_wrong: int | None

    def left(self, car: AuditCar) -> int:
        """How many points of a car were not looked at yet."""
        return _left(self.answers, car, len(self.points))


def summed(db: Session, audit_id: int) -> Summary:
    audit = auditing.audit_or_raise(db, audit_id)
    sample, counts = auditing.drawn(db, audit_id), auditing.answers(db, audit_id)
    points = points_of(audit)
    wrong = _with_any(sample, counts, "does_not")
    judged = _with_any(sample, counts, "does_not", "conforms")
    begun = _with_any(sample, counts, "does_not", "conforms", "not_applicable")
    done = sum(not _left(counts, car, len(points)) for car in sample)
    known = judged > 0 and done == len(sample)
    return Summary(
        audit, sample, counts, [_summed(each, sample, counts) for each in points],
        auditing.findings(db, audit_id), wrong, done, begun, judged,
        at_most_wrong(audit.population, judged, wrong, CONFIDENCE) if known else None,
    )  # fmt: skip


def _with_any(sample: Sequence[AuditCar], answers: Answers, *words: AnswerWord) -> int:
    """How many cars have one of these answers to a point."""
    return sum(
        any(each.answer in words for each in answers.get(car.id, {}).values()) for car in sample
    )


def _left(answers: Answers, car: AuditCar, points: int) -> int:
    held = answers.get(car.id, {}).values()
    return points - sum(each.answer != "not_looked_at" for each in held)


def _summed(point: Point, sample: Sequence[AuditCar], answers: Answers) -> PointSummed:
    found: Counter[str] = Counter(
        held.answer if (held := answers.get(car.id, {}).get(point.id)) else "not_looked_at"
        for car in sample
    )
    return PointSummed(point, {word: found[word] for word in ANSWERS})
