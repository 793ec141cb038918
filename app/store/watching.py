"""Questions about what people watch: saved lists, who answers for them, calendars, mails and what came of these."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy import and_, or_, select
from sqlalchemy.orm import Session, aliased

from app.access import roles_that_may
from app.errors import NotFound
from app.store import reach
from app.store.due import DueFilter
from app.store.names import read_prefix
from app.store.people import Membership, Person
from app.store.tables import Car
from app.store.watch import Feed, NoticeSent, NoticeWish, SavedList

# What a list keeps of the filters of the due list; days and statuses are those of the morning on which it is read.
ASKED = ("q", "owner", "item", "rule", "region")


@dataclass(frozen=True, slots=True)
class ListShown:
    """A saved list that the session's person sees, who saved it, and who answers for it."""

    row: SavedList
    by: str
    answers: str | None
    own: bool


def filter_of(asked: Mapping[str, str], seen: DueFilter) -> DueFilter:
    """What a saved list keeps of what another filter keeps; both hold."""
    owner = asked.get("owner")
    return replace(
        seen,
        owner_id=int(owner) if owner else None,
        item=asked.get("item"),
        rule=asked.get("rule"),
        region=asked.get("region"),
        search=read_prefix(asked.get("q", "")),
    )


def lists(db: Session) -> list[ListShown]:
    """Those of the session's person, and those shared in their parties; by name."""
    mine = reach.of(db)
    seen = and_(
        SavedList.ended_at.is_(None),
        SavedList.party_id.in_(sorted(mine.members)),
        or_(SavedList.shared.is_(True), SavedList.person_id == mine.person_id),
    )
    by, answers = aliased(Person), aliased(Person)
    rows = db.execute(
        select(SavedList, by.name, answers.name)
        .join(by, by.id == SavedList.person_id)
        .outerjoin(answers, answers.id == SavedList.answers_id)
        .where(seen)
        .order_by(SavedList.name, SavedList.id)
    )
    return [
        ListShown(row, name, answering, row.person_id == mine.person_id)
        for row, name, answering in rows
    ]


def list_or_raise(db: Session, list_id: int) -> SavedList:
    """A list that the session's person sees."""
    found = next((each.row for each in lists(db) if each.row.id == list_id), None)
    if found is None:
        raise NotFound(f"There is no saved list with the number {list_id}.")
    return found


def answered_for(
    shown: Sequence[ListShown], person_id: int, seen: DueFilter
) -> tuple[DueFilter, ...]:
    """The filters of those of the lists that this person answers for; none: for nothing."""
    mine = [each.row for each in shown if each.row.answers_id == person_id]
    return tuple(filter_of(each.asked, seen) for each in mine)


def colleagues(db: Session) -> list[tuple[int, str]]:
    """People of the session's own parties who have the morning list, by name: who may answer for a list."""
    rows = db.execute(
        select(Person.id, Person.name)
        .join(Membership, Membership.person_id == Person.id)
        .where(
            Membership.ended_at.is_(None),
            Person.ended_at.is_(None),
            Membership.party_id.in_(sorted(reach.of(db).members)),
            Membership.role.in_(roles_that_may("watch")),
        )
        .distinct()
        .order_by(Person.name, Person.id)
    )
    return [(key, name) for key, name in rows]


def own_cars(db: Session, car_ids: Sequence[int]) -> set[int]:
    """Which of these are of the session's own parties or of those they keep."""
    if reach.of(db).parties is None:
        return set(car_ids)
    return set(db.scalars(select(Car.id).where(Car.id.in_(car_ids), reach.owned(db, Car.owner_id))))


def feeds(db: Session, person_id: int) -> Sequence[Feed]:
    """Calendars of a person that can be asked for, the latest first."""
    return db.scalars(
        select(Feed)
        .where(Feed.person_id == person_id, Feed.ended_at.is_(None))
        .order_by(Feed.id.desc())
    ).all()


def feed(db: Session, key_sha256: str) -> Feed | None:
    """The calendar behind the sum of a secret, unless it was revoked."""
    return db.scalars(
        select(Feed).where(Feed.key_sha256 == key_sha256, Feed.ended_at.is_(None))
    ).first()


def wish(db: Session, person_id: int) -> NoticeWish | None:
    return db.get(NoticeWish, person_id)


def wishes(db: Session) -> Sequence[NoticeWish]:
    """Of all who want any mail."""
    wanted = or_(NoticeWish.daily.is_(True), NoticeWish.weekday.is_not(None))
    return db.scalars(select(NoticeWish).where(wanted).order_by(NoticeWish.person_id)).all()


def notice(db: Session, person_id: int, kind: str, day: date) -> NoticeSent | None:
    return db.get(NoticeSent, (person_id, kind, day))


def notices(db: Session, person_id: int, limit: int = 10) -> Sequence[NoticeSent]:
    """The latest mails of a person, and what came of them."""
    return db.scalars(
        select(NoticeSent)
        .where(NoticeSent.person_id == person_id, NoticeSent.state != "nothing")
        .order_by(NoticeSent.day.desc(), NoticeSent.kind)
        .limit(limit)
    ).all()
