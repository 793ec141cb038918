"""Files in: handed in, looked through with nothing stored yet, said yes to, and taken back whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import jobs, web
from app.actions import imports as actions
from app.actions import uploads
from app.errors import NotFound, Refused
from app.files import columns, sheets
from app.files.columns import COLUMNS, KINDS, Kind
from app.files.tables_out import plain
from app.pages.changing import Looking, Seen
from app.pages.exports import CSV, Table, as_csv, download
from app.pages.looked_through import LookedThrough, of_preview, read_job
from app.store import imports
from app.store import jobs as job_rows
from app.store.derived import Upload

router = APIRouter(prefix="/imports")

# Rows; a longer file is looked through by a job, which shows how far it is.
LOOKED_THROUGH_AT_ONCE = 5_000
FAULTS_SHOWN = 200
CHANGES_SHOWN = 200
WARNINGS_SHOWN = 200
RUNS_SHOWN = 50
TELLS: dict[Kind, str] = {
    "cars": "Cars with their tank, lading, lining and stencil. The first file to bring in.",
    "events": "Inspections and changes, with readings. The cars must be in the register.",
    "components": "Relief devices, valves and other parts. The cars must be in the register.",
    "ladings": "Ladings to choose from when a car goes into another service.",
    "visits": "Days on which cars were sent to shops, arrived and were released. The cars must be in the register.",
}


@dataclass(frozen=True, slots=True)
class KindOfFile:
    kind: Kind
    tells: str
    columns: Sequence[columns.Column]


KINDS_OF_FILE = tuple(KindOfFile(kind, TELLS[kind], COLUMNS[kind]) for kind in TELLS)


@router.get("")
@web.may("bring_in")
def files_in(request: Request, db: web.Db, settings: web.Configured) -> Response:
    kind = request.query_params.get("kind", "")
    return _files_in(request, db, settings.upload_limit_mb, kind)


@router.post("")
@web.may("bring_in")
def hand_in(
    request: Request, posted: web.Posted, db: web.Db, looking: Looking, settings: web.Configured
) -> Response:
    """Keep the file and look through it; nothing of it goes into the record yet."""
    kind = next((each for each in KINDS if each == posted.one("kind")), None)
    file = posted.file("file")
    if kind is None or file is None:
        problem = "Choose what the file holds." if kind is None else "Choose a file."
        return _files_in(request, db, settings.upload_limit_mb, posted.one("kind"), problem)
    content = file.file.read()
    try:
        sheet = sheets.read(file.filename or "file", content)
    except Refused as wrong:
        return _files_in(request, db, settings.upload_limit_mb, kind, str(wrong))
    upload = uploads.keep(db, kind, sheet.name, content, looking.stamp)
    if sheet.about <= LOOKED_THROUGH_AT_ONCE:
        return web.see_other(f"/imports/waiting/{upload.id}")
    job_id = jobs.ask(db, "look-through", {"upload_id": upload.id}, looking.stamp.by)
    return web.see_other(f"/jobs/{job_id}")


@router.get("/waiting/{upload_id}")
@web.may("bring_in")
def waiting(request: Request, upload_id: str, db: web.Db, looking: Looking) -> Response:
    upload = imports.upload_or_raise(db, upload_id)
    seen = _preview(db, upload, looking, request.query_params.get("preview"))
    return web.page(
        request,
        "imports/waiting.html",
        upload=upload,
        seen=seen,
        faults=seen.faults[:FAULTS_SHOWN],
        changes=seen.changes[:CHANGES_SHOWN],
        warnings=seen.warnings[:WARNINGS_SHOWN],
        before=imports.by_content(db, upload.kind, sha256(upload.content).hexdigest()),
        preview=request.query_params.get("preview", ""),
    )


@router.get("/waiting/{upload_id}/faults.csv")
@web.may("bring_in")
def faults(request: Request, upload_id: str, db: web.Db, looking: Looking) -> Response:
    upload = imports.upload_or_raise(db, upload_id)
    seen = _preview(db, upload, looking, request.query_params.get("preview"))
    rows = ((each.row, each.column, each.found, each.wanted) for each in seen.faults)
    return as_csv(Table("faults", "Faults", plain("row", "column", "found", "wanted"), rows))


@router.post("/waiting/{upload_id}/confirm")
@web.may("bring_in")
def confirm(upload_id: str, db: web.Db, looking: Looking) -> Response:
    """Bring the file in. Said twice, it is one job: the second yes leads to the first."""
    asked = _asked_before(db, upload_id)
    if asked is None:
        upload = imports.upload_or_raise(db, upload_id)
        asked = jobs.ask(db, "import", {"upload_id": upload.id}, looking.stamp.by)
    return web.see_other(f"/jobs/{asked}")


@router.post("/waiting/{upload_id}/drop")
@web.may("bring_in")
def drop(upload_id: str, db: web.Db) -> Response:
    uploads.drop(db, upload_id)
    return web.see_other("/imports")


@router.get("/templates/{kind}-columns.csv")
@web.may("bring_in")
def column_list(kind: str) -> Response:
    known = _kind_or_raise(kind)
    return download(columns.template_csv(known).encode(), f"{known}-columns.csv", CSV)


@router.get("/templates/{kind}.csv")
@web.may("bring_in")
def empty_file(kind: str) -> Response:
    known = _kind_or_raise(kind)
    return download(columns.empty_file(known).encode(), f"{known}.csv", CSV)


@router.get("/{import_id}")
@web.may("bring_in")
def run(request: Request, import_id: web.Key, db: web.Db) -> Response:
    return web.page(request, "imports/show.html", run=imports.run_or_raise(db, import_id))


@router.get("/{import_id}/take-back")
@web.may("bring_in")
def ask_to_take_back(request: Request, import_id: web.Key, db: web.Db) -> Response:
    return web.page(request, "imports/take_back.html", run=imports.run_or_raise(db, import_id))


@router.post("/{import_id}/take-back")
@web.may("bring_in")
def take_back(import_id: web.Key, db: web.Db, looking: Looking) -> Response:
    run = imports.run_or_raise(db, import_id)
    if run.taken_back_at is not None:
        return web.see_other(f"/imports/{import_id}")
    asked = _asked_before(db, import_id, "take-back", "import_id")
    asked = asked or jobs.ask(db, "take-back", {"import_id": import_id}, looking.stamp.by)
    return web.see_other(f"/jobs/{asked}")


def _files_in(
    request: Request, db: Session, limit_mb: int, kind: str, problem: str = ""
) -> Response:
    return web.page(
        request,
        "imports/list.html",
        422 if problem else 200,
        kinds=KINDS_OF_FILE,
        chosen=kind,
        problem=problem,
        limit_mb=limit_mb,
        runs=imports.runs(db, RUNS_SHOWN),
    )


def _kind_or_raise(name: str) -> Kind:
    for kind in KINDS:
        if kind == name:
            return kind
    raise NotFound(f"There is no file of {name}. Want one of: {', '.join(KINDS)}.")


def _sheet(upload: Upload) -> sheets.Sheet:
    return sheets.read(upload.file_name, upload.content)


def _preview(db: Session, upload: Upload, looking: Seen, job_id: str | None) -> LookedThrough:
    """What the file would do: as the job found that looked through it, or found out now."""
    if job_id:
        return read_job(job_rows.get(db, job_id).result)
    kind = _kind_or_raise(upload.kind)
    return of_preview(actions.preview(db, kind, _sheet(upload), looking.stamp))


def _asked_before(
    db: Session, key: str | int, kind: str = "import", field: str = "upload_id"
) -> str | None:
    """The job that does this already, or has done it."""
    return next(
        (
            job.id
            for job in job_rows.latest(db, 100)
            if job.kind == kind and job.payload.get(field) == key and job.state != "failed"
        ),
        None,
    )
