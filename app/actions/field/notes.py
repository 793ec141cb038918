"""What an event says in words of the work that was done for its items; in full it is in the report."""

from __future__ import annotations

from collections.abc import Iterator

from app.core.field.report import FieldReport, Says, staying
from app.core.measure import with_unit
from app.core.words import capitalized, label


def notes_of(report: FieldReport, items: tuple[str, ...]) -> str:
    """Lines about these items: outcomes in words, bench tests, leak tests, lining, steps not in order, defects."""
    return "\n".join(_lines(report, items))


def _lines(report: FieldReport, items: tuple[str, ...]) -> Iterator[str]:
    for each in report.says("outcome"):
        if each["item"] in items and each["words"]:
            yield f"{capitalized(label(each['item']))}: {each['words']}"
    if "relief_device" in items:
        yield from map(_bench_test, staying(report))
    if "leakage" in items:
        yield from map(_leak_test, report.says("leak_test"))
    if "lining" in items:
        yield from map(_lining, report.says("lining"))
    for each in report.says("step"):
        if each["item"] in items and each["outcome"] != "ok":
            yield _with(f"Step {each['step']}: {label(each['outcome'])}", each["words"])
    for each in report.says("defect"):
        if each["item"] is None or each["item"] in items:
            yield _defect(each)


def _bench_test(says: Says) -> str:
    measured = (
        ("found", "found_psig"),
        ("left", "left_psig"),
        ("vapor tight to", "vapor_tight_psig"),
    )
    told = [
        f"{word} {with_unit(says[name], 'psig')}"
        for word, name in measured
        if says[name] is not None
    ]
    name = f"Bench test of installation {says['installation_id']}"
    return _with(f"{name}: {', '.join([label(says['outcome']), *told])}", says["words"])


def _leak_test(says: Says) -> str:
    told = [
        with_unit(says[name], unit)
        for name, unit in (("psig", "psig"), ("minutes", "minutes"))
        if says[name]
    ]
    with_what = f" with {says['medium']}" if says["medium"] else ""
    what = f"Leak test of {says['what']}{with_what}"
    return _with(f"{what}: {', '.join([label(says['outcome']), *told])}", says["words"])


def _lining(says: Says) -> str:
    told = [says["condition"]]
    if says["spark_volts"] is not None:
        told.append(f"spark test at {says['spark_volts']} volts")
    if says["holidays"] is not None:
        told.append(f"holidays found: {says['holidays']}")
    return _with(f"Lining, {says['area']}: {', '.join(told)}", says["words"])


def _defect(says: Says) -> str:
    sizes = (("long", "length_in"), ("deep", "depth_in"))
    told = [
        f"{with_unit(says[name], 'in')} {word}" for word, name in sizes if says[name] is not None
    ]
    repair = f"repaired: {says['how_repaired']}" if says["repaired"] else "not repaired"
    what = ", ".join([capitalized(label(says["defect"])), says["place"], *told])
    return f"{what}; {repair}"


def _with(told: str, words: str) -> str:
    return f"{told}. {words}" if words else told
