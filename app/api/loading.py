"""May cars be loaded: the one question of a loading rack, for its own program."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from typing import Annotated, Any, Literal

from fastapi import Body, Path, Query
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from app import web
from app.actions import may_load
from app.actions.may_load import MOST_CARS, MOST_DAYS, WITHIN_DAYS, Asked, MayLoad, When
from app.answers.faults import shown
from app.answers.response import loading_as_json, reasons_as_json
from app.api.exact import can_fail, subject
from app.api.schemas import LoadingOut, OnDay, Out, ReasonOut
from app.core.facts import Reason
from app.core.moving import OPEN
from app.errors import Problem

router = subject("loading")

Mark = Annotated[str, Path(pattern="^[A-Za-z]{2,4}$", examples=["ZQKX"])]


def _figures(value: object) -> object:
    """Python reads 1_21 and +121 as numbers too; on a car they are not."""
    if not re.fullmatch(r"\d{1,6}", str(value), re.ASCII):
        raise ValueError(f"must be 1 to 6 figures, got {shown(value)}")
    return value


Number = Annotated[int, BeforeValidator(_figures), Path(ge=1, le=999_999, examples=[104512])]

TRAIN: dict[str, Any] = {
    "cars": [{"car": "ZQKX 104512", "un": "UN1789"}, {"car": "ZQKX 104513"}],
    "on": "2026-11-25",
    "within": 30,
}


class MovingOut(Out):
    """What is known of moving a car that may not be loaded; open in the rule text, never a yes."""

    situation: Literal["loaded", "to_shop"]
    reasons: list[ReasonOut]
    caution: str


class LoadingAnswerOut(Out):
    """The answer for one car on one day.

    `through` is the last day on which no date of the car is past; `soon` falls due within the days
    asked for, when the car may be under way.
    """

    car: str = Field(examples=["ZQKX 104512"])
    on: date
    lading: str | None
    loading: LoadingOut
    through: date | None
    soon: list[ReasonOut]
    warnings: list[ReasonOut]
    moving: list[MovingOut]


class NoAnswerOut(Out):
    """Why there is no answer; a car without one is not to be loaded on the word of this program."""

    car: str
    problem: str


class _In(BaseModel):
    """A misspelt name is refused: an answer for another lading or day would be taken for this one."""

    model_config = ConfigDict(extra="forbid")


class LoadingIn(_In):
    on: OnDay | None = Field(None, description="the day of loading, today when left out")
    un: str = Field(
        "",
        max_length=200,
        pattern=r"^[^\x00]*$",
        description="The lading about to be loaded, by number or name; the recorded one when left out",
        examples=["UN1789"],
    )
    within: int = Field(WITHIN_DAYS, ge=0, le=MOST_DAYS, description="Days ahead to warn of")


class CarIn(_In):
    """A car by its mark and number; without `un` the lading recorded of it."""

    car: str = Field(max_length=200, pattern=r"^[^\x00]*$")
    un: str = Field("", max_length=200, pattern=r"^[^\x00]*$")


class CarsIn(_In):
    """The cars of a train, or any others; `un` is what is about to be loaded, by number or name."""

    cars: list[CarIn] = Field(min_length=1, max_length=MOST_CARS)
    on: OnDay | None = None
    within: int = Field(WITHIN_DAYS, ge=0, le=MOST_DAYS)


class AnswersOut(Out):
    """In the order asked; `key` is that of the list under which the questions are kept."""

    key: str
    answers: list[LoadingAnswerOut | NoAnswerOut]


@router.get(
    "/cars/{mark}/{number}/loading",
    summary="May this car be loaded?",
    responses=can_fail(404, 409),
)
@web.may("load_check")
def loading(
    mark: Mark,
    number: Number,
    opening: web.Opening,
    stamp: web.Stamped,
    sent: Annotated[LoadingIn, Query()],
) -> LoadingAnswerOut:
    """On a day (today when none is given), by all that is recorded of it, with the lading about to be loaded.

    The question is kept with its answer. A calculation aid: the rule in force, the owner's written
    instructions and the qualified shop decide.
    """
    asked, when = [Asked(f"{mark} {number}", sent.un)], When(sent.on or stamp.today, sent.within)
    found, _ = may_load.answered_and_kept(opening.reading, opening.writing, asked, when, stamp)
    if isinstance(found[0], Problem):
        raise found[0]
    return _answer(found[0])


@router.post("/loading", summary="May these cars be loaded?")
@web.may("load_check")
def many(
    sent: Annotated[CarsIn, Body(openapi_examples={"train": {"value": TRAIN}})],
    opening: web.Opening,
    stamp: web.Stamped,
) -> AnswersOut:
    """Each car with its own lading, all answered in one go; a car without an answer says why."""
    asked = [Asked(each.car, each.un) for each in sent.cars]
    when = When(sent.on or stamp.today, sent.within)
    found, key = may_load.answered_and_kept(opening.reading, opening.writing, asked, when, stamp)
    return AnswersOut(
        key=key,
        answers=[
            NoAnswerOut(car=each.car, problem=str(answer))
            if isinstance(answer, Problem)
            else _answer(answer)
            for each, answer in zip(asked, found, strict=True)
        ],
    )


def _answer(found: MayLoad) -> LoadingAnswerOut:
    return LoadingAnswerOut(
        car=f"{found.mark} {found.number}",
        on=found.on,
        lading=found.commodity,
        loading=LoadingOut(**loading_as_json(found.loading)),
        through=found.through,
        soon=_reasons(found.soon),
        warnings=_reasons(found.warnings),
        moving=[
            MovingOut(situation=each.situation, reasons=_reasons(each.reasons), caution=OPEN)
            for each in found.moving
        ],
    )


def _reasons(told: Iterable[Reason]) -> list[ReasonOut]:
    return [ReasonOut(**each) for each in reasons_as_json(told)]
