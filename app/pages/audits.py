"""Audits of a sample of cars: the list, a new draw, one with its progress, its summary, what it was drawn from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from secrets import randbelow
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import audits as actions
from app.actions.audits import CONFIDENCE, NewAudit, Summary
from app.actions.standpoint import Lookback, in_text
from app.core.audit.points import ANSWERS
from app.core.audit.sampling import METHOD, discovery_size, place_of, wrong_ones
from app.errors import Problem
from app.files.lists_out import DRAWN_FROM
from app.files.tables_out import Sheet, Value, plain
from app.pages import forms
from app.pages.audit_selection import LISTS, Chosen, address_then, chosen
from app.pages.changing import Looking, faults_of
from app.pages.due import CARS_CHOICES, ITEM_CHOICES, RULE_CHOICES
from app.pages.exports import Table, as_asked, as_workbook
from app.pages.fleet import STANDING_CHOICES
from app.pages.forms import Entries
from app.pages.plan_basis import planning_party
from app.rules.audit_points import built_in_points
from app.store import auditing, facilities, planning
from app.store.audits import Audit

router = APIRouter()

# Which sample sizes the form tells beside one another.
CONFIDENCES = (90, 95, 99)
PERCENTS = (Decimal(1), Decimal(2), Decimal(5), Decimal(10))
USUAL = Decimal(5)
NAMES = ("title", "size", "seed", "points", "own_points")
ANSWER_WORDS: Mapping[str, str] = {
    "conforms": "conforms",
    "does_not": "does not conform",
    "not_applicable": "does not apply",
    "not_looked_at": "not looked at",
}
SEVERITY_WORDS: Mapping[str, str] = {
    "stop": "May not be used until it is mended",
    "mend": "To be mended by a day",
    "remark": "Remark, nothing has to be mended",
}
SAVED = {"drawn": "The sample is drawn, and kept as it was drawn."}


@router.get("/audits")
@web.may("record_work")
def listed(request: Request, db: web.Db) -> Response:
    return web.page(request, "audits/list.html", audits=auditing.audits(db))


@router.get("/audits/new")
@web.may("record_facts", looks_back=True)
def new(request: Request, db: web.Db) -> Response:
    """The form; with a filter in the address, how many cars it would be drawn from."""
    asked = {name: [text] for name, text in request.query_params.items()}
    started = {
        "seed": str(randbelow(900_000_000) + 100_000_000),
        "points": [each.id for each in built_in_points()],
        "party": str(planning.usual_party(db)),
    }
    entries = Entries({**forms.filled(started).typed, **asked})
    return _form(request, db, entries, chosen(request, db, request.query_params))


@router.post("/audits")
@web.may("record_facts")
def draw(request: Request, posted: web.Posted, db: web.Db, looking: Looking) -> Response:
    entries = Entries(forms.typed(posted))
    of = chosen(request, db, {name: posted.one(name) for name in posted})
    if of.asked.problems:
        return _form(request, db, entries, of, 422)
    wanted = NewAudit(
        posted.one("title"), of.selected, forms.whole(posted.one("size")) or 0, posted.one("seed"),
        tuple(entries.chosen("points")), _lines(posted.one("own_points")),
    )  # fmt: skip
    try:
        made = actions.draw(db, planning_party(db, posted), wanted, looking.stamp)
    except Problem as problem:
        db.rollback()
        said = forms.beside(faults_of(problem), NAMES)
        return _form(request, db, entries.wrong(said), of, 422)
    return web.see_other(f"/audits/{made.id}?saved=drawn")


def _lines(text: str) -> tuple[str, ...]:
    return tuple(line.strip() for line in text.splitlines() if line.strip())


def _form(
    request: Request, db: Session, entries: Entries, of: Chosen, status: int = 200
) -> Response:
    many = _how_many(db, of)
    sizes = _sizes(many) if many else []
    suggested = discovery_size(many, CONFIDENCE, USUAL) if many else ""
    return web.page(
        request, "audits/new.html", 422 if of.asked.problems else status,
        of=of, form=entries.more({"size": str(suggested)}), many=many, sizes=sizes,
        confidences=CONFIDENCES, lists=LISTS, method=METHOD, points=built_in_points(),
        standings=STANDING_CHOICES, items=ITEM_CHOICES, rules=RULE_CHOICES, which_cars=CARS_CHOICES,
        party_choices=[(party.id, party.name) for party in facilities.own_parties(db)],
    )  # fmt: skip


def _how_many(db: Session, of: Chosen) -> int:
    """How many cars would be drawn from; none, with why beside its field, where they cannot be told."""
    if of.asked.problems:
        return 0
    try:
        return len(actions.population(db, of.selected))
    except Problem as too_many:
        of.asked.problems["owner"] = str(too_many)
        return 0


def _sizes(many: int) -> list[tuple[Decimal, int, list[int]]]:
    """For each share of wrong cars how many cars that are, and the sample for each confidence."""
    return [
        (percent, wrong_ones(many, percent), [discovery_size(many, each, percent) for each in CONFIDENCES])
        for percent in PERCENTS
    ]  # fmt: skip


@router.get("/audits/{audit_id}")
@web.may("record_work")
def show(request: Request, audit_id: web.Key, db: web.Db, today: web.Today) -> Response:
    found = actions.summed(db, audit_id)
    return web.page(
        request, "audits/show.html", summary=found, audit=found.audit, method=METHOD, today=today,
        list_then=list_then(request, found.audit, today), severities=SEVERITY_WORDS,
        saved=SAVED.get(request.query_params.get("saved", ""), ""),
    )  # fmt: skip


def back_to(request: Request, audit: Audit, today: date) -> Lookback:
    """From where the cars of a sample are seen: the day and the moment of its draw."""
    zone = ZoneInfo(request.app.state.settings.time_zone)
    known = in_text(audit.known_at.astimezone(zone))
    return Lookback(actions.seen_from(audit), today, zone, known)


def list_then(request: Request, audit: Audit, today: date) -> str:
    """Where the list stands that a sample was drawn from, as it was then."""
    of, asked = audit.selection["of"], audit.selection["asked"]
    return address_then(of, asked, back_to(request, audit, today).query)


@router.get("/audits/{audit_id}/population.csv")
@router.get("/audits/{audit_id}/population.xlsx")
@router.get("/audits/{audit_id}/population.json")
@web.may("record_work")
def population(request: Request, audit_id: web.Key, db: web.Db) -> Response:
    """The cars drawn from with what they are sorted by, in that order, so that the draw can be done again."""
    audit = auditing.audit_or_raise(db, audit_id)
    names = auditing.names_drawn_from(db, audit_id)
    rows = _sorted(audit, names)
    name = f"audit-{audit_id}-drawn-from"
    return as_asked(request, Table(name, "Drawn from", DRAWN_FROM.columns, rows))


def _sorted(audit: Audit, names: Sequence[str]) -> Iterator[Sequence[str | int | bool]]:
    keyed = sorted((place_of(audit.seed, name), name) for name in names)
    for place, (key, name) in enumerate(keyed, start=1):
        mark, number = name.split(" ")
        yield place, mark, int(number), key, place <= audit.size


@router.get("/audits/{audit_id}/summary")
@web.may("record_work")
def summary(request: Request, audit_id: web.Key, db: web.Db, today: web.Today) -> Response:
    found = actions.summed(db, audit_id)
    return web.page(
        request, "audits/summary.html", summary=found, audit=found.audit, method=METHOD,
        today=today, words=ANSWER_WORDS, answers=ANSWERS, severities=SEVERITY_WORDS,
        confidence=CONFIDENCE,
    )  # fmt: skip


@router.get("/audits/{audit_id}/summary.xlsx")
@web.may("record_work")
def summary_xlsx(audit_id: web.Key, db: web.Db) -> Response:
    found = actions.summed(db, audit_id)
    sheets = [_about(found), _answers(found), _findings(found)]
    return as_workbook(f"audit-{audit_id}", sheets)


def _about(found: Summary) -> Sheet:
    audit = found.audit
    rows: list[tuple[str, Value]] = [
        ("title", audit.title), ("drawn from", audit.in_words), ("as of", audit.as_of),
        ("as known at", in_text(audit.known_at)), ("cars drawn from", audit.population),
        ("sample", audit.size), ("seed", audit.seed), ("method", METHOD),
        ("drawn at", audit.recorded_at), ("drawn by", audit.recorded_by),
        ("cars looked at", found.done), ("cars that do not conform", found.wrong),
        (f"of all at most, with {CONFIDENCE} percent", found.most_wrong),
    ]  # fmt: skip
    return Sheet("Audit", plain("what", "is"), rows)


def _answers(found: Summary) -> Sheet:
    header = plain(
        "place", "mark", "number", "point", "citation", "answer", "note", "answered_at", "answered_by",
    )  # fmt: skip
    return Sheet("Answers", header, _answer_rows(found))


def _answer_rows(found: Summary) -> Iterator[Sequence[Value]]:
    for car in found.cars:
        for each in found.points:
            held = found.answers.get(car.id, {}).get(each.point.id)
            told = (
                (ANSWER_WORDS[held.answer], held.note, held.recorded_at, held.recorded_by)
                if held else (ANSWER_WORDS["not_looked_at"], None, None, None)
            )  # fmt: skip
            yield (car.place, car.mark, car.number, each.point.asks, each.point.citation, *told)


def _findings(found: Summary) -> Sheet:
    header = plain(
        "number", "car", "what", "severity", "due_on", "responsible", "found_by", "state",
        "mended_on", "said", "evidence", "by",
    )  # fmt: skip
    rows: list[Sequence[Value]] = []
    for each in found.findings:
        last = each.steps[-1] if each.steps else None
        rows.append((
            each.row.id, each.car.name if each.car else None, each.row.what,
            SEVERITY_WORDS[each.row.severity], each.row.due_on, each.row.responsible,
            each.row.recorded_by, "open" if each.open else "closed",
            *((last.done_on, last.said, last.evidence, last.recorded_by) if last else (None,) * 4),
        ))  # fmt: skip
    return Sheet("Findings", header, rows)
