"""A directive that came with a car from another register: what it said there, and deciding about it here."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import told_orders as actions
from app.core.directive_words import ORDERED_BY, OUTCOMES
from app.errors import Problem
from app.files import cells
from app.pages import forms
from app.pages.changing import Looking, faults_of, kept
from app.pages.forms import Entries, Field
from app.store import told_orders

router = APIRouter(prefix="/told-directives")

ANSWERS = {
    "issued": "It is issued here as a directive, and is a due item by that",
    "seen_to": "It was seen to: the proof is named below",
    "not_needed": "It is not to be issued here, for the reason below",
    "undecided": "Nothing is decided: keep it before our eyes",
}
FIELDS = (
    Field("answer", "What holds here", forms.one_of(tuple(ANSWERS.items())), "", "choice",
          tuple(ANSWERS.items()), True),
    Field("reason", "Why, and where the proof is", cells.notes, "A report, a letter, a paper by its number",
          "notes", (), True),
)  # fmt: skip


@router.get("/{told_order_id}")
@web.may("record_facts")
def show(request: Request, told_order_id: web.Key, db: web.Db) -> Response:
    return _page(request, db, told_order_id, Entries())


@router.post("/{told_order_id}")
@web.may("record_facts")
def answer(
    request: Request, told_order_id: web.Key, posted: web.Posted, db: web.Db, looking: Looking
) -> Response:
    told_orders.one_or_raise(db, told_order_id)
    values, entries = forms.read(FIELDS, forms.typed(posted))
    if entries.problems:
        return _page(request, db, told_order_id, entries, 422)
    wanted, reason = values["answer"], values["reason"]
    made = kept(db, lambda: actions.answer(db, told_order_id, wanted, reason, looking.stamp))
    if isinstance(made, Problem):
        entries = entries.wrong(forms.beside(faults_of(made), values))
        return _page(request, db, told_order_id, entries, 422)
    return web.see_other(f"/told-directives/{told_order_id}?saved=yes")


def _page(
    request: Request, db: Session, told_order_id: int, entries: Entries, status: int = 200
) -> Response:
    return web.page(
        request, "take_over/order.html", status, told=told_orders.one_or_raise(db, told_order_id),
        form=entries, fields=FIELDS, answers=ANSWERS, outcomes=OUTCOMES, ordered_by=ORDERED_BY,
        saved="saved" in request.query_params,
    )  # fmt: skip
