"""The API's description: as OpenAPI for programs, and made from it a page for people."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse

from app import answers, web
from app.api.calculator import REQUEST, SPECIFICATION

router = APIRouter(include_in_schema=False)

INFO = {
    "description": (
        "The register of railroad tank cars and their qualification due dates, with reasons. "
        "A due date is a calculation aid: the rule in force, the owner's written instructions and "
        "the qualified shop decide."
    ),
    "license": {"name": "Apache-2.0", "identifier": "Apache-2.0"},
}
ANSWERS: dict[tuple[str, str], Callable[[], Any]] = {
    ("/api/v1/due-dates", "post"): lambda: answers.due_dates(REQUEST),
    ("/api/v1/stencils/{text}", "get"): lambda: answers.decode(SPECIFICATION),
}


@dataclass(frozen=True, slots=True)
class Parameter:
    name: str
    place: str
    required: bool
    description: str


@dataclass(frozen=True, slots=True)
class Operation:
    """One address and method, as the page shows it."""

    method: str
    path: str
    subject: str
    summary: str
    paragraphs: tuple[str, ...]
    parameters: tuple[Parameter, ...]
    example: str | None
    answers: tuple[tuple[str, str], ...]


@router.get("/openapi.json")
@web.may("everyone")
def description(request: Request) -> JSONResponse:
    return JSONResponse(described(request.app))


@router.get("/docs")
@web.may("everyone")
def page(request: Request) -> HTMLResponse:
    found = list(operations(described(request.app)))
    return web.page(request, "api/show.html", operations=found)


def described(app: FastAPI) -> dict[str, Any]:
    """The OpenAPI description, with answers that the calculator itself gives to the examples."""
    schema = app.openapi()
    if "description" not in schema["info"]:
        schema["info"] |= INFO
        # Put in here, since the framework drops every null from an example that it is given.
        for (path, method), answer in ANSWERS.items():
            answered = schema["paths"][path][method]["responses"]["200"]
            answered["content"]["application/json"]["example"] = answer()
    return schema


def operations(schema: Mapping[str, Any]) -> Iterator[Operation]:
    """Every operation of an OpenAPI description, in its order."""
    for path, methods in schema["paths"].items():
        for method, told in methods.items():
            yield Operation(
                method=method.upper(),
                path=path,
                subject=told["tags"][0],
                summary=told["summary"],
                paragraphs=tuple(told.get("description", "").split("\n\n")),
                parameters=tuple(_parameter(each) for each in told.get("parameters", ())),
                example=_example(told),
                answers=tuple(
                    (status, answer["description"]) for status, answer in told["responses"].items()
                ),
            )


def _parameter(told: Mapping[str, Any]) -> Parameter:
    schema = told["schema"]
    words = told.get("description") or schema.get("description") or ""
    choices = [each["enum"] for each in (schema, *schema.get("anyOf", ())) if "enum" in each]
    if choices:
        words = f"{words}{'; ' if words else ''}one of {', '.join(choices[0])}"
    return Parameter(told["name"], told["in"], told["required"], words)


def _example(told: Mapping[str, Any]) -> str | None:
    """The first example of the body, as it is sent."""
    content = told.get("requestBody", {}).get("content", {}).get("application/json", {})
    first = next(iter(content.get("examples", {}).values()), None)
    return None if first is None else json.dumps(first["value"], indent=2)
