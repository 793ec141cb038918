"""What pages and the API share: what a handler asks for, rendering, the answer to a Problem."""

from app.web.admission import may, must_be_for_all
from app.web.guard import Guard
from app.web.problems import answer_problems
from app.web.rendering import page, partial, see_other
from app.web.requests import (
    LARGEST_KEY,
    Asking,
    Configured,
    Db,
    Key,
    Now,
    Opening,
    Posted,
    Recorder,
    Seeing,
    Sent,
    Sessions,
    Stamped,
    Today,
    recorder_for,
    wants_part,
)

__all__ = [
    "LARGEST_KEY",
    "Asking",
    "Configured",
    "Db",
    "Guard",
    "Key",
    "Now",
    "Opening",
    "Posted",
    "Recorder",
    "Seeing",
    "Sent",
    "Sessions",
    "Stamped",
    "Today",
    "answer_problems",
    "may",
    "must_be_for_all",
    "page",
    "partial",
    "recorder_for",
    "see_other",
    "wants_part",
]
