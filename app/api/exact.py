"""How the API reads a request: bodies exactly as written, and every fault in the one error shape."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException

from app.answers.faults import path, sentence
from app.api.schemas import ErrorOut
from app.errors import Fault, Problem, Refused
from app.files.exact_json import read_json

NOT_JSON = "is not marked as JSON, send it with the header Content-Type: application/json"
# Parameters that ask for several things at once.
MAY_REPEAT = frozenset({"car"})
ERRORS: dict[int | str, dict[str, Any]] = {
    404: {"model": ErrorOut, "description": "What was named is not in the register."},
    409: {"model": ErrorOut, "description": "It contradicts what is recorded already."},
    412: {"model": ErrorOut, "description": "Something was recorded since it was read."},
    422: {"model": ErrorOut, "description": "What was given cannot be taken as it is."},
}


def subject(name: str) -> APIRouter:
    """A router for one subject of the API."""
    return APIRouter(tags=[name], route_class=ExactRoute, responses={422: ERRORS[422]})


def can_fail(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """The error answers, beside 422, to document for a route."""
    return {status: ERRORS[status] for status in statuses}


class ExactRequest(Request):
    """A request whose JSON keeps every decimal as written."""

    async def json(self) -> Any:
        return read_json(await self.body())

    def says_json(self) -> bool:
        kind = self.headers.get("content-type", "").partition(";")[0].strip().lower()
        return kind == "application/json" or (
            kind.startswith("application/") and kind.endswith("+json")
        )


class ExactRoute(APIRoute):
    """A route that reads its body exactly, and refuses what does not fit as the house does."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        handle = super().get_route_handler()

        async def exact(request: Request) -> Response:
            asked = ExactRequest(request.scope, request.receive)
            _refuse_repeated(asked)
            try:
                if self.body_field and await asked.body() and not asked.says_json():
                    raise Refused.because([Fault("request", NOT_JSON)])
                return await handle(asked)
            except RequestValidationError as wrong:
                raise Refused.because(_faults(wrong)) from None
            except HTTPException as wrong:
                # What reading the body raised comes to us wrapped as "error parsing the body".
                if isinstance(wrong.__cause__, Problem):
                    raise wrong.__cause__ from None
                raise

        return exact


def _refuse_repeated(request: Request) -> None:
    """What is given twice would be answered for the last of the two alone."""
    asked = request.query_params
    counts = {name: len(asked.getlist(name)) for name in asked.keys() - MAY_REPEAT}
    if repeated := [
        Fault(name, f"is given {many} times, give it once")
        for name, many in counts.items()
        if many > 1
    ]:
        raise Refused.because(repeated)


def _faults(wrong: RequestValidationError) -> list[Fault]:
    return [Fault(path(each["loc"][1:]), sentence(each)) for each in wrong.errors()]
