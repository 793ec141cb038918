"""What people keep beside the morning list: lines set aside as seen, and saved lists with who answers for them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import watching as actions
from app.actions.reasons import told
from app.core.words import words
from app.errors import NotFound, Problem
from app.files import cells, days
from app.pages import forms
from app.pages.changing import Looking, faults_of, kept
from app.pages.choices import choices
from app.pages.due import ITEM_CHOICES, RULE_CHOICES
from app.pages.filters import Asked
from app.pages.forms import Entries, Field
from app.store import aside, due, watching
from app.store.due import DueListRow
from app.store.watching import ASKED

router = APIRouter()

LISTS = "/morning/lists"
ASIDE = (
    Field("until_on", "Until", days.day, "It comes back on this day, at the latest after 92 days, or as soon as "
          "its date or its status is another", "day", (), True),
    Field("reason", "Why it can wait", cells.notes, "Shown beside the line, with your name", "notes", (), True),
)  # fmt: skip
USUALLY_ASIDE = timedelta(days=14)
SAVED = {
    "aside": "The line is set aside.",
    "back": "The line stands in the list again.",
    "list": "The list was saved.",
    "answers": "Who answers for the list was kept.",
    "ended": "The list was removed.",
}
WHOSE: tuple[forms.Choice, ...] = (
    ("no", "Myself alone"),
    ("yes", "Everybody in my company who has the morning list"),
)


# Lines set aside ---------------------------------------------------------------------------------------------------


@router.get("/morning/seen/{car_id}/{item}")
@web.may("watch")
def aside_form(
    request: Request, car_id: web.Key, item: str, db: web.Db, today: web.Today
) -> Response:
    first = forms.filled({"until_on": today + USUALLY_ASIDE})
    return _aside(request, db, _row(db, car_id, item, today), first, today)


@router.post("/morning/seen/{car_id}/{item}")
@web.may("watch")
def set_aside(
    request: Request, car_id: web.Key, item: str, db: web.Db, posted: web.Posted, looking: Looking
) -> Response:
    row = _row(db, car_id, item, looking.stamp.today)
    values, entries = forms.read(ASIDE, forms.typed(posted))
    if entries.problems:
        return _aside(request, db, row, entries, looking.stamp.today, 422)
    until, reason = values["until_on"], values["reason"]
    made = kept(db, lambda: actions.set_aside(db, car_id, item, until, reason, looking.stamp))
    if isinstance(made, Problem):
        entries = entries.wrong(forms.beside(faults_of(made), values))
        return _aside(request, db, row, entries, looking.stamp.today, 422)
    return web.see_other("/morning?saved=aside")


@router.post("/morning/seen/{car_id}/{item}/back")
@web.may("watch")
def bring_back(car_id: web.Key, item: str, db: web.Db, looking: Looking) -> Response:
    actions.bring_back(db, car_id, item, looking.stamp)
    return web.see_other("/morning?saved=back")


def _row(db: Session, car_id: int, item: str, today: date) -> DueListRow:
    found = [each for each in due.for_car(db, car_id, today) if each.item == item]
    if not found:
        raise NotFound("This car has no such due item now. Load the list again.")
    return told(db, found, today)[0]


def _aside(
    request: Request, db: Session, row: DueListRow, entries: Entries, today: date, status: int = 200
) -> Response:
    held = aside.latest(db, [row.car_id], today)
    return web.page(
        request, "morning/aside.html", status, row=row, entries=entries, fields=ASIDE,
        held=held.get((row.car_id, row.item)),
    )  # fmt: skip


# Saved lists -------------------------------------------------------------------------------------------------------


@router.get(LISTS)
@web.may("watch")
def lists(request: Request, db: web.Db) -> Response:
    """The lists there are, and a form that takes its filters from the address."""
    typed = {name: request.query_params.get(name, "") for name in ASKED}
    first = {"shared": "no"} | {key: text for key, text in typed.items() if text}
    return _lists(request, db, forms.filled(first))


@router.post(LISTS)
@web.may("watch")
def save_list(request: Request, db: web.Db, posted: web.Posted, now: web.Now) -> Response:
    entries = Entries(forms.typed(posted))
    asked = _asked(request, db, entries)
    if asked.problems:
        return _lists(request, db, entries.wrong(asked.problems), 422)
    answers = forms.whole(posted.one("answers"))
    new = actions.NewList(posted.one("name"), asked.values, posted.one("shared") == "yes", answers)
    made = kept(db, lambda: actions.save_list(db, new, now))
    if isinstance(made, Problem):
        beside = forms.beside(faults_of(made), ("name", "answers", *ASKED))
        return _lists(request, db, entries.wrong(beside), 422)
    return web.see_other(f"{LISTS}?saved=list")


@router.post(LISTS + "/{list_id}/answers")
@web.may("watch")
def have_answer(list_id: web.Key, db: web.Db, posted: web.Posted) -> Response:
    actions.have_answer(db, list_id, forms.whole(posted.one("answers")))
    return web.see_other(f"{LISTS}?saved=answers")


@router.post(LISTS + "/{list_id}/end")
@web.may("watch")
def end_list(list_id: web.Key, db: web.Db, now: web.Now) -> Response:
    actions.end_list(db, list_id, now)
    return web.see_other(f"{LISTS}?saved=ended")


def _asked(request: Request, db: Session, entries: Entries) -> Asked:
    """The filters of the form, checked as those of the due list are."""
    given = choices(request, db)
    asked = Asked.of({name: entries.text(name) for name in ASKED if entries.text(name)}, ASKED)
    asked.prefix("q")
    asked.key("owner", given.owners)
    asked.one_of("item", ITEM_CHOICES)
    asked.one_of("rule", RULE_CHOICES)
    asked.one_of("region", given.regions)
    return asked


def _lists(request: Request, db: Session, entries: Entries, status: int = 200) -> Response:
    given = choices(request, db)
    fields = (
        Field("name", "Name", cells.text, "As you will know it again", needed=True),
        Field("q", "Mark and number", cells.text, "How they begin, such as ZQKX 10"),
        Field("owner", "Owner", cells.text, "", "choice", tuple(given.owners)),
        Field("item", "Item", cells.text, "", "choice", ITEM_CHOICES),
        Field("region", "Region", cells.text, "", "choice", tuple(given.regions)),
        Field("rule", "Rule", cells.text, "", "choice", RULE_CHOICES),
    )
    people = tuple((str(key), name) for key, name in watching.colleagues(db))
    shown = watching.lists(db)
    return web.page(
        request, "morning/lists.html", status, entries=entries, fields=fields, whose=WHOSE,
        people=people, lists=[(each, _in_words(each.row.asked, given.owners)) for each in shown],
        answers=Field("answers", "Who answers for it", cells.text, "Only for a list that all see", "choice", people),
        saved=SAVED.get(request.query_params.get("saved", "")),
    )  # fmt: skip


def _in_words(asked: Mapping[str, str], owners: Sequence[forms.Choice]) -> str:
    named = dict(owners)
    parts = [
        asked.get("owner") and f"owner {named.get(asked['owner'], asked['owner'])}",
        asked.get("item") and words(asked["item"]),
        asked.get("rule") and f"rule {asked['rule'].replace('_', ' ')}",
        asked.get("region") and f"region {asked['region']}",
        asked.get("q") and f"mark and number beginning {asked['q'].upper()}",
    ]
    return ", ".join(part for part in parts if part)
