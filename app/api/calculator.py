"""Questions that need no register: due dates for a request, and what a specification means."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Body, Path
from fastapi.responses import JSONResponse
from pydantic import SkipValidation

from app import answers, web
from app.answers.request import Request
from app.api.exact import subject
from app.api.schemas import DueDatesOut, SpecificationOut

router = subject("calculator")

REQUEST: dict[str, Any] = {
    "as_of": "2026-11-25",
    "car": {
        "mark": "ZQKX",
        "number": 104512,
        "specification": "DOT 111A100W1",
        "built_on": "2008-03-15",
        "tank": {"material": "A516-70", "inside_diameter_in": 119},
        "service": {"commodity": "Vegetable oil", "hazardous": False},
        "relief_device": {"kind": "valve", "set_psig": 75, "tested_on": "2018-03-15"},
    },
    "events": [
        {
            "on": "2018-03-15",
            "items": ["visual", "structural_integrity", "thickness"],
            "readings": [{"zone": "shell_bottom", "inches": 0.4375}],
        }
    ],
}
SPECIFICATION = "DOT 111A100W1"
EXAMPLES: dict[str, Any] = {
    "one": {"summary": "One car", "value": REQUEST},
    "several": {"summary": "Several cars at once", "value": [REQUEST, REQUEST]},
}


@router.post(
    "/due-dates",
    summary="Due dates of a car, with their reasons",
    response_model=DueDatesOut | list[DueDatesOut],
)
@web.may("everyone")
def due_dates(
    request: Annotated[SkipValidation[Request | list[Request]], Body(openapi_examples=EXAMPLES)],
) -> JSONResponse:
    """What must be done to a car next, by when, why, and may it be loaded on the day asked for.

    Nothing is stored or read: all that is known of the car comes with the request. A list of
    requests gives a list of answers. Numbers are taken as the decimals that are written; unknown
    fields are refused by name.

    A calculation aid: the rule in force, the owner's written instructions and the qualified shop
    decide.
    """
    return JSONResponse(answers.due_dates(request))


@router.get(
    "/stencils/{text:path}",
    summary="What a specification means",
    response_model=SpecificationOut,
)
@web.may("everyone")
def stencil(
    text: Annotated[
        str,
        Path(
            description="as stenciled; spaces, hyphens and case do not matter",
            examples=[SPECIFICATION],
            max_length=200,
        ),
    ],
) -> JSONResponse:
    """Agency, class, delimiter, test pressure, material, weld and suffix, and what the tables say.

    What cannot be read is refused with a sentence that shows the place.
    """
    return JSONResponse(answers.decode(text))
