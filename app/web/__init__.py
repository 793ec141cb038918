"""What pages and the API share: what a handler asks for, rendering, the answer to a Problem."""

from app.web.guard import Guard
from app.web.problems import answer_problems
from app.web.rendering import page, partial, see_other
from app.web.requests import (
    LARGEST_KEY,
    Configured,
    Db,
    Key,
    Now,
    Posted,
    Recorder,
    Sent,
    Today,
    wants_part,
)

__all__ = [
    "LARGEST_KEY",
    "Configured",
    "Db",
    "Guard",
    "Key",
    "Now",
    "Posted",
    "Recorder",
    "Sent",
    "Today",
    "answer_problems",
    "page",
    "partial",
    "see_other",
    "wants_part",
]
