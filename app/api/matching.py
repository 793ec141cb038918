"""Versions of what is recorded of a car: told as ETag, and asked for with If-Match before a change."""

from __future__ import annotations

from typing import Annotated

from fastapi import Header
from sqlalchemy.orm import Session

from app.errors import Outdated
from app.store import change_list

IfMatch = Annotated[
    str | None,
    Header(
        max_length=400,
        description="the ETag of the car as you read it: where something was recorded of it since, "
        "nothing is recorded now, and the answer is 412",
        examples=['"car-5-17"'],
    ),
]


def etag(db: Session, car_id: int) -> str:
    """The version of a car: the last entry about it in the record of change."""
    return f'"car-{car_id}-{change_list.latest_about(db, car_id)}"'


def must_match(db: Session, car_id: int, wanted: str | None) -> None:
    """Raise Outdated unless the car is as it was read. Asked once the change holds the car's lock."""
    if wanted is None or wanted.strip() == "*":
        return
    now = etag(db, car_id)
    if now not in {each.strip() for each in wanted.split(",")}:
        raise Outdated(
            f"Something was recorded of this car since you read it: its version is {now} now. Nothing "
            f"was recorded by this request. Read the car again, then send what still holds."
        )
