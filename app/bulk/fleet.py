"""The facts of a fleet as columns on the axis of cars, as known on the day asked for (`core.known`)."""

from __future__ import annotations

from datetime import date
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from app.bulk.builds import REGIMES, UNREADABLE, Builds, Ladings, builds_of, ladings_of
from app.bulk.days import NONE, DayNumbers, Days, Flags, Numbers
from app.bulk.days import number as day_number
from app.bulk.history import History
from app.bulk.kinds import kinds_of
from app.bulk.latest import Placed, places
from app.bulk.rows import FITTING, LINING, STENCIL, FleetRows
from app.core.calendar_item import painted_day
from app.core.facts import SHELL_AND_HEAD_ZONES, STENCILED_ITEMS, Service, Settings
from app.core.rule import Rulebook

ZONE_PLACE = {zone: place for place, zone in enumerate(SHELL_AND_HEAD_ZONES)}


class Fleet:
    """The cars of some rows, seen on a day by a rulebook and its settings; columns are made when first asked for."""

    def __init__(
        self, rows: FleetRows, as_of: date, rulebook: Rulebook, settings: Settings
    ) -> None:
        self.rows, self.as_of, self.rulebook, self.settings = rows, as_of, rulebook, settings
        self.today = day_number(as_of)
        self.day_numbers = DayNumbers()
        self.ids = np.array(rows.car_ids, dtype=np.int64)
        self.many = len(self.ids)
        built = Placed(self.ids, rows.constructions, 3, self.day_numbers)
        self.built, self.rebuilt = built.days(1), self._up_to_today(built.days(2))
        self.build = built.numbers(3, unsaid=len(rows.builds))
        lading = Placed(self.ids, rows.ladings, 1, self.day_numbers)
        self.services = [*rows.services, Service()]
        self.lading = lading.numbers(1, unsaid=len(rows.services))
        self._fitting = Placed(self.ids, rows.fittings, len(FITTING), self.day_numbers)
        self._lining = Placed(self.ids, rows.linings, len(LINING), self.day_numbers)
        self._stencil = Placed(self.ids, rows.stencils, len(STENCIL), self.day_numbers)

    def _up_to_today(self, days: Days) -> Days:
        return np.where(days > self.today, NONE, days)

    @cached_property
    def builds(self) -> Builds:
        return builds_of(self.rows.builds, self.rulebook)

    @cached_property
    def ladings(self) -> Ladings:
        return ladings_of(self.services, self.rulebook)

    @cached_property
    def regime(self) -> Numbers:
        """Place in REGIMES; UNREADABLE for what is not for columns."""
        known = np.append(self.builds.regime[: len(self.rows.builds)], UNREADABLE)
        return known[self.build]

    @cached_property
    def regime_name(self) -> list[str]:
        names = [*REGIMES, ""]
        return [names[each] for each in self.regime]

    # Events ---------------------------------------------------------------------------------------------------

    @cached_property
    def history(self) -> History:
        columns = list(zip(*self.rows.events, strict=True)) or [(), (), (), (), (), ()]
        cars, _, on, items, outcome, opens = columns
        place, here = places(self.ids, np.array(cars, dtype=np.int64))
        names = self.regime_name
        regimes = [names[each] for each in place] if self.many else []
        kinds, kind = kinds_of(zip(items, outcome, opens, regimes, strict=True), self.rulebook)
        known = self.day_numbers
        days = np.array([known[each] for each in on], dtype=np.int64)
        return History(self.many, place[here], days[here], kind[here], kinds)

    @cached_property
    def surely_above_c(self) -> Flags:
        """By car and zone: its latest full test read above line C, so did all since, and the line is firm (rule 6)."""
        car, zone, twice, day, full = self._readings
        key = car * len(ZONE_PLACE) + zone
        line = self.builds.line_c[self.build[car], zone]
        latest = np.full(self.many * len(ZONE_PLACE), NONE)
        np.maximum.at(latest, key[full], day[full])
        counts = np.where(full, day == latest[key], day >= latest[key])
        above = latest != NONE
        above[key[counts & (twice >> 1 <= line)]] = False
        by_zone: Flags = above.reshape(self.many, len(ZONE_PLACE))
        return by_zone & self._firm

    @cached_property
    def _firm(self) -> Flags:
        rows = np.minimum(self.build, max(len(self.rows.builds) - 1, 0))
        firm: Flags = self.builds.firm[rows]
        return firm

    @cached_property
    def undecided(self) -> Flags:
        """Cars with a reading of which a rest behind its millionths decides how it stands to line C."""
        car, zone, twice, _, _ = self._readings
        found = np.zeros(self.many, dtype=bool)
        line = self.builds.line_c[self.build[car], zone]
        found[car[(twice & 1 == 1) & (twice >> 1 == line)]] = True
        return found

    @cached_property
    def _readings(self) -> tuple[Numbers, Numbers, Numbers, Days, Flags]:
        """Of shell and heads: car, zone, twice the millionths of an inch, day, and whether in a full test."""
        columns = list(zip(*self.rows.readings, strict=True)) or [(), (), ()]
        event_ids = np.array([row[1] for row in self.rows.events], dtype=np.int64)
        _, here = places(self.ids, np.array([row[0] for row in self.rows.events], dtype=np.int64))
        event_ids = event_ids[here]
        order = np.argsort(event_ids, kind="stable")
        at, found = places(event_ids[order], np.array(columns[0], dtype=np.int64))
        zone = np.array([ZONE_PLACE.get(each, -1) for each in columns[1]], dtype=np.int64)
        kept = found & (zone != -1)
        event = order[at[kept]] if order.size else at[kept]
        twice = np.array(columns[2], dtype=np.int64)[kept]
        history = self.history
        full = history.kinds.marked["thickness"][history.kind[event]]
        return history.car[event], zone[kept], twice, history.on[event], full

    # Other facts ----------------------------------------------------------------------------------------------

    @cached_property
    def lined(self) -> tuple[Flags, Days]:
        """Whether the tank is lined, and since when (`core.lining`)."""
        applied_on = self._lining.days(2)
        stated = self._lining.yes(1) & ~(applied_on > self.today)
        applied_on = np.where(stated, applied_on, NONE)
        step_on, applied = self.history.lining_step()
        by_event = (step_on != NONE) & (step_on >= applied_on)
        by_field = ~by_event & (applied_on != NONE)
        by_suffix = np.append(self.builds.lined_by_suffix, False)[self._build_or_last]
        lined = np.where(by_event, applied, by_field | by_suffix | stated)
        since = np.where(by_event, np.where(applied, step_on, NONE), applied_on)
        return lined, since

    @cached_property
    def _build_or_last(self) -> Numbers:
        return np.minimum(self.build, len(self.builds.lined_by_suffix))

    @cached_property
    def lining_months(self) -> tuple[Numbers, Flags]:
        """The lining owner's months, 0 when not stated, and whether more than 8 years are supported."""
        stated = self._lining.yes(1) & ~(self._lining.days(2) > self.today)
        return np.where(stated, self._lining.numbers(3), 0), stated & self._lining.yes(4)

    @cached_property
    def no_device(self) -> Flags:
        """Stated to have no relief device."""
        return self._fitting.is_value(1, False)

    @cached_property
    def equipment_months(self) -> Numbers:
        return self._fitting.numbers(2)

    @cached_property
    def sheeting_on(self) -> Days:
        return self._up_to_today(self._fitting.days(3))

    @cached_property
    def compared(self) -> Flags:
        return self._fitting.is_value(4, "comparator")

    @cached_property
    def marked_on(self) -> Days:
        """When the stencil was marked; one of a later day is no stencil (see `painted`)."""
        return self._up_to_today(self._stencil.days(1))

    def painted(self, item: str) -> Days:
        """The day that the stencil shows for an item, NONE where it shows none."""
        column = self._stencil.columns[2 + STENCILED_ITEMS.index(item)]
        year = self.settings.stencil_year
        numbers = {
            text: day_number(painted_day(text, year)) if text else NONE for text in set(column)
        }
        painted = self._stencil._put([numbers[text] for text in column], NONE)
        return np.where(self._stencil.days(1) > self.today, NONE, painted)

    @cached_property
    def orders(self) -> tuple[Numbers, Days, NDArray[np.object_]]:
        """Of each open order the car's place, the day and the name."""
        cars, on, names = list(zip(*self.rows.orders, strict=True)) or [(), (), ()]
        place, here = places(self.ids, np.array(cars, dtype=np.int64))
        known = self.day_numbers
        days = np.array([known[each] for each in on], dtype=np.int64)
        return place[here], days[here], np.array(names, dtype=object)[here]

    @cached_property
    def approved(self) -> dict[str, Numbers]:
        """By item the months of the shortest stenciled approval, 0 for none."""
        found = {item: np.zeros(self.many, dtype=np.int64) for item in STENCILED_ITEMS}
        place = (
            {car_id: at for at, car_id in enumerate(self.rows.car_ids)}
            if self.rows.approvals
            else {}
        )
        for car_id, item, months, stenciled in self.rows.approvals:
            if stenciled and car_id in place:
                shorter = min(months, found[item][place[car_id]] or months)
                found[item][place[car_id]] = shorter
        return found
