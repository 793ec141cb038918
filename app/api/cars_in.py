"""A new car as the API takes it: the `car` of a due-date request, and whose it is."""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated, Any

from pydantic import BaseModel, Field

from app.actions import changes
from app.answers.request import CarPart, Day, LiningPart, Text, day_of
from app.api.exactly import as_decimal
from app.api.schemas import NOBODY, RecordedBy
from app.store.tables import RELIEF_KINDS

COMPONENT_KINDS = {device: kind for kind, device in RELIEF_KINDS.items()}
# What an action calls a field, and what a request does.
PLACES = {
    "details.required_": "tank.required_thickness_in.",
    "details.specification": "specification",
    "details.built_on": "built_on",
    "details.rebuilt_on": "rebuilt_on",
    "details.": "tank.",
    "name.": "",
    "ownership.": "",
    "service.from_on": "service_from",
    "fitting.service_equipment_interval_months": "service_equipment.owner_interval_months",
    "fitting.sheeting_": "reflective_sheeting.",
    "stencil.marked_on": "stencil.marked_on",
    "stencil.": "stencil.due.",
}


class CarIn(CarPart):
    """A new car: all that a due-date request says of a car, and whose it is."""

    owner: Annotated[str, Field(min_length=1, max_length=200)]
    region: Text = ""
    service_from: Day | None = Field(None, description="the day from which it carries its lading")
    recorded_by: RecordedBy = NOBODY

    def as_change(self) -> changes.NewCar:
        return changes.NewCar(
            name=changes.NewName(self.mark, self.number),
            ownership=changes.NewOwnership(self.owner, self.region),
            details=self._details(),
            service=self._service() if "service" in self.model_fields_set else None,
            lining=_new_lining(self.lining),
            fitting=self._fitting(),
            stencil=self._stencil() if "stencil" in self.model_fields_set else None,
            approvals=tuple(
                changes.NewApproval(
                    each.item, each.interval_months, each.reference or "", each.stenciled
                )
                for each in self.approvals
            ),
        )

    def _details(self) -> changes.CarDetails:
        given = _given(self.tank)
        minima = given.pop("required_thickness_in", {})
        given |= {f"required_{zone}_in": as_decimal(inches) for zone, inches in minima.items()}
        return changes.CarDetails(
            specification=self.specification,
            built_on=day_of(self.built_on),
            rebuilt_on=day_of(self.rebuilt_on),
            **given,
        )

    def _service(self) -> changes.NewService:
        given = {"commodity": ""} | _given(self.service)
        return changes.NewService(**given, from_on=day_of(self.service_from))

    def _fitting(self) -> changes.NewFitting | None:
        none_at_all = self.relief_device is not None and self.relief_device.kind == "none"
        given = {"service_equipment", "reflective_sheeting"} & self.model_fields_set
        if not given and not none_at_all:
            return None
        return changes.NewFitting(
            service_equipment_interval_months=self.service_equipment.owner_interval_months,
            sheeting_installed_on=day_of(self.reflective_sheeting.installed_on),
            sheeting_method=self.reflective_sheeting.method,
            has_relief_device=False if none_at_all else None,
        )

    def _stencil(self) -> changes.NewStencil:
        painted: dict[str, Any] = {
            item: text for item, text in self.stencil.due.items() if text is not None
        }
        return changes.NewStencil(day_of(self.stencil.marked_on), **painted)

    def relief_installation(self) -> changes.NewInstallation | None:
        """The relief device to be put on the car, when the request names one."""
        device = self.relief_device
        if device is None or device.kind == "none":
            return None
        return changes.NewInstallation(
            component=changes.NewComponent(COMPONENT_KINDS[device.kind]),
            installed_on=day_of(device.installed_on),
            installed_month_only=bool(device.installed_on and device.installed_on.month_only),
            tested_on=day_of(device.tested_on),
            set_psig=None if device.set_psig is None else as_decimal(device.set_psig),
            protected_in_storage=device.protected_in_storage,
            owner_interval_months=device.owner_interval_months,
        )


def place_of(path: str) -> str:
    """Where a request states what an action calls `path`."""
    for begins, place in PLACES.items():
        if path.startswith(begins):
            return place + path.removeprefix(begins)
    return path


def _given(part: BaseModel) -> dict[str, Any]:
    """The fields that were given, exact numbers as the register keeps them."""
    found = {name: getattr(part, name) for name in part.model_fields_set}
    return {
        name: as_decimal(value) if isinstance(value, Fraction) else value
        for name, value in found.items()
    }


def _new_lining(lining: LiningPart | None) -> changes.NewLining | None:
    if lining is None:
        return None
    return changes.NewLining(
        kind=lining.kind,
        applied_on=day_of(lining.applied_on),
        owner_interval_months=lining.owner_interval_months,
        documented=lining.documented,
    )
