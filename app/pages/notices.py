"""One's own mails and calendars about what falls due, chosen and revoked under Account; and the calendar itself."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import mail, web
from app.access import Viewer
from app.actions import morning, watching
from app.actions.reasons import told
from app.core.words import capitalized, words
from app.errors import Fault, NotFound, Problem, Refused
from app.files import calendars, cells
from app.pages import forms
from app.pages.account import Mine
from app.pages.changing import faults_of, kept
from app.pages.forms import Entries, Field
from app.pages.visit_lists import CALENDAR
from app.store import accounts, due, due_counts, reach, signed_in
from app.store import db as store_db
from app.store import watching as questions
from app.store.due import DueFilter, DueListRow
from app.store.people import Person
from app.store.watch import Feed
from app.web import signing

router = APIRouter()

NOTICES = "/account/notices"
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
DAY_CHOICES = tuple((str(number), name) for number, name in enumerate(DAYS))
NO_FEED = "There is no such calendar. It may have been revoked, or its list removed."
# A calendar asks again every few hours, and works all of its reasons out each time.
MOST_EVENTS = 3_000
CLOSING = "Dates here are an aid. The rule in force, the owner’s written instructions and the qualified shop decide."
SAVED = {
    "wish": "It was kept. The first mail is that of tomorrow.",
    "revoked": "The calendar was revoked: its address answers no more.",
}


@router.get(NOTICES)
@web.may("watch")
def notices(request: Request, db: web.Db, _: signing.Me, mine: Mine, today: web.Today) -> Response:
    wish = questions.wish(db, mine.id)
    stated = {} if wish is None else {
        "daily": wish.daily, "weekday": wish.weekday, "list": wish.list_id,
    }  # fmt: skip
    return _notices(request, db, mine, today, forms.filled(stated))


@router.post(NOTICES)
@web.may("watch")
def choose(
    request: Request, db: web.Db, _: signing.Me, mine: Mine, posted: web.Posted, today: web.Today
) -> Response:
    entries = Entries(forms.typed(posted))
    daily, weekday = posted.one("daily") == "yes", forms.whole(posted.one("weekday"))
    list_id = forms.whole(posted.one("list"))
    made = kept(db, lambda: watching.keep_wish(db, mine, daily, weekday, list_id, today))
    if isinstance(made, Problem):
        beside = forms.beside(faults_of(made), ("daily", "weekday", "list"))
        return _notices(request, db, mine, today, entries.wrong(beside), 422)
    return web.see_other(f"{NOTICES}?saved=wish")


@router.post("/account/calendars")
@web.may("watch")
def make_feed(
    request: Request, db: web.Db, me: signing.Me, mine: Mine, posted: web.Posted, today: web.Today
) -> Response:
    if ask := signing.must_prove(request, me, NOTICES):
        return ask
    entries, now = Entries(forms.typed(posted)), request.app.state.clock()
    name, list_id = posted.one("name"), forms.whole(posted.one("feed_list"))
    days = _days(posted.one("feed_days"))

    def make() -> tuple[Feed, str]:
        _refuse_too_many(db, list_id, days, today)
        return watching.make_feed(db, mine, name, list_id, days, now)

    made = kept(db, make)
    if isinstance(made, Problem):
        beside = forms.beside(faults_of(made), ("name", "feed_list", "feed_days"))
        return _notices(request, db, mine, today, entries.wrong(beside), 422)
    address = signing.public_address(request, f"/feeds/due/{made[1]}.ics")
    return web.page(request, "account/feed.html", feed=made[0], address=address, held=_held)


@router.post("/account/calendars/revoke")
@web.may("watch")
def revoke_feed(
    db: web.Db, _: signing.Me, mine: Mine, posted: web.Posted, now: signing.Clock
) -> Response:
    watching.revoke_feed(db, mine, forms.whole(posted.one("feed")) or 0, now)
    return web.see_other(f"{NOTICES}?saved=revoked")


def _days(text: str) -> int | None:
    """The span that was chosen, None for every date; what is no number is no span either."""
    return (forms.whole(text) or 0) if text else None


def _refuse_too_many(db: Session, list_id: int | None, days: int | None, today: date) -> None:
    """Raise Refused, saying what to choose instead, for more dates than a calendar holds."""
    count = due_counts.count(db, _dated(db, list_id, days, today))
    if count <= MOST_EVENTS:
        return
    told = f"it has {count:,} dates, and a calendar holds at most {MOST_EVENTS:,}"
    span = _span_that_fits(db, list_id, today)
    if span is None:
        fault = Fault("feed_list", f"{told}; choose or save a list of fewer cars or items")
    else:
        fault = Fault(
            "feed_days",
            f"{told}; choose what falls due within {span} days, or a list of fewer cars or items",
        )
    raise Refused.because([fault])


def _span_that_fits(db: Session, list_id: int | None, today: date) -> int | None:
    """The longest span of which a calendar holds every date; None where not even the shortest is one."""
    longest_first = sorted(watching.SPANS, reverse=True)
    fits = (each for each in longest_first if _fits(db, list_id, each, today))
    return next(fits, None)


def _fits(db: Session, list_id: int | None, days: int | None, today: date) -> bool:
    return due_counts.count(db, _dated(db, list_id, days, today)) <= MOST_EVENTS


def _proposed(db: Session, today: date) -> str:
    """The span that the form begins with: every date where all that is reached fits, else the longest that does."""
    if _fits(db, None, None, today):
        return ""
    return str(_span_that_fits(db, None, today) or min(watching.SPANS))


def _notices(
    request: Request, db: Session, mine: Person, today: date, entries: Entries, status: int = 200
) -> Response:
    lists = tuple((str(each.row.id), each.row.name) for each in questions.lists(db))
    return web.page(
        request, "account/notices.html", status, entries=entries.more({"feed_days": _proposed(db, today)}),
        weekday=Field("weekday", "Weekly summary", cells.text, "", "choice", DAY_CHOICES),
        about=Field("list", "About", cells.text, "", "choice", lists),
        feed_name=Field("name", "Where it will be read", cells.text, "Such as: calendar on my phone", needed=True),
        feed_list=Field("feed_list", "Saved list", cells.text, "", "choice", lists),
        feed_days=Field(
            "feed_days", "Falls due within", cells.text, "What is overdue or due now is always in it.", "choice",
            tuple((str(days), f"{days} days") for days in watching.SPANS),
        ),
        held=_held, lists=dict(lists), feeds=questions.feeds(db, mine.id), sent=questions.notices(db, mine.id),
        mails=mail.can_mail(request.app.state.settings), email=mine.email,
        saved=SAVED.get(request.query_params.get("saved", "")),
    )  # fmt: skip


# The calendar ------------------------------------------------------------------------------------------------------


@router.get("/feeds/due/{key}.ics")
@web.may("everyone")
def calendar(request: Request, key: str, today: web.Today) -> Response:
    """Every date of a list, as far as whose calendar it is reaches now."""
    with signing.reading(request) as db:
        feed = questions.feed(db, signed_in.fingerprint(key))
        viewer = _whose(request, db, feed)
        if feed is None or viewer is None:
            raise NotFound(NO_FEED)
        reached = reach.of_viewer(db, viewer, "watch")
    with store_db.read_session(request.app.state.sessions, reached) as db:
        made = _calendar(request, db, feed, today)
    return _answer(request, made)


def _whose(request: Request, db: Session, feed: Feed | None) -> Viewer | None:
    """Whoever made the calendar, if they may still sign in and look at the list."""
    viewer = signed_in.viewer_of(db, feed.person_id) if feed else None
    if viewer is None or not viewer.may("watch"):
        return None
    bare = request.app.state.settings.second_required
    return None if bare and not accounts.has_second(db, viewer.person_id) else viewer


def _answer(request: Request, made: bytes) -> Response:
    tag = f'"{sha256(made).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
    if tag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return Response(made, headers=headers, media_type=CALENDAR)


def _calendar(request: Request, db: Session, feed: Feed, today: date) -> bytes:
    try:
        wanted = _dated(db, feed.list_id, feed.within_days, today)
    except NotFound:
        raise NotFound(NO_FEED) from None
    found, entries = due.page(db, wanted, limit=MOST_EVENTS), []
    for row in told(db, found.rows, today):
        entries.append(_entry(request, row, today))
    if found.next_after:
        entries.append(_left_out(request, feed, today, due_counts.count(db, wanted)))
    # The same until the day or a date moves, so that a calendar that asks again is told that nothing did.
    made_at = datetime.combine(today, time(), UTC)
    return calendars.calendar_bytes(f"Due: {feed.name}", entries, made_at, _about(db, feed))


def _about(db: Session, feed: Feed) -> str:
    """What the calendar holds, in words."""
    of = "all that you reach"
    if feed.list_id is not None:
        of = f"the saved list {questions.list_or_raise(db, feed.list_id).name}"
    return f"{capitalized(_held(feed.within_days))} of {of}. {CLOSING}"


def _held(days: int | None) -> str:
    return f"what is overdue, due now or falls due within {days} days" if days else "every date"


def _dated(db: Session, list_id: int | None, days: int | None, today: date) -> DueFilter:
    """The dated items of a list, or of all that is reached; with days those past, due now and due within as many."""
    seen = DueFilter(today, due_to=today + timedelta(days=days) if days else None)
    return seen if list_id is None else morning.on_list(db, seen, list_id)


def _entry(request: Request, row: DueListRow, today: date) -> calendars.Entry:
    assert row.due_on is not None
    address = signing.public_address(request, f"/cars/{row.car_id}#{row.item}")
    state = {"overdue": " (overdue)", "due_now": " (due now)"}.get(row.status, "")
    return calendars.Entry(
        uid=f"due-{row.car_id}-{row.item}@{_host(request)}",
        title=f"{row.name}: {words(row.item)}{state}",
        first=row.due_on,
        last=row.due_on,
        place="",
        text="\n".join((*_sentences(row), CLOSING)),
        address=address,
        sure=True,
    )


def _sentences(row: DueListRow) -> Iterator[str]:
    yield f"{capitalized(words(row.item))} of {row.name}, owner {row.owner}."
    for reason in row.reasons:
        yield f"{reason.text} ({reason.citation})." if reason.citation else f"{reason.text}."


def _left_out(request: Request, feed: Feed, today: date, count: int) -> calendars.Entry:
    return calendars.Entry(
        uid=f"feed-{feed.id}-left-out@{_host(request)}",
        title=f"This calendar holds the first {MOST_EVENTS:,} of {count:,} dates",
        first=today,
        last=today,
        place="",
        text="The later ones are left out. Make a calendar of fewer days, or of a list of fewer cars.",
        address=signing.public_address(request, NOTICES),
        sure=True,
    )


def _host(request: Request) -> str:
    return signing.site(request).host
