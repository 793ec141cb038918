"""What a tablet takes along to work at cars without a connection."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated
from urllib.parse import parse_qs

from fastapi import Query
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from sqlalchemy.orm import Session

from app import web
from app.actions.pack import PackedCar, PackedInstruction, packed
from app.answers.faults import path, sentence
from app.api.due import Item
from app.api.exact import subject
from app.api.register import Words
from app.api.schemas import Out
from app.core.component_kinds import COMPONENT_KINDS
from app.core.facts import Status
from app.core.steps import LEVELS
from app.core.words import label
from app.errors import Fault, Refused
from app.rules.field_work import When, field_work
from app.store import due, facilities, packing, qualifications, reach
from app.store.due import DueFilter
from app.store.names import read_prefix
from app.store.paging import read_cursor
from app.store.tables import Car

router = subject("field work")

AT_ONCE = 50
# More is no day's work, and would not fit on a tablet.
MOST = 2_000
Key = Annotated[int, Field(ge=1, le=web.LARGEST_KEY)]


class PackAsked(BaseModel):
    """Which cars: by key, of a visit, in a shop, or of a due list; one of these ways."""

    model_config = ConfigDict(extra="forbid", populate_by_name=True)
    car: list[Key] = Field([], max_length=MOST, description="a car's key; can be given repeatedly")
    visit: Key | None = Field(None, description="the car of this visit")
    shop: Words | None = Field(None, description="cars sent to the shop of this name, not released")
    due_list: str | None = Field(
        None,
        alias="list",
        max_length=2_000,
        description="cars of a due list: what stands behind the `?` in its address",
    )
    after: Words | None = Field(None, description="`next` of the page before")


class ListAsked(BaseModel):
    """The filters of the page of due items, as its address has them."""

    model_config = ConfigDict(extra="forbid")
    q: Words = ""
    owner: Key | None = None
    item: Item | None = None
    rule: Words | None = None
    status: Status | None = None
    region: Words | None = None
    due_from: date | None = Field(None, alias="from")
    due_to: date | None = Field(None, alias="to")
    cars: Words | None = None


class PersonOut(Out):
    id: int
    name: str


class FacilityOut(Out):
    id: int
    name: str
    address: str
    station_code: str


class QualificationOut(Out):
    method: str
    level: str
    valid_until: date


class NeedOut(Out):
    method: str
    level: str = Field(description=f"at least this: {', '.join(LEVELS)}")


class CautionOut(Out):
    id: str
    when: When
    title: str
    words: list[str]


class PackOut(Out):
    """A page of cars with all that work at them goes by.

    Numbers that are measured are decimal text, inches and psig. Lines and ranges are rounded to six
    decimals so that comparing with them decides every number of six decimals as the exact bound does.
    """

    taken_at: datetime
    person: PersonOut
    next: str | None = Field(
        description="pass it as `after`, with the same question; null at the end"
    )
    total: int = Field(description="cars on all pages")
    facilities: list[FacilityOut]
    qualifications: list[QualificationOut] = Field(description="of the person who asks")
    needs: dict[str, list[NeedOut]] = Field(
        description="by due item; any one of them serves. Common practice, no source"
    )
    kinds: dict[str, str] = Field(description="of components, each with what the trade calls it")
    cautions: list[CautionOut]
    instructions: dict[str, PackedInstruction] = Field(
        description="those that the cars of this page go by. A step without a citation is common "
        "practice or the owner's own; its caution is the id of one of `cautions`, or the owner's words"
    )
    cars: list[PackedCar]


@router.get("/field/pack", summary="What a tablet takes along")
@web.may("record_work")
def pack(
    asked: Annotated[PackAsked, Query()],
    viewer: web.Seeing,
    db: web.Db,
    now: web.Now,
    today: web.Today,
    settings: web.Configured,
) -> PackOut:
    """Cars with their due items, lines and ranges, the steps for each item, and what is beside them.

    Fifty cars a page, by mark and number. Asked for no cars, it gives what is beside them alone.

    What it says is as of the moment at which it was taken: the server judges anew what is sent.
    """
    among = _among(db, asked, today, settings.soon_days)
    page = packing.chosen(db, among, asked.after, AT_ONCE)
    whole = not (asked.after or page.next_after)
    total = len(page.rows) if whole else packing.count(db, among)
    if total > MOST:
        raise Refused(f"These are {total:,} cars, and a pack holds {MOST:,}. Choose fewer.")
    found = packed(db, page.rows, today, settings.soon_days)
    return PackOut(
        taken_at=now,
        person=PersonOut(id=viewer.person_id, name=viewer.name),
        next=page.next_after,
        total=total,
        facilities=_facilities(db),
        qualifications=[
            QualificationOut(method=each.method, level=each.level, valid_until=each.valid_until)
            for each in qualifications.counting(db, viewer.person_id)
        ],
        needs={
            item: [NeedOut(method=each.method, level=each.level) for each in needs]
            for item, needs in field_work().needs.items()
        },
        kinds={kind: label(kind) for kind in COMPONENT_KINDS},
        cautions=[CautionOut(**each.model_dump()) for each in field_work().cautions],
        instructions=found.instructions,
        cars=found.cars,
    )


def _facilities(db: Session) -> list[FacilityOut]:
    return [
        FacilityOut(
            id=each.row.id,
            name=each.row.name,
            address=each.row.address,
            station_code=each.row.station_code,
        )
        for each in facilities.mine(db)
    ]


def _among(db: Session, asked: PackAsked, today: date, soon_days: int) -> list[reach.Condition]:
    """Which cars are meant, as conditions on them. Raises Refused."""
    if asked.after:
        read_cursor(asked.after, packing.KINDS)
    ways = [bool(asked.car), asked.visit is not None, asked.shop is not None]
    if sum([*ways, asked.due_list is not None]) > 1:
        raise Refused("Ask for cars in one way: car, visit, shop or list.")
    if asked.visit is not None:
        return [packing.of_visit(asked.visit)]
    if asked.shop is not None:
        return [packing.at_shop(db, asked.shop)]
    if asked.due_list is not None:
        wanted = _as_filter(asked.due_list, today, soon_days)
        return [Car.id.in_(due.cars_listed(db, wanted))]
    return [Car.id.in_(asked.car)]


def _as_filter(query: str, today: date, soon_days: int) -> DueFilter:
    """The filter that the address of a due list stands for."""
    given = {name: values[-1] for name, values in parse_qs(query.lstrip("?")).items()}
    try:
        asked = ListAsked.model_validate(given)
    except ValidationError as wrong:
        faults = [Fault(f"list.{path(each['loc'])}", sentence(each)) for each in wrong.errors()]
        raise Refused.because(faults) from None
    return DueFilter(
        as_of=today,
        soon_days=soon_days,
        owner_id=asked.owner,
        item=asked.item,
        rule=asked.rule,
        status=asked.status,
        region=asked.region,
        search=read_prefix(asked.q),
        due_from=asked.due_from,
        due_to=asked.due_to,
        listed_only=asked.cars != "all",
    )
