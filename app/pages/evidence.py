"""Evidence packets: of a car, of the cars of a list, and what a job made of many."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from tempfile import SpooledTemporaryFile
from typing import Annotated, BinaryIO, cast

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response, StreamingResponse
from sqlalchemy.orm import Session

from app import jobs, web
from app.access import Capability
from app.actions import packets
from app.actions.evidence import MOST_CARS, View, chosen
from app.actions.standpoint import Lookback
from app.errors import Refused
from app.files.packet import IN_A_VOLUME
from app.pages import audits, due, fleet
from app.pages.exports import HELD_IN_MEMORY, PIECE, download
from app.pages.looking_back import Back
from app.pictures import Attachments
from app.store import auditing, cars
from app.web import keeping
from app.web.headers import as_file
from app.web.rendering import counted

router = APIRouter()

PDF, ZIP = "application/pdf", "application/zip"


@dataclass(frozen=True)
class Selection:
    """The cars of a list, told in words, and from where they are looked at."""

    in_words: str
    list_address: str
    car_ids: Sequence[int]
    back: Lookback | None


# A car ----------------------------------------------------------------------------------------------------------


@router.get("/cars/{car_id}/evidence")
@web.may("read", looks_back=True)
def car_form(request: Request, car_id: web.Key, db: web.Db, back: Back) -> Response:
    car = cars.car_or_raise(db, car_id)
    return web.page(request, "evidence/car.html", car=car, back=back)


@router.get("/cars/{car_id}/evidence.pdf")
@web.may("read", looks_back=True)
def car_pdf(
    car_id: web.Key, db: web.Db, back: Back, today: web.Today, settings: web.Configured,
    attachments: keeping.Kept,
) -> Response:  # fmt: skip
    name = _car_name(db, car_id)
    view = View.of(back, today, settings.soon_days)
    made = packets.pdf(db, car_id, view, attachments)
    return download(made, f"{name}-{_seen(back, today)}.pdf", PDF)


@router.get("/cars/{car_id}/evidence.zip")
@web.may("read", looks_back=True)
def car_zip(
    car_id: web.Key, db: web.Db, back: Back, today: web.Today, settings: web.Configured,
    attachments: keeping.Kept,
) -> Response:  # fmt: skip
    name = _car_name(db, car_id)
    view = View.of(back, today, settings.soon_days)
    return _zipped(db, [car_id], view, attachments, f"{name}-{_seen(back, today)}.zip")


def _car_name(db: Session, car_id: int) -> str:
    car = cars.car_or_raise(db, car_id)
    return f"evidence-{car.mark}-{car.number}"


def _seen(back: Lookback | None, today: date) -> str:
    return back.name if back else today.isoformat()


# The cars of a list ---------------------------------------------------------------------------------------------


def of_fleet(request: Request, db: web.Db) -> Selection:
    """The cars of the register's page, filtered alike."""
    seen = fleet.wanted_seen(request, db)
    seen.asked.refuse()
    rows = fleet.made(db, replace(seen, filter=replace(seen.filter, whole_only=True)))
    return _selected(db, seen.in_words(), "/fleet", (row.id for row in rows.each()), seen.back)


def of_due(at: due.At) -> Selection:
    return _of_items(at, due.DUE)


def of_overdue(at: due.At) -> Selection:
    return _of_items(at, due.OVERDUE)


def _of_items(at: due.Here, kind: due.Kind) -> Selection:
    """The cars of the items of a list, each once, in the list's order."""
    seen = due.wanted(at, kind)
    rows = due.rows_or_refuse(at, seen)
    found = (row.car_id for row in rows.each())
    return _selected(at.db, f"{seen.filter.in_words()}.", kind.address, found, seen.back)


def _selected(
    db: Session, in_words: str, address: str, found: Iterator[int], back: Lookback | None
) -> Selection:
    """Each car once; no more are looked for than show that they are too many for a packet."""
    ids: dict[int, None] = {}
    for car_id in found:
        ids[car_id] = None
        if len(ids) > MOST_CARS:
            break
    return Selection(in_words, address, list(ids), back)


def of_audit(request: Request, audit_id: web.Key, db: web.Db, today: web.Today) -> Selection:
    """The cars of a sample, seen as they were when it was drawn."""
    audit = auditing.audit_or_raise(db, audit_id)
    found = (each.car_id for each in auditing.drawn(db, audit_id))
    back = audits.back_to(request, audit, today)
    return _selected(db, f"The sample of {audit.title}.", f"/audits/{audit_id}", found, back)


@dataclass(frozen=True)
class Desk:
    """Where a packet is asked for."""

    request: Request
    db: Session
    by: str
    today: date
    soon_days: int
    attachments: Attachments


def desk(
    request: Request, db: web.Db, by: web.Recorder, today: web.Today, settings: web.Configured,
    attachments: keeping.Kept,
) -> Desk:  # fmt: skip
    return Desk(request, db, by, today, settings.soon_days, attachments)


At = Annotated[Desk, Depends(desk)]


def offer(
    path: str, of: Callable[..., Selection], needed: Capability, *, looks_back: bool = True
) -> None:
    """Routes below the address of a list, for a packet of its cars: a page, the file at once, and the job."""

    @router.get(f"{path}/evidence")
    @web.may(needed, looks_back=looks_back)
    def form(at: At, selection: Selection = Depends(of)) -> Response:
        return _form(at, selection)

    @router.get(f"{path}/evidence.zip")
    @web.may(needed, looks_back=looks_back)
    def zipped(at: At, selection: Selection = Depends(of)) -> Response:
        return _at_once(at, selection)

    @router.post(f"{path}/evidence")
    @web.may(needed)
    def job(at: At, selection: Selection = Depends(of)) -> Response:
        return _ask(at, selection)


offer("/fleet", of_fleet, "read")
offer("/due", of_due, "read")
offer("/overdue", of_overdue, "read")
# A sample is seen as it was when it was drawn, and from nowhere else.
offer("/audits/{audit_id}", of_audit, "record_work", looks_back=False)


def _form(at: Desk, selection: Selection) -> Response:
    """What the packet would be of, before anything is made."""
    ids, problem = list[int](), ""
    try:
        ids = chosen(at.db, selection.car_ids)
    except Refused as refused:
        problem = str(refused)
    return web.page(
        at.request,
        "evidence/ask.html",
        selection=selection,
        back=selection.back,
        query=f"?{at.request.url.query}" if at.request.url.query else "",
        count=len(ids),
        left_out=0 if problem else len(selection.car_ids) - len(ids),
        problem=problem,
        at_once=len(ids) <= packets.AT_ONCE,
        in_a_volume=IN_A_VOLUME,
    )


def _at_once(at: Desk, selection: Selection) -> Response:
    ids = chosen(at.db, selection.car_ids)
    if len(ids) > packets.AT_ONCE:
        raise Refused(
            f"A packet of {len(ids)} cars is not made while somebody waits; of at most {packets.AT_ONCE} it is. "
            f"Ask for it on the page before."
        )
    view = View.of(selection.back, at.today, at.soon_days)
    name = f"evidence-{counted(len(ids), 'car').replace(' ', '-')}-{_seen(selection.back, at.today)}.zip"
    return _zipped(at.db, ids, view, at.attachments, name)


def _ask(at: Desk, selection: Selection) -> Response:
    """Have it made while others use the register; how far it is stands on the page of the job."""
    ids = chosen(at.db, selection.car_ids)
    view = View.of(selection.back, at.today, at.soon_days)
    return web.see_other(f"/jobs/{jobs.ask(at.db, 'evidence', packets.payload(ids, view), at.by)}")


def _zipped(
    db: Session, ids: Sequence[int], view: View, attachments: Attachments, name: str
) -> Response:
    # Whole before the answer begins, as every file is: a fault gives an error page, never half a file.
    held = SpooledTemporaryFile(max_size=HELD_IN_MEMORY)  # noqa: SIM115  closed by _sent
    try:
        packets.write(db, cast(BinaryIO, held), ids, view, attachments)
    except BaseException:
        held.close()
        raise
    headers = as_file(name) | {"Content-Length": str(held.tell())}
    return StreamingResponse(_sent(held), headers=headers, media_type=ZIP)


def _sent(held: SpooledTemporaryFile[bytes]) -> Iterator[bytes]:
    with held:
        held.seek(0)
        while piece := held.read(PIECE):
            yield piece


# What a job made ------------------------------------------------------------------------------------------------


@router.get("/jobs/{job_id}/evidence.zip")
@web.may("read")
def made_by_job(job_id: str, db: web.Db, attachments: keeping.Kept) -> Response:
    """For whoever asked for it, as long as they reach all of its cars."""
    job = jobs.look(db, job_id)
    if job.kind != "evidence" or job.state != "done":
        # Its page says what it is, and how far.
        return web.see_other(f"/jobs/{job_id}")
    blocks = packets.kept(db, job.payload, job.id, attachments)
    name = f"evidence-{len(job.payload['car_ids'])}-cars-{job.payload['as_of']}.zip"
    return StreamingResponse(blocks, headers=as_file(name), media_type=ZIP)
