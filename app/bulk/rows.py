"""What the columns are made from: plain rows of the store, and which columns of which tables they hold.

Days may come as dates or as text YYYY-MM-DD, yes and no as booleans or as 1 and 0, inches as whole millionths:
as the driver gives them, so that reading a fleet costs no conversion row by row.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from app.core.facts import STENCILED_ITEMS, Service, Tank

Rows = Sequence[tuple[Any, ...]]
MILLIONTHS: Final = 1_000_000

# The columns of a table after the car's key.
LINING: Final = ("lined", "applied_on", "owner_interval_months", "documented")
FITTING: Final = (
    "has_relief_device", "service_equipment_interval_months", "sheeting_installed_on",
    "sheeting_method",
)  # fmt: skip
STENCIL: Final = ("marked_on", *STENCILED_ITEMS)


@dataclass(frozen=True, slots=True)
class FleetRows:
    """Rows in force of many cars, each beginning with the car's key; a row of a car that is not listed is ignored.

    One row a car at most: `constructions` (day built, day rebuilt, place in `builds`), `ladings` (place in
    `services`), `linings`, `fittings`, `stencils` (their columns above). `approvals` are item, months and stenciled.
    `devices` are component kind as the calculator knows it, day installed, known by its month only, day tested,
    protected in storage, owner's months. `events` are key, day, items, outcome, opens, by car in the order in which
    they count. `readings` are the event's key, zone and twice the inches, one more where
    there is a rest behind the millionths. `orders` are the day and the name of open orders.
    """

    car_ids: Sequence[int]
    builds: Sequence[tuple[str, Tank]]
    services: Sequence[Service]
    constructions: Rows
    ladings: Rows
    linings: Rows
    fittings: Rows
    stencils: Rows
    approvals: Rows
    devices: Rows
    events: Rows
    readings: Rows
    orders: Rows = ()
