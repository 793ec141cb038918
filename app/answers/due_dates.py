"""Due dates for a request as it was sent: one object, or a list of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from pydantic import ValidationError

from app.answers.checks import contradictions
from app.answers.faults import WHOLE, faults_of
from app.answers.given import given, place_in_order, readable
from app.answers.request import Request
from app.answers.response import answer_as_json
from app.core.due import due_dates as calculate
from app.core.facts import Answer
from app.core.rule import Rulebook
from app.errors import Fault, Refused
from app.rules.reader import default_rulebook


def due_dates(
    payload: object, rulebook: Rulebook | None = None
) -> dict[str, Any] | list[dict[str, Any]]:
    """The response to a request, or the list of responses to a list; raises Refused with every fault and its path."""
    if not isinstance(payload, list):
        return answer_as_json(answer(payload, rulebook))
    faults: list[Fault] = []
    answers = []
    for place, request in enumerate(payload):
        try:
            answers.append(answer_as_json(answer(request, rulebook, (place,))))
        except Refused as refused:
            faults += refused.faults
    if faults:
        raise Refused.because(faults)
    return answers


def due_dates_lines(
    payloads: Iterable[object], rulebook: Rulebook | None = None
) -> Iterator[dict[str, Any] | Refused]:
    """One answer or refusal for each payload, in order, holding one at a time."""
    for payload in payloads:
        try:
            yield answer_as_json(answer(payload, rulebook))
        except Refused as refused:
            yield refused


def answer(
    payload: object, rulebook: Rulebook | None = None, place: Sequence[str | int] = ()
) -> Answer:
    """The core's answer to one request; `place` is where the request stands, for the paths of its faults."""
    rulebook = rulebook or default_rulebook()
    try:
        request = Request.model_validate(payload)
    except ValidationError as error:
        raise _refused(_all_faults(payload, error, rulebook), place) from error
    faults = contradictions(given(request), rulebook)
    if faults:
        raise _refused(faults, place)
    return calculate(request.as_core(), rulebook)


def _all_faults(payload: object, error: ValidationError, rulebook: Rulebook) -> list[Fault]:
    """What is wrong with fields, and what contradicts between those that can be read, by place."""
    of_fields = faults_of(error)
    told = {fault.path for fault in of_fields}
    others = [each for each in contradictions(readable(payload), rulebook) if each.path not in told]
    return sorted([*of_fields, *others], key=lambda each: place_in_order(each.path))


def _refused(faults: Iterable[Fault], place: Sequence[str | int]) -> Refused:
    if not place:
        return Refused.because(faults)
    before = ".".join(map(str, place))
    # A question that is no object at all is told at its place in the list.
    paths = ((before if each.path == WHOLE else f"{before}.{each.path}", each) for each in faults)
    return Refused.because(Fault(path, each.problem) for path, each in paths)
