"""Which items a car has, by its regime, in the order of facts.ITEMS."""

from __future__ import annotations

from collections.abc import Mapping

from app.core.findings import ItemFunction, every
from app.core.items import leakage, lining, relief_device, service_equipment, thickness
from app.core.mechanical import age_limit, air_brake, reflective_sheeting
from app.core.other_tanks import (
    cryogenic_relief_device,
    seamless,
    ton_tank_relief_device,
    ton_tank_retest,
)
from app.core.service_end import service_end

_MECHANICAL: tuple[ItemFunction, ...] = (air_brake, reflective_sheeting, age_limit)

BY_REGIME: Mapping[str, tuple[ItemFunction, ...]] = {
    "fusion_welded": (
        every("visual"),
        every("structural_integrity"),
        every("safety_systems"),
        thickness,
        lining,
        service_equipment,
        relief_device,
        leakage,
        *_MECHANICAL,
        service_end,
    ),
    "ton_tank": (ton_tank_relief_device, ton_tank_retest),
    "cryogenic": (cryogenic_relief_device, every("rupture_disc"), *_MECHANICAL),
    "seamless": (seamless("relief_device"), seamless("tank_retest"), *_MECHANICAL),
}
