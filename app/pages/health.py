"""GET /health: whether the program serves and its store answers."""

from fastapi import APIRouter
from fastapi.responses import JSONResponse

from app import __version__
from app.web import Db

router = APIRouter()


@router.get("/health")
def health(db: Db) -> JSONResponse:
    db.connection()
    return JSONResponse({"status": "ok", "version": __version__})
