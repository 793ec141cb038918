"""What the program is for, what it does not decide, and which of its rules were verified."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.rules.reader import default_rulebook

router = APIRouter()


@router.get("/about")
def about(request: Request, settings: web.Configured) -> Response:
    rulebook = default_rulebook()
    rules = list(rulebook.rules.values())
    return web.page(
        request,
        "about/show.html",
        rulebook=rulebook,
        rules=rules,
        soon_days=settings.soon_days,
        unverified=sum(rule.confidence != "verified" for rule in rules),
    )
