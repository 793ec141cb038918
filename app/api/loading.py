"""May a car be loaded: the one question of a loading rack, for its own program."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import Path
from pydantic import Field

from app import web
from app.actions import may_load
from app.answers.response import loading_as_json
from app.api.exact import can_fail, subject
from app.api.schemas import LoadingOut, Out

router = subject("loading")

Mark = Annotated[str, Path(pattern="^[A-Za-z]{2,4}$", examples=["ZQKX"])]
Number = Annotated[int, Path(ge=1, le=999_999, examples=[104512])]


class LoadingAnswerOut(Out):
    """The answer for one car on one day."""

    car: str = Field(examples=["ZQKX 104512"])
    on: date
    loading: LoadingOut


@router.get(
    "/cars/{mark}/{number}/loading",
    summary="May this car be loaded?",
    responses=can_fail(404, 409),
)
@web.may("load_check")
def loading(
    mark: Mark,
    number: Number,
    db: web.Db,
    today: web.Today,
    settings: web.Configured,
    on: date | None = None,
) -> LoadingAnswerOut:
    """On a day (today when none is given), by all that is recorded of it.

    A calculation aid: the rule in force, the owner's written instructions and the qualified shop
    decide.
    """
    found = may_load.of_car(db, mark.upper(), number, on or today, settings.soon_days)
    return LoadingAnswerOut(
        car=f"{found.mark} {found.number}",
        on=found.on,
        loading=LoadingOut(**loading_as_json(found.loading)),
    )
