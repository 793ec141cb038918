"""GET /health: the program is alive. GET /ready: it can answer, with its store and its disk, or why not."""

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse

from app import __version__, web
from app.store.readiness import FINE, readiness

router = APIRouter()
UNKEPT = {"Cache-Control": "no-store"}


@router.get("/health")
@web.may("everyone")
def health() -> JSONResponse:
    return JSONResponse({"status": "ok", "version": __version__}, headers=UNKEPT)


@router.get("/ready")
@web.may("everyone")
def ready(request: Request) -> JSONResponse:
    found = readiness(request.app.state.engine)
    fine = set(found.values()) == {FINE}
    told = {"status": "ready" if fine else "not ready", "checks": found}
    return JSONResponse(told, 200 if fine else 503, headers=UNKEPT)
