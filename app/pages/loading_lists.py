"""May many cars be loaded: a train's list answered in one go, lists to print, and what was asked before."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.actions import may_load
from app.actions.may_load import MOST_CARS, WITHIN_DAYS, Asked, When
from app.core.facts import Reason
from app.core.loading import CAUTION
from app.core.moving import OPEN
from app.errors import Refused
from app.files import sheets, train_list
from app.files.days import day
from app.files.lists_out import LOADING
from app.files.tables_out import Value
from app.pages import filters
from app.pages.exports import Table, as_asked
from app.pages.loading import within_days
from app.store import bearers, car_counts, ladings, loading
from app.store.loading import UNANSWERED, LoadingQuestion
from app.store.names import EVERY_NAME

router = APIRouter(prefix="/loading")

VERDICT_WORDS = {
    "may_load": "May be loaded",
    "check": "Check before loading",
    "may_not_load": "May not be loaded",
    None: "No answer",
}
VERDICTS = tuple((verdict or UNANSWERED, words) for verdict, words in VERDICT_WORDS.items())
FIELDS = ("cars", "q", "region", "lading", "on", "within")
NAMES = ("q", "verdict", "on")


@dataclass(frozen=True, slots=True)
class Line:
    """A question with its answer, as a list shows it: the words that were given then.

    `car` is the one that was answered for, "" where there was none.
    """

    row: LoadingQuestion
    car: str
    verdict: str
    reasons: Sequence[Reason]
    soon: Sequence[Reason]
    warnings: Sequence[Reason]
    moving: Sequence[tuple[str, Sequence[Reason]]]

    @classmethod
    def of(cls, row: LoadingQuestion) -> Line:
        told = row.told
        return cls(
            row,
            told.get("car", ""),
            VERDICT_WORDS[row.verdict],
            _reasons(told.get("reasons", [{"text": told.get("problem", "")}])),
            _reasons(told.get("soon", ())),
            _reasons(told.get("warnings", ())),
            [(each["situation"], _reasons(each["reasons"])) for each in told.get("moving", ())],
        )

    @property
    def commodity(self) -> str:
        """The lading that was answered for."""
        return self.row.told.get("commodity") or self.row.lading


def _reasons(told: Iterable[dict[str, str | None]]) -> list[Reason]:
    return [Reason(**each) for each in told]  # type: ignore[arg-type]


# Asking -----------------------------------------------------------------------------------------------------------


@router.get("/many")
@web.may("load_check")
def many(request: Request, db: web.Db, today: web.Today) -> Response:
    return _form(request, db, {"on": today.isoformat(), "within": str(WITHIN_DAYS)})


@router.post("/many")
@web.may("load_check")
def ask_many(
    request: Request, posted: web.Posted, opening: web.Opening, stamp: web.Stamped
) -> Response:
    """Answer every car of what was pasted, handed in or chosen; the list then has an address of its own."""
    asked = filters.Asked({name: posted.one(name) for name in FIELDS if posted.one(name)})
    when = When(asked.read("on", day) or stamp.today, within_days(asked))
    try:
        asked.refuse()
        with opening.reading() as db:
            questions = _questions(db, posted, asked)
        _, key = may_load.answered_and_kept(
            opening.reading, opening.writing, questions, when, stamp
        )
    except Refused as wrong:
        with opening.reading() as db:
            return _form(request, db, asked.values, asked.problems or {"cars": str(wrong)})
    return web.see_other(f"/loading/lists/{key}")


def _questions(db: web.Db, posted: web.Sent, asked: filters.Asked) -> list[Asked]:
    """Cars that are pasted and those of a file, in their order; else those that are chosen."""
    file = posted.file("file")
    lines = train_list.of_text(posted.one("cars"))
    if file is not None:
        lines += train_list.of_sheet(sheets.read(file.filename or "file", file.file.read()))
    lines = lines or _chosen(db, asked)
    if not lines:
        raise Refused("No car was named. Paste a list, choose a file, or say which cars.")
    lading = asked.values.get("lading", "")
    return [Asked(car, to_load or lading) for car, to_load in lines]


def _chosen(db: web.Db, asked: filters.Asked) -> list[train_list.CarAndLading]:
    search, region = asked.prefix("q"), asked.values.get("region")
    if search == EVERY_NAME and not region:
        return []
    found = bearers.names_in_record(db, search, region, MOST_CARS + 1)
    if not found:
        raise Refused("No car of the register begins so, in that region.")
    return [(f"{mark} {number}", "") for mark, number in found]


def _form(
    request: Request,
    db: web.Db,
    typed: Mapping[str, str],
    problems: Mapping[str, str] | None = None,
) -> Response:
    return web.page(
        request,
        "loading/many.html",
        422 if problems else 200,
        asked=typed,
        problems=problems or {},
        regions=[(region, region) for region in car_counts.regions(db)],
        listed=[(each.name, each.un or "") for each in ladings.all(db)],
        most=MOST_CARS,
    )


# A list that was answered -----------------------------------------------------------------------------------------


# The files first: a key with its ending would pass for a key.
@router.get("/lists/{list_key}.csv")
@router.get("/lists/{list_key}.xlsx")
@router.get("/lists/{list_key}.json")
@web.may("load_check")
def list_file(request: Request, list_key: str, db: web.Db) -> Response:
    return as_asked(request, _table(loading.of_list(db, list_key)))


@router.get("/lists/{list_key}")
@web.may("load_check")
def one_list(request: Request, list_key: str, db: web.Db) -> Response:
    lines = [Line.of(row) for row in loading.of_list(db, list_key)]
    counts = Counter(line.row.verdict for line in lines)
    return web.page(
        request,
        "loading/list.html",
        key=list_key,
        lines=lines,
        first=lines[0].row,
        counts=[
            (words, counts[verdict]) for verdict, words in VERDICT_WORDS.items() if counts[verdict]
        ],
        open_in_the_rule=OPEN,
        caution=CAUTION,
    )


# What was asked before --------------------------------------------------------------------------------------------


@router.get("/asked")
@web.may("load_check")
def asked_before(request: Request, db: web.Db, after: str = "") -> Response:
    asked, wanted = _wanted(request)
    found = None if asked.problems else loading.page(db, wanted, after or None)
    return web.page(
        request,
        "loading/asked.html",
        422 if asked.problems else 200,
        asked=asked.values,
        problems=asked.problems,
        after=after,
        found=found,
        lines=[Line.of(row) for row in found.rows] if found else [],
        verdicts=VERDICTS,
    )


@router.get("/asked.csv")
@router.get("/asked.xlsx")
@router.get("/asked.json")
@web.may("load_check")
def asked_file(request: Request, db: web.Db) -> Response:
    asked, wanted = _wanted(request)
    asked.refuse()
    return as_asked(request, _table(loading.each(db, wanted)))


def _wanted(request: Request) -> tuple[filters.Asked, loading.Wanted]:
    asked = filters.Asked.of(request.query_params, NAMES)
    return asked, loading.Wanted(
        asked.prefix("q"), asked.one_of("verdict", VERDICTS), asked.day("on")
    )


def _table(rows: Iterable[LoadingQuestion]) -> Table:
    cells = (_cells(Line.of(row)) for row in rows)
    return Table("loading-answers", "May they be loaded", LOADING.columns, cells)


def _cells(line: Line) -> Sequence[Value]:
    row = line.row
    return (
        row.asked, line.car, line.commodity, line.verdict, _joined(line.reasons), _joined(line.warnings),
        row.through, _joined(line.soon), _joined(each for _, reasons in line.moving for each in reasons),
        row.on_day, row.within_days, row.recorded_at,
        row.recorded_by,
    )  # fmt: skip


def _joined(reasons: Iterable[Reason]) -> str:
    return ". ".join(
        f"{each.text} ({each.citation})" if each.citation else each.text for each in reasons
    )
