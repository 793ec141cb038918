"""What putting an edition in force, or taking it back, would move; and doing it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import jobs, web
from app.actions import rulebook_effect as effects
from app.actions.rulebook_effect import KEPT, Effect, Shift
from app.core.facts import ITEMS
from app.core.words import capitalized, label
from app.errors import Conflict, NotFound, Refused
from app.files import lists_out
from app.pages.changing import Looking, Seen
from app.pages.exports import Table, as_asked
from app.pages.rulebook import Asked
from app.store import cars
from app.store import jobs as job_rows
from app.store import rulebooks as stored
from app.store.derived import RulebookEdition

router = APIRouter(prefix="/rulebook/effect")

# Cars; the effect on more is worked out by a job, which shows how far it is.
AT_ONCE = 5_000
PAGE = 50
ITEM_CHOICES = tuple((item, capitalized(label(item))) for item in ITEMS)


@dataclass(frozen=True, slots=True)
class Step:
    """Putting an edition in force for an owner (None: for all cars); without one, going back."""

    edition: RulebookEdition | None
    owner_id: int | None
    owner: str | None
    in_force: bool

    @property
    def asked(self) -> dict[str, Any]:
        """What the address says of it."""
        return {
            "edition": self.edition.id if self.edition else None,
            "owner": None if self.edition else self.owner_id,
        }

    @property
    def payload(self) -> dict[str, Any]:
        return {
            "edition_id": self.edition.id if self.edition else None,
            "owner_id": self.owner_id,
        }


def step(db: web.Db, edition: Asked = None, owner: Asked = None) -> Step:
    """The step that an address asks for. Raises NotFound."""
    row = stored.edition_or_raise(db, edition) if edition is not None else None
    owner_id = row.owner_id if row else owner
    names = cars.party_names(db)
    if owner_id is not None and (owner_id not in names or not stored.may_see(db, owner_id)):
        raise NotFound("There is no such owner.")
    held = stored.in_force(db).get(owner_id) == edition
    return Step(row, owner_id, names[owner_id] if owner_id else None, held)


At = Annotated[Step, Depends(step, scope="function")]


@router.get("")
@web.may("try_out")
def effect(
    request: Request,
    at: At,
    db: web.Db,
    looking: Looking,
    job: str = "",
    item: str = "",
    page: Annotated[int, Query(ge=1, le=10**6)] = 1,
) -> Response:
    found = None if at.in_force else _found(db, at, looking, job)
    listed = _listed(found, item) if found else []
    return web.page(
        request,
        "rulebook/effect.html",
        at=at,
        found=found,
        concerned=len(effects.concerned(db, at.owner_id)),
        kept=KEPT,
        listed=listed[(page - 1) * PAGE : page * PAGE],
        count=len(listed),
        page=page,
        pages=max(1, -(-len(listed) // PAGE)),
        asked={**at.asked, "job": job, "item": item},
        items=ITEM_CHOICES,
        owners=cars.party_names(db),
        today=looking.stamp.today,
    )


@router.get(".csv")
@router.get(".xlsx")
@router.get(".json")
@web.may("try_out")
def effect_file(
    request: Request, at: At, db: web.Db, looking: Looking, job: str = "", item: str = ""
) -> Response:
    found = _found(db, at, looking, job)
    if found is None:
        raise Conflict("The effect on so many cars is worked out first. Open its page.")
    name = f"effect-of-{at.edition.code if at.edition else 'going-back'}-{looking.stamp.today}"
    rows = _cells(db, _listed(found, item), looking)
    return as_asked(request, Table(name, "Effect", lists_out.EFFECT.columns, rows))


@router.post("")
@web.may("try_out")
def work_out(at: At, db: web.Db, looking: Looking) -> Response:
    """Have a worker find out what would move, on a large fleet."""
    return web.see_other(f"/jobs/{jobs.ask(db, 'rulebook-effect', at.payload, looking.stamp.by)}")


@router.post("/confirm")
@web.may("keep_rules")
def confirm(at: At, db: web.Db, looking: Looking, viewer: web.Seeing) -> Response:
    """Put it in force. Said twice, it is one job: the second yes leads to the first."""
    if at.owner_id is None:
        web.must_be_for_all(viewer, "keep_rules")
    if at.in_force:
        raise Conflict("It is in force already, so nothing was changed.")
    going = [
        job.id
        for job in job_rows.unfinished(db)
        if job.kind == "put-in-force" and job.payload == at.payload
    ]
    job_id = going[0] if going else jobs.ask(db, "put-in-force", at.payload, looking.stamp.by)
    return web.see_other(f"/jobs/{job_id}")


def _found(db: Session, at: Step, looking: Seen, job_id: str) -> Effect | None:
    """As a job found, or found out now; None when that would take too long."""
    if job_id:
        result = job_rows.get(db, job_id).result or {}
        if any(result.get(name) != value for name, value in at.payload.items()):
            raise Refused("That was worked out for another edition. Work it out again.")
        return effects.from_kept(result)
    if len(effects.concerned(db, at.owner_id)) > AT_ONCE:
        return None
    edition_id = at.edition.id if at.edition else None
    return effects.effect(db, edition_id, at.owner_id, looking.stamp.today)


def _listed(found: Effect, item: str) -> Sequence[Shift]:
    return [shift for shift in found.shifts if item in ("", shift.item)]


def _cells(db: Session, shifts: Sequence[Shift], looking: Seen) -> Iterator[Sequence[Any]]:
    owners = cars.party_names(db)
    for shift in shifts:
        yield (
            shift.mark, shift.number, owners[shift.owner_id], shift.item, shift.state,
            shift.due_on, shift.new_state, shift.new_due_on, shift.days,
            shift.past(looking.stamp.today), shift.stops,
        )  # fmt: skip
