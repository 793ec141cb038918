"""What the program is for, and what it does not decide."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.actions import rulebooks

router = APIRouter()


@router.get("/about")
@web.may("everyone")
def about(request: Request, db: web.Db, settings: web.Configured) -> Response:
    rulebook = rulebooks.in_force(db).everyone.rulebook
    return web.page(request, "about/show.html", rulebook=rulebook, soon_days=settings.soon_days)
