"""Mails about what falls due: which are to go today, what stands in them, and what came of each. None goes twice.

A mail is written down as begun before it is handed over. One that the server did not take is tried again;
one during which the program died is not, since it may have gone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy.orm import Session

from app.actions import morning
from app.actions.morning import CHANGES, STANDING, Part, View
from app.core.words import label, words
from app.errors import NotFound
from app.store import watching
from app.store.due import DueFilter
from app.store.watch import NoticeSent, NoticeWish

MOST_TRIES, BETWEEN_TRIES = 6, timedelta(minutes=30)
LINES = 15
WEEK = timedelta(days=7)
IN_WORDS: dict[Part, str] = {
    "passed": "became overdue",
    "moved": "moved by what was recorded",
    "nearing": "came within {days} days",
    "overdue": "overdue",
    "within": "due within {days} days",
    "due_now": "due now, by an event",
    "unknown": "without a date, for lack of a fact",
}
AHEAD = 30
CLOSING = (
    "Dates here are an aid. The rule in force, the owner's written instructions and the qualified shop\n"
    "decide. Which mails you get is chosen under Account, Notices."
)


@dataclass(frozen=True, slots=True)
class Letter:
    subject: str
    text: str


def due_today(db: Session, today: date, now: datetime) -> list[tuple[NoticeWish, str]]:
    """The mails that are to be sent, or tried again, now."""
    wanted = [
        (wish, kind)
        for wish in watching.wishes(db)
        if today >= wish.since
        for kind in ("daily", "weekly")
        if (wish.daily if kind == "daily" else wish.weekday == today.weekday())
    ]
    return [(wish, kind) for wish, kind in wanted if _to_go(db, wish, kind, today, now)]


def _to_go(db: Session, wish: NoticeWish, kind: str, today: date, now: datetime) -> bool:
    before = watching.notice(db, wish.person_id, kind, today)
    if before is None:
        return True
    again = before.state == "failed" and before.tries < MOST_TRIES
    return again and before.at + BETWEEN_TRIES <= now


def begin(db: Session, person_id: int, kind: str, today: date, now: datetime) -> bool:
    """Write down that this mail is being sent; False where somebody else began it meanwhile."""
    row = watching.notice(db, person_id, kind, today)
    if row is None:
        row = NoticeSent(person_id=person_id, kind=kind, day=today, state="failed", tries=0, at=now)
        db.add(row)
    elif row.state != "failed":
        return False
    row.state, row.tries, row.at = "sending", row.tries + 1, now
    return True


def end(db: Session, person_id: int, kind: str, today: date, state: str, now: datetime) -> None:
    """What came of a mail that was begun: sent, failed, or that there was nothing to tell."""
    row = watching.notice(db, person_id, kind, today)
    assert row is not None
    row.state, row.at = state, now


def letter(db: Session, wish: NoticeWish, kind: str, today: date, site: str) -> Letter | None:
    """What the mail says, by what the session's person reaches; None where a daily one has nothing to tell."""
    seen = DueFilter(today, AHEAD, aside=False)
    if wish.list_id is not None:
        try:
            seen = morning.on_list(db, seen, wish.list_id)
        except NotFound:
            return _ended(site) if kind == "weekly" else None
    since = today - (WEEK if kind == "weekly" else timedelta(days=1))
    looked = morning.view(seen, since)
    changed: dict[Part, int] = {part: morning.count(db, looked, part) for part in CHANGES}
    if kind == "daily" and not any(changed.values()):
        return None
    return _letter(db, looked, kind, changed, site)


def _ended(site: str) -> Letter:
    told = f"The saved list that this summary is about was removed. Choose another: {site}/account/notices"
    return Letter("Stencilbook: the list of your summary was removed", told)


def _letter(db: Session, looked: View, kind: str, changed: dict[Part, int], site: str) -> Letter:
    standing: dict[Part, int] = {part: morning.count(db, looked, part) for part in STANDING}
    told = [
        f"As of {looked.seen.as_of}.",
        "",
        f"Changed since {looked.since}:",
        *_counts(changed, looked),
        "",
        "As it stands:",
        *_counts(standing, looked),
        "",
        *_by_owner(db, looked, kind),
        *_changes(db, looked, changed, site),
        f"The morning list: {site}/morning",
        "",
        CLOSING,
    ]
    what = "weekly summary" if kind == "weekly" else "what changed"
    overdue, now = standing["overdue"], standing["due_now"]
    subject = f"Stencilbook, {what}: {overdue:,} overdue, {now:,} due now"
    return Letter(subject, "\n".join(told) + "\n")


def _counts(counts: dict[Part, int], looked: View) -> Iterator[str]:
    for part, count in counts.items():
        more = " or more" if part == "moved" and count >= morning.MOST_COUNTED else ""
        yield f"{count:>8,}{more} {IN_WORDS[part].format(days=looked.seen.soon_days)}"


def _by_owner(db: Session, looked: View, kind: str) -> Iterator[str]:
    owners = morning.by_owner(db, looked) if kind == "weekly" else []
    if len(owners) > 1:
        yield "By owner, overdue and due now:"
        for _, name, counts in owners:
            yield f"{counts['overdue']:>8,} {counts['due_now']:>8,}  {name}"
        yield ""


def _changes(db: Session, looked: View, changed: dict[Part, int], site: str) -> Iterator[str]:
    """The first lines of what became overdue and of what moved, each with where to look."""
    passed = morning.lines(db, looked, "passed", limit=LINES).rows
    if passed:
        yield "Became overdue:"
        for row in passed:
            yield f"  {row.name}, {words(row.item)}, due {row.due_on}"
            yield f"    {site}/cars/{row.car_id}#{row.item}"
        yield from _more(changed["passed"], "passed", site)
    moves = morning.moved(db, looked, changed["moved"], limit=LINES).rows
    if moves:
        yield "Moved by what was recorded:"
        for move in moves:
            was = _status(move.was, move.was_due_on) if not move.new else "not there before"
            yield f"  {move.name}, {words(move.item)}: {was}; now {_status(move.status, move.due_on)}"
            yield f"    {site}/cars/{move.car_id}#{move.item}"
        yield from _more(changed["moved"], "moved", site)


def _more(count: int, part: Part, site: str) -> Iterator[str]:
    """That the mail does not tell all of a part, and where the rest stands."""
    if count > LINES:
        yield f"  and {count - LINES:,} more: {site}/morning/parts/{part}"
    yield ""


def _status(status: str | None, day: date | None) -> str:
    if status is None:
        return "not in service"
    return label(status) + (f", {day}" if day else "")
