"""A page that describes the API to people, made from its OpenAPI description."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app import web

router = APIRouter(include_in_schema=False)


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


@router.get("/docs")
def described(request: Request) -> HTMLResponse:
    schema = request.app.openapi()
    return web.page(request, "api/show.html", operations=list(operations(schema)))


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
