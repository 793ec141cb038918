"""What people watch: saving lists, setting lines aside as seen, calendars by a secret address, wanted mails."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from secrets import token_urlsafe

from sqlalchemy.orm import Session

from app.actions.checks import LONGEST_WORDS, Faults, tidy
from app.actions.stamp import Stamp
from app.core.orders import ITEM as ORDERED
from app.errors import Fault, NotFound, Refused
from app.store import due, facts, reach, watching
from app.store.due import DueListRow
from app.store.gathering import note
from app.store.people import Person
from app.store.signed_in import fingerprint
from app.store.watch import DueSeen, Feed, NoticeWish, SavedList

# A line that is set aside for longer is out of mind.
LONGEST_ASIDE = timedelta(days=92)
MOST_LISTS, MOST_FEEDS = 200, 20
# Within how many days what a calendar holds may fall due.
SPANS = (30, 90, 180, 365)
LONGEST_REASON = 2_000


@dataclass(frozen=True, slots=True)
class NewList:
    """Filters by their names (`watching.ASKED`), checked; `answers_id` is who answers for what is on the list."""

    name: str
    asked: Mapping[str, str]
    shared: bool
    answers_id: int | None = None


def save_list(db: Session, new: NewList, now: datetime) -> SavedList:
    """Keep filters under a name for the session's person, or for all in their party."""
    mine, name, faults = reach.of(db), tidy(new.name), Faults()
    if not 1 <= len(name) <= LONGEST_WORDS:
        faults.add("name", f"want a name of 1 to {LONGEST_WORDS} characters")
    if not new.asked:
        faults.add("", "a list without any filter is the morning list itself; choose at least one")
    if len(watching.lists(db)) >= MOST_LISTS:
        faults.add("", f"there are {MOST_LISTS} lists already; remove one first")
    _check_answers(db, faults, new.answers_id, new.shared)
    faults.refuse()
    assert mine.person_id is not None
    note(db, "list.saved")
    made = SavedList(
        party_id=min(mine.members),
        person_id=mine.person_id,
        name=name,
        asked=dict(new.asked),
        shared=new.shared,
        answers_id=new.answers_id,
        made_at=now,
    )
    db.add(made)
    db.flush()
    return made


def have_answer(db: Session, list_id: int, person_id: int | None) -> None:
    """Say who answers for what is on a shared list; None for nobody."""
    found, faults = watching.list_or_raise(db, list_id), Faults()
    _check_answers(db, faults, person_id, found.shared)
    faults.refuse()
    note(db, "list.answered_for")
    found.answers_id = person_id


def _check_answers(db: Session, faults: Faults, person_id: int | None, shared: bool) -> None:
    if person_id is None:
        return
    if not shared:
        faults.add("answers", "somebody can answer only for a list that all in the party see")
    if person_id not in dict(watching.colleagues(db)):
        faults.add("answers", "choose a person of your own party who has the morning list")


def end_list(db: Session, list_id: int, now: datetime) -> None:
    """The list is on no page any more; calendars and mails by it are told of its end."""
    found = watching.list_or_raise(db, list_id)
    if found.person_id != reach.of(db).person_id and not found.shared:
        raise NotFound(f"There is no saved list with the number {list_id}.")
    note(db, "list.ended")
    found.ended_at = now


# Lines set aside ---------------------------------------------------------------------------------------------------


def set_aside(
    db: Session, car_id: int, item: str, until: date, reason: str, stamp: Stamp
) -> DueSeen:
    """Mark a due item as seen until a day. It comes back on that day, or as soon as it stands otherwise.

    A line of directives comes back at the latest when the next of them is overdue.
    """
    row, faults, reason = _item(db, car_id, item, stamp.today), Faults(), reason.strip()
    if not stamp.today < until <= stamp.today + LONGEST_ASIDE:
        last = stamp.today + LONGEST_ASIDE
        faults.add("until_on", f"want a day after today ({stamp.today}), at the latest {last}")
    if not 1 <= len(reason) <= LONGEST_REASON:
        faults.add(
            "reason", f"say in 1 to {LONGEST_REASON:,} characters why it can wait until then"
        )
    faults.refuse()
    return _mark(db, row, min([until, *_next_orders(db, row, stamp.today)]), reason, stamp)


def _next_orders(db: Session, row: DueListRow, today: date) -> list[date]:
    """The days after which a further directive of the car is overdue: one line stands for them all."""
    if row.item != ORDERED:
        return []
    orders = facts.load(db, [row.car_id], today)[row.car_id].car.orders
    return [each.due_on + timedelta(days=1) for each in orders if each.due_on >= today]


def bring_back(db: Session, car_id: int, item: str, stamp: Stamp) -> DueSeen:
    """Have a line stand in the list again at once."""
    return _mark(db, _item(db, car_id, item, stamp.today), None, "", stamp)


def _item(db: Session, car_id: int, item: str, today: date) -> DueListRow:
    found = next((each for each in due.for_car(db, car_id, today) if each.item == item), None)
    if found is None:
        raise NotFound("There is no such due item.")
    return found


def _mark(db: Session, row: DueListRow, until: date | None, reason: str, stamp: Stamp) -> DueSeen:
    mine = reach.of(db)
    assert mine.person_id is not None
    note(db, "due.set_aside" if until else "due.brought_back")
    made = DueSeen(
        party_id=min(mine.members), car_id=row.car_id, item=row.item, state=row.state,
        due_on=row.due_on, past=row.due_on is not None and row.due_on < stamp.today,
        until_on=until, reason=reason, person_id=mine.person_id,
        recorded_at=stamp.at, recorded_by=stamp.by,
    )  # fmt: skip
    db.add(made)
    db.flush()
    return made


# Calendars and mails -----------------------------------------------------------------------------------------------


def make_feed(
    db: Session,
    person: Person,
    name: str,
    list_id: int | None,
    within_days: int | None,
    now: datetime,
) -> tuple[Feed, str]:
    """A calendar of a list, or of all that the person reaches; gives the row and the secret of its address.

    It holds what is overdue, due now, or falls due within `within_days` days (one of SPANS); None: every date.
    """
    name, faults = tidy(name), Faults()
    if not 1 <= len(name) <= LONGEST_WORDS:
        faults.add("name", f"say in 1 to {LONGEST_WORDS} characters where it will be read")
    if within_days is not None and within_days not in SPANS:
        spans = ", ".join(map(str, SPANS))
        faults.add("feed_days", f"want one of {spans} days, or every date")
    if len(watching.feeds(db, person.id)) >= MOST_FEEDS:
        faults.add("", f"there are {MOST_FEEDS} calendars already; revoke one first")
    faults.refuse()
    _seen_or_none(db, list_id)
    secret = token_urlsafe(32)
    made = Feed(
        person_id=person.id,
        name=name,
        list_id=list_id,
        within_days=within_days,
        key_sha256=fingerprint(secret),
        made_at=now,
    )
    db.add(made)
    note(db, "feed.made", ("person", person.id))
    db.flush()
    return made, secret


def revoke_feed(db: Session, person: Person, feed_id: int, now: datetime) -> None:
    """The calendar's address answers no more."""
    held = {each.id: each for each in watching.feeds(db, person.id)}
    if feed_id not in held:
        raise NotFound("You have no such calendar.")
    held[feed_id].ended_at = now
    note(db, "feed.revoked", ("person", person.id))


def keep_wish(
    db: Session, person: Person, daily: bool, weekday: int | None, list_id: int | None, today: date
) -> None:
    """Which mails the person wants from tomorrow on, and about which list."""
    if weekday is not None and not 0 <= weekday <= 6:
        raise Refused.because([Fault("weekday", "want a day of the week")])
    _seen_or_none(db, list_id)
    kept = watching.wish(db, person.id)
    if kept is None:
        kept = NoticeWish(person_id=person.id)
        db.add(kept)
    note(db, "notices.chosen", ("person", person.id))
    kept.daily, kept.weekday, kept.list_id = daily, weekday, list_id
    kept.since = today + timedelta(days=1)


def _seen_or_none(db: Session, list_id: int | None) -> None:
    if list_id is not None:
        watching.list_or_raise(db, list_id)
