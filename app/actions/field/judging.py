"""The lines that the readings of a report are judged by, and what speaks against a pass that it tells."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from sqlalchemy.orm import Session

from app.actions import looking_back, rulebooks
from app.core.field.report import FieldReport, states
from app.core.field.verdicts import judged
from app.core.rule import Rulebook
from app.core.stencil import Unreadable, decode
from app.core.thickness import Lines, all_lines
from app.core.words import label
from app.errors import Fault
from app.store.asked import Standpoint
from app.store.facts import CarRecord


def lines_of(record: CarRecord, rulebook: Rulebook) -> Mapping[str, Lines]:
    """Lines C, D and E by zone; none for a car whose tank has no lines (180.509(f))."""
    try:
        spec = decode(record.car.specification, rulebook.stencils)
    except Unreadable:
        return {}
    return all_lines(spec, record.car.tank, rulebook) if spec.regime == "fusion_welded" else {}


def condemned(db: Session, car_id: int, report: FieldReport) -> Iterator[Fault]:
    """Readings below the line that condemns though the thickness test passed, unless that was confirmed."""
    readings, signed, day = report.says("reading"), report.signed, report.happened_on
    if not signed or signed.says.get("confirmed") or not readings or day is None:
        return
    if states(report).get("thickness") != "pass":
        return
    record = looking_back.record_of(db, car_id, Standpoint(day))
    rulebook = rulebooks.in_force(db).of(record.owner_id).rulebook
    lines = lines_of(record, rulebook)
    for says in readings:
        if judged(says, lines, rulebook).verdict == "condemned":
            where = says["spot"] or label(says["zone"])
            yield Fault(
                "signed.confirmed",
                f"{where} reads {says['inches']} in, which is condemned, and yet the thickness test "
                "passed; say that it failed, or confirm on signing that it is right",
            )
