"""The morning list: what changed since yesterday, what is overdue, due soon, due now, and what cannot be dated."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import islice
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import morning
from app.actions.morning import CHANGES, MOST_COUNTED, PARTS, STANDING, Part, View
from app.files import lists_out
from app.pages.choices import choices
from app.pages.due import ITEM_CHOICES, cells
from app.pages.exports import Table, as_asked
from app.pages.filters import Asked
from app.pages.morning_kept import SAVED
from app.pages.morning_lines import Line, lines
from app.store import due_before, mornings, told_orders, watching
from app.store.due import DueFilter, DueListRow
from app.store.mornings import Beside
from app.store.paging import Page
from app.store.watching import ListShown

router = APIRouter()

NAMES = ("q", "owner", "item", "region", "list", "answers", "within", "since", "seen")
BESIDE = ("saved",)
WITHIN, DAYS = 30, (7, 14, 30, 60, 90, 180)
DAY_CHOICES = tuple((str(days), f"{days} days") for days in DAYS)
SEEN_CHOICES = (("yes", "with lines set aside"),)
FEW, PAGE = 5, 50
HEADINGS: dict[Part, str] = {
    "passed": "Became overdue",
    "moved": "Moved by what was recorded",
    "nearing": "Came within {days} days",
    "overdue": "Overdue",
    "within": "Due within {days} days",
    "due_now": "Due now, by an event",
    "unknown": "Cannot be dated, for lack of a fact",
}
SHORT: dict[Part, str] = {
    "overdue": "Overdue", "within": "Due soon", "due_now": "Due now", "unknown": "Undated",
}  # fmt: skip
# What a heading leaves open.
LEADS: dict[Part, str] = {
    "passed": "Their day passed since then.",
    "moved": "By an inspection, a change, a correction, another lading, a car that came in.",
    "nearing": "",
    "overdue": "",
    "within": "",
    "due_now": "A failure or a change owes them, whatever the calendar says.",
    "unknown": "State the fact that lacks, and it is dated at once.",
}


@dataclass
class Wanted:
    """What is asked of the morning list: the fields as typed, what is looked at, the choices given, what there is."""

    request: Request
    db: Session
    asked: Asked
    view: View
    choices: dict[str, Any]
    lists: Sequence[ListShown]
    beside: Beside


def wanted(request: Request, db: web.Db, today: web.Today) -> Wanted:
    asked = Asked.of(request.query_params, NAMES, BESIDE)
    given = choices(request, db)
    lists, beside = watching.lists(db), mornings.beside(db, today)
    mine = [(str(each.row.id), each.row.name) for each in lists]
    people = [(str(key), name) for key, name in watching.colleagues(db)]
    owner_id = asked.key("owner", given.owners)
    days = asked.one_of("within", DAY_CHOICES)
    seen = DueFilter(
        as_of=today,
        soon_days=int(days) if days else WITHIN,
        owner_id=owner_id,
        owner=given.owner(owner_id),
        item=asked.one_of("item", ITEM_CHOICES),
        region=asked.one_of("region", given.regions),
        search=asked.prefix("q"),
        aside=None if asked.one_of("seen", SEEN_CHOICES) or not beside.some_aside else False,
    )
    list_id, person_id = asked.key("list", mine), asked.key("answers", people)
    if list_id is not None and person_id is not None:
        asked.problems["list"] = "Choose a saved list, or a person who answers, not both."
    elif list_id is not None:
        seen = morning.on_list(db, seen, list_id)
    elif person_id is not None:
        seen = morning.answered_by(seen, person_id, lists)
    view = morning.view(seen, _since(asked, today))
    offered = {"owners": given.owners, "regions": given.regions, "lists": mine, "people": people}
    return Wanted(request, db, asked, view, offered, lists, beside)


Seen = Annotated[Wanted, Depends(wanted)]


def _since(asked: Asked, today: date) -> date | None:
    since, first = asked.day("since"), today - due_before.KEPT_FOR
    if since is not None and not first <= since <= today:
        asked.problems["since"] = f"Want a day from {first} to {today}: so far back it is kept."
        return None
    return since


@router.get("/morning")
@web.may("watch")
def morning_list(at: Seen) -> Response:
    wrong = bool(at.asked.problems)
    asked, aside = ({}, 0) if wrong else _parts(at)
    return web.page(
        at.request,
        "morning/show.html",
        422 if wrong else 200,
        **_around(at),
        changes=[asked[part] for part in CHANGES if part in asked],
        standing=[asked[part] for part in STANDING if part in asked],
        aside=aside,
        owners=[] if wrong else morning.by_owner(at.db, at.view),
        people=[] if wrong else morning.by_person(at.db, at.view, at.lists),
        told_orders=[] if wrong else told_orders.waiting(at.db),
        beside=at.beside,
        saved=SAVED.get(at.request.query_params.get("saved", "")),
    )


@router.get("/morning.csv")
@router.get("/morning.xlsx")
@router.get("/morning.json")
@web.may("watch")
def morning_file(at: Seen) -> Response:
    return as_asked(at.request, _table(at))


@router.get("/morning/parts/{part}")
@web.may("watch")
def part(part: Part, at: Seen) -> Response:
    """One part of the morning list, page by page."""
    after = at.request.query_params.get("after") or None
    wrong = bool(at.asked.problems)
    return web.page(
        at.request,
        "morning/part.html",
        422 if wrong else 200,
        **_around(at),
        part=None if wrong else _shown(at, part, after, PAGE),
        heading=_heading(at, part),
        address=f"/morning/parts/{part}",
        after=after,
    )


@dataclass(frozen=True, slots=True)
class PartShown:
    """A part: how many lines it has, and a page of them; `capped` where there are at least so many."""

    name: Part
    heading: str
    count: int
    rows: Sequence[Any]
    previous: str | None
    next_after: str | None

    @property
    def short(self) -> str:
        return SHORT[self.name]

    @property
    def lead(self) -> str:
        return LEADS[self.name]

    @property
    def capped(self) -> bool:
        return self.name == "moved" and self.count >= MOST_COUNTED


def _parts(at: Wanted) -> tuple[dict[Part, PartShown], int]:
    """Every part with its first lines, whose cars and reasons are asked for together; and how many are set aside."""
    counts, aside = morning.counts(at.db, at.view)
    pages = morning.first_lines(at.db, at.view, FEW)
    every = [row for page in pages.values() for row in page.rows]
    made = iter(_lines(at, every))
    found = {
        part: _part(at, part, counts[part], page, tuple(islice(made, len(page.rows))))
        for part, page in pages.items()
    }
    return found | {"moved": _moved(at, counts["moved"], None, FEW)}, aside


def _shown(at: Wanted, part: Part, after: str | None, limit: int) -> PartShown:
    count = morning.count(at.db, at.view, part)
    if part == "moved":
        return _moved(at, count, after, limit)
    found = morning.lines(at.db, at.view, part, after, limit)
    return _part(at, part, count, found, _lines(at, found.rows))


def _lines(at: Wanted, rows: Sequence[DueListRow]) -> list[Line]:
    aside = at.beside.some_aside and at.view.seen.aside is None
    return lines(at.db, rows, at.view.seen.as_of, aside=aside)


def _moved(at: Wanted, count: int, after: str | None, limit: int) -> PartShown:
    moves = morning.moved(at.db, at.view, count, after, limit)
    return _part(at, "moved", count, moves, moves.rows)


def _part(at: Wanted, part: Part, count: int, page: Page[Any], rows: Sequence[Any]) -> PartShown:
    return PartShown(part, _heading(at, part), count, rows, page.previous, page.next_after)


def _heading(at: Wanted, part: Part) -> str:
    return HEADINGS[part].format(days=at.view.seen.soon_days)


def _around(at: Wanted) -> dict[str, Any]:
    seen = at.view.seen
    return {
        "asked": at.asked.values,
        "problems": at.asked.problems,
        "choices": at.choices,
        "items": ITEM_CHOICES,
        "day_choices": DAY_CHOICES,
        "today": seen.as_of,
        "since": at.view.since,
        "last": seen.as_of + timedelta(days=seen.soon_days),
        "days": seen.soon_days,
        "in_words": _in_words(at),
    }


def _in_words(at: Wanted) -> str:
    """What the list looks at, as a sentence."""
    asked = at.asked.values
    named = {key: dict(at.choices[key]) for key in ("lists", "people")}
    parts = [
        f"As of {at.view.seen.as_of}, looking {at.view.seen.soon_days} days ahead",
        asked.get("list") in named["lists"] and f"on the list “{named['lists'][asked['list']]}”",
        asked.get("answers") in named["people"]
        and f"for which {named['people'][asked['answers']]} answers",
        at.view.seen.owner and f"owner {at.view.seen.owner}",
        at.view.seen.item and at.view.seen.item.replace("_", " "),
        at.view.seen.region and f"region {at.view.seen.region}",
        asked.get("q") and f"mark and number beginning {asked['q']}",
        "cars in service",
    ]
    return ", ".join(part for part in parts if part) + "."


def _table(at: Wanted) -> Table:
    """Every line of every part, with the part that it stands in."""
    at.asked.refuse()
    name = f"morning-{at.view.seen.as_of}"
    return Table(name, "Morning list", lists_out.MORNING.columns, _cells(at))


def _cells(at: Wanted) -> Iterator[Sequence[Any]]:
    for part in PARTS:
        if part == "moved":
            yield from _moves(at)
        else:
            for row in morning.every_line(at.db, at.view, part):
                yield (part, *cells(row), None, None)


def _moves(at: Wanted) -> Iterator[Sequence[Any]]:
    """What moved: how it stands and stood, without what it was counted from."""
    for move in due_before.each_moved(at.db, at.view.seen, at.view.since):
        known = {name: getattr(move, name, None) for name in lists_out.DUE.names}
        yield ("moved", *known.values(), move.was, move.was_due_on)
