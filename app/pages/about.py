"""What the program is for, what it does not decide, and which of its rules were verified."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app import web

router = APIRouter()


@router.get("/about")
def about(request: Request) -> HTMLResponse:
    return web.page(request, "about/show.html")
