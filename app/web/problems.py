"""The one place that answers a Problem: a page for people, one JSON shape under /api.

Status numbers live only here.
"""

from __future__ import annotations

import logging
from http import HTTPStatus

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

from app.errors import (
    Away,
    Busy,
    Conflict,
    Fault,
    NewerStore,
    NotFound,
    Outdated,
    Problem,
    Refused,
    TooMany,
)
from app.store import trouble
from app.web.admission import (
    READING,
    NotAllowed,
    NotSignedIn,
    SecondNeeded,
    sign_in_address,
    start_page,
)
from app.web.headers import headers_for
from app.web.held import Held, held
from app.web.hosts import own_address
from app.web.logs import HEADER, pattern_of
from app.web.rendering import page, partial, see_other
from app.web.requests import wants_part

log = logging.getLogger(__name__)

STATUSES: dict[type[Problem], int] = {
    NotAllowed: 403,
    SecondNeeded: 403,
    NotFound: 404,
    Outdated: 412,
    Conflict: 409,
    Refused: 422,
    NewerStore: 503,
    TooMany: 429,
}
# What a form meets whose person lost the right, or whose car went out of reach, while it was open.
RIGHT_ENDED = (403, 404)
SECONDS_UNTIL_RETRY = "3"
HEADINGS = {
    400: "This request cannot be read",
    401: "You are signed out",
    403: "This may not be done here",
    404: "Not found",
    405: "This address does not do that",
    408: "This request came too slowly",
    409: "This contradicts what is recorded",
    412: "Something was recorded meanwhile",
    413: "This file is too large",
    421: "This is not the name of this register",
    422: "This cannot be taken as it is",
    429: "Too much in a short time",
    500: "Something is wrong in the program",
    503: "Not possible just now",
}
BUG = (
    "Nothing of this request was stored. The fault is in the program and was written to its log. "
    "Go back, and if it happens again tell whoever looks after it what you did."
)
STAYS = "Nothing on this page was changed, and what you typed is still here."


def answer_problems(app: FastAPI) -> None:
    """Have `app` answer every error in the house's way."""
    app.add_exception_handler(Problem, _problem)
    app.add_exception_handler(Busy, _busy)
    app.add_exception_handler(NotSignedIn, _not_signed_in)
    app.add_exception_handler(SecondNeeded, _second_needed)
    app.add_exception_handler(RequestValidationError, _unreadable)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(Exception, _bug)


def explain(
    request: Request,
    status: int,
    message: str,
    faults: list[Fault] | None = None,
    kept: Held | None = None,
) -> Response:
    """The answer to a request that went wrong: what was found, what is wanted, a way back."""
    found = faults or []
    if request.url.path.startswith("/api/"):
        return as_json(status, message, found)
    render, template = (partial, "_error.html") if wants_part(request) else (page, "error.html")
    return render(
        request,
        template,
        status,
        heading=HEADINGS.get(status, HTTPStatus(status).phrase),
        message=message,
        faults=found,
        held=kept,
        back=_back(request),
    )


def as_json(status: int, message: str, faults: list[Fault]) -> JSONResponse:
    """The one shape: {"error": {"message": ..., "faults": [{"path": ..., "problem": ...}]}}."""
    listed = [{"path": fault.path, "problem": fault.problem} for fault in faults]
    return JSONResponse({"error": {"message": message, "faults": listed}}, status)


def _back(request: Request) -> str | None:
    """The page that led here, when it is one of ours."""
    host = f"//{request.headers.get('host', '')}/"
    _, found, path = request.headers.get("referer", "").partition(host)
    return own_address(f"/{path}") if found and f"/{path}" != request.url.path else None


async def _problem(request: Request, problem: Exception) -> Response:
    assert isinstance(problem, Problem)
    elsewhere = start_page(request) if isinstance(problem, NotAllowed) else None
    if elsewhere:
        return see_other(elsewhere)
    status = next(number for kind, number in STATUSES.items() if isinstance(problem, kind))
    kept = await held(request) if status in RIGHT_ENDED else None
    worth = kept if kept and (kept.typed or kept.files) else None
    answer = explain(request, status, str(problem), problem.faults, worth)
    if isinstance(problem, TooMany):
        answer.headers["Retry-After"] = str(problem.seconds)
    return answer


async def _busy(request: Request, problem: Exception) -> Response:
    """A form must survive that others were writing: the answer holds it, to be sent again."""
    assert isinstance(problem, Busy)
    if isinstance(problem, Away):
        log.error("%s Cause: %s", problem, trouble.said(problem.__cause__))
    if request.url.path.startswith("/api/"):
        answer: Response = as_json(503, str(problem), [])
    elif wants_part(request):
        answer = explain(request, 503, f"{problem} {STAYS}")
    else:
        answer = page(
            request,
            "busy.html",
            503,
            heading=HEADINGS[503],
            message=str(problem),
            locked=type(problem) is Busy,
            unsure=problem.unsure,
            held=await held(request),
            back=_back(request),
        )
    answer.headers["Retry-After"] = SECONDS_UNTIL_RETRY
    return answer


async def _not_signed_in(request: Request, problem: Exception) -> Response:
    """To the page for signing in, and back; what a form sent meanwhile is held, to be sent again."""
    address = sign_in_address(request)
    if request.url.path.startswith("/api/"):
        answer: Response = as_json(401, str(problem), [])
        answer.headers["WWW-Authenticate"] = "Bearer"
    elif wants_part(request):
        answer = explain(request, 401, str(problem))
        answer.headers["HX-Redirect"] = address
    elif request.method in READING:
        answer = see_other(address)
    else:
        answer = page(
            request,
            "signed_out.html",
            401,
            heading=HEADINGS[401],
            sign_in=address,
            held=await held(request),
        )
    return answer


async def _second_needed(request: Request, problem: Exception) -> Response:
    """A page that leads to both ways of setting a second secret up; holds what a form sent."""
    assert isinstance(problem, SecondNeeded)
    if request.url.path.startswith("/api/") or wants_part(request):
        return explain(request, STATUSES[SecondNeeded], str(problem))
    return page(
        request,
        "second_needed.html",
        STATUSES[SecondNeeded],
        message=str(problem),
        held=await held(request),
    )


def _unreadable(request: Request, wrong: Exception) -> Response:
    assert isinstance(wrong, RequestValidationError)
    refused = Refused.because(
        Fault(".".join(str(part) for part in each["loc"][1:]), each["msg"])
        for each in wrong.errors()
    )
    return explain(request, 422, str(refused), refused.faults)


def _http(request: Request, wrong: Exception) -> Response:
    assert isinstance(wrong, HTTPException)
    if wrong.status_code == 404:
        message = f"There is no page at {request.url.path}."
    elif wrong.status_code == 405:
        message = f"{request.url.path} does not take {request.method}."
    else:
        message = str(wrong.detail)
    answer = explain(request, wrong.status_code, message)
    answer.headers.update(wrong.headers or {})
    return answer


def _bug(request: Request, wrong: Exception) -> Response:
    log.error("%s %s failed", request.method, pattern_of(request.scope), exc_info=wrong)
    answer = explain(request, 500, BUG)
    answer.headers.update(
        headers_for(request.app.state.settings.https)
    )  # this answer is made outside of Guard, and of what names a request
    answer.headers[HEADER] = request.state.request_id
    return answer
