"""What a report still lacks of the eight things that it has to hold (49 CFR 180.517(b)), and what it contradicts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from app.core.field.report import FieldReport, Says, states, staying
from app.core.words import capitalized, label

# By our name what each field is called, in the order of the rule.
EIGHT: Mapping[str, str] = {
    "type_of_test": "Type of test or inspection",
    "results": "Results",
    "mark_and_number": "Mark and number",
    "specification": "Specification",
    "date": "Month and year",
    "defects": "Defects found, where, and how each was repaired",
    "facility": "Facility, its address, and the inspector with signature",
    "station_code": "Station code of the facility",
}
CITATION = "180.517(b)"
_OF_FACILITY = (("facility", "the name"), ("facility_address", "the address"))


@dataclass(frozen=True, slots=True)
class Missing:
    """A field of `EIGHT` that is not whole; `path` is where it would be filled in, `problem` a sentence."""

    field: str
    path: str
    problem: str


def missing(report: FieldReport, devices: Mapping[int, str]) -> tuple[Missing, ...]:
    """What is still to be recorded before the report can be signed, the signature left out.

    `devices` are the relief devices on the car, by the number of their installation. Mark, number
    and specification are the car's own and never lack.
    """
    if report.begun is None:
        return (Missing("date", "begun", "the report was not begun"),)
    return (
        *_type(report),
        *_results(report, devices),
        *_defects(report),
        *_where(report.begun_says),
    )


def unsigned(report: FieldReport) -> tuple[Missing, ...]:
    """The signature, where it lacks."""
    if report.signed:
        return ()
    return (Missing("facility", "signed", "the inspector has not signed"),)


def _type(report: FieldReport) -> Iterator[Missing]:
    decided = {"pass", "fail"} & set(states(report).values())
    if not decided and not report.of("swap"):
        yield Missing(
            "type_of_test", "outcome", "nothing was inspected, tested or changed; "
            "record what passed or failed"
        )  # fmt: skip


def _results(report: FieldReport, devices: Mapping[int, str]) -> Iterator[Missing]:
    found = states(report)
    for item, state in found.items():
        if state == "open":
            told = f"{label(item)}: say whether it passed, failed, or was not done"
            yield Missing("results", f"outcome.{item}", told)
    for each in report.says("outcome"):
        if each["outcome"] == "not_done" and not each["words"]:
            told = f"{label(each['item'])} was not done; say why"
            yield Missing("results", f"outcome.{each['item']}", told)
    if report.of("reading") and not {"pass", "fail"} & set(found.values()):
        yield Missing("results", "outcome.thickness", "say what the thickness readings came to")
    if found.get("relief_device") == "pass":
        yield from _devices(report, devices)


def _devices(report: FieldReport, devices: Mapping[int, str]) -> Iterator[Missing]:
    """A pass is of every relief device on the car, never of some."""
    tests = {each["installation_id"]: each for each in staying(report)}
    off = {each["off_installation_id"] for each in report.says("swap")}
    for key, test in tests.items():
        if test["outcome"] == "fail":
            told = f"{devices.get(key, f'device {key}')} failed its bench test and stays on the car"
            yield Missing("results", "outcome.relief_device", f"{told}, so this did not pass")
    untested = [name for key, name in devices.items() if key not in tests and key not in off]
    if (tests or off & devices.keys()) and untested:
        told = f"{capitalized(', '.join(untested))} was neither tested nor replaced"
        yield Missing("results", "outcome.relief_device", f"{told}, and a pass is of every device")


def _defects(report: FieldReport) -> Iterator[Missing]:
    for entry in report.of("defect"):
        says, path = entry.says, f"defect.{entry.key}"
        if not says["place"]:
            yield Missing("defects", path, f"say where the {label(says['defect'])} is")
        if says["repaired"] and not says["how_repaired"]:
            yield Missing("defects", path, f"say how the {label(says['defect'])} was repaired")


def _where(begun: Says) -> Iterator[Missing]:
    for name, what in _OF_FACILITY:
        if not begun[name]:
            yield Missing("facility", f"begun.{name}", f"give {what} of the facility")
    if not begun["station_code"]:
        yield Missing("station_code", "begun.station_code", "give the station code of the facility")
