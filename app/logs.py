"""What the processes tell on stderr: a line each, for people or (JSON) for programs.

A line never holds what somebody typed or sent. So of an exception only its kind, its code and its
places are told: its message may quote a value.
"""

from __future__ import annotations

import json
import logging
import sys
import traceback
from collections.abc import Iterator
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any, Literal

Form = Literal["text", "json"]
Level = Literal["debug", "info", "warning", "error"]
OURS = "app"

# Of the request that is being answered, so that every line told meanwhile names it.
request_id: ContextVar[str] = ContextVar("request_id", default="")


def set_up(form: Form, level: Level) -> None:
    """Tell on stderr from now on. `level` is for what is ours; of libraries only warnings are told."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(AsJson() if form == "json" else AsText())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(max(logging.WARNING, logging.getLevelNamesMapping()[level.upper()]))
    logging.getLogger(OURS).setLevel(level.upper())


class AsJson(logging.Formatter):
    """One JSON object a line; what a record was given as `extra={"told": {...}}` stands beside the rest."""

    def format(self, record: logging.LogRecord) -> str:
        return json.dumps(_told(record), ensure_ascii=False, default=str)


class AsText(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        told = _told(record)
        told.pop("message")
        head = f"{told.pop('time')} {told.pop('level')} {told.pop('logger')}: {_message(record)}"
        places = told.pop("exception", [])
        rest = "".join(f" {name}={value}" for name, value in told.items() if value is not None)
        # A line stays a line, whatever a library had to say.
        return "\n  ".join((head + rest).splitlines() + list(places))


def _told(record: logging.LogRecord) -> dict[str, Any]:
    told: dict[str, Any] = {
        "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
        "level": record.levelname.lower(),
        "logger": record.name,
        "message": _message(record),
    }
    if request_id.get():
        told["request_id"] = request_id.get()
    told |= getattr(record, "told", {})
    if record.exc_info and record.exc_info[1]:
        told["exception"] = list(_places(record.exc_info[1]))
    return told


def _message(record: logging.LogRecord) -> str:
    return " ".join(record.getMessage().splitlines())


def _places(wrong: BaseException) -> Iterator[str]:
    """What was raised and where, the cause first; nothing of what it says."""
    before = wrong.__cause__ or (None if wrong.__suppress_context__ else wrong.__context__)
    if before is not None:
        yield from _places(before)
    yield f"{type(wrong).__module__}.{type(wrong).__qualname__}{_code(wrong)}"
    for frame in traceback.extract_tb(wrong.__traceback__):
        yield f"at {frame.filename}:{frame.lineno} in {frame.name}"


def _code(wrong: BaseException) -> str:
    """What a database or the system calls it, which is a fixed word."""
    inner = getattr(wrong, "orig", None) or wrong
    names = ("sqlite_errorname", "sqlstate", "strerror")
    found = next(filter(None, (getattr(inner, name, None) for name in names)), None)
    return f" ({found})" if found else ""
