"""The relief devices of a fleet on an axis of their own: a car without a known one has a nameless one here."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.bulk.days import NONE, Days, Flags, Numbers, add_months, known, to_precision
from app.bulk.fleet import Fleet
from app.bulk.history import NEVER, Open
from app.bulk.latest import places
from app.core.owed import REPLACED_BY

ITEM = "relief_device"
# Wider than any day's number, to put a car and a day into one number.
_WIDE = 1 << 32


class Devices:
    """Sorted by car, each car's in their order; `car` is the place of the car, `first` a car's first device."""

    def __init__(self, fleet: Fleet) -> None:
        self.fleet = fleet
        columns = self._columns(fleet)
        self.car, self.many = columns[0], len(columns[0])
        self.first = np.searchsorted(self.car, np.arange(fleet.many))
        self.count = np.bincount(self.car, minlength=fleet.many)
        self.put_on: Days = columns[1]
        by = np.where(columns[2] == 1, to_precision(self.put_on, "month_end"), self.put_on)
        later = self.put_on > fleet.today
        self.installed_on: Days = np.where(later, NONE, self.put_on)
        self.installed_by: Days = np.where(later, NONE, by)
        self.tested_on: Days = np.where(columns[3] > fleet.today, NONE, columns[3])
        self.protected: Flags = columns[4] == 1
        self.months: Numbers = columns[5]
        self.kind: NDArray[np.object_] = columns[6]

    @staticmethod
    def _columns(fleet: Fleet) -> list[Any]:
        """Car, installed on, by its month only, tested on, protected, months, kind; one row at least for each car."""
        names = list(zip(*fleet.rows.devices, strict=True)) or [()] * 7
        car, here = places(fleet.ids, np.array(names[0], dtype=np.int64))
        day = fleet.day_numbers
        columns: list[Any] = [
            np.array([day[each] for each in names[2]], dtype=np.int64),
            np.array([each or 0 for each in names[3]], dtype=np.int64),
            np.array([day[each] for each in names[4]], dtype=np.int64),
            np.array([each or 0 for each in names[5]], dtype=np.int64),
            np.array([each or 0 for each in names[6]], dtype=np.int64),
            np.array(names[1], dtype=object),
        ]
        nameless = np.setdiff1d(np.arange(fleet.many), car[here])
        kinds = np.where(
            fleet.no_device[nameless], np.array("none", object), np.array(None, object)
        )
        fill = (NONE, 0, NONE, 0, 0)
        added = [np.full(len(nameless), each, dtype=np.int64) for each in fill]
        together = [np.concatenate([car[here], nameless])]
        for column, more in zip(columns, [*added, kinds], strict=True):
            together.append(np.concatenate([column[here], more]))
        order = np.argsort(together[0], kind="stable")
        return [column[order] for column in together]

    def each_with(self, events: Numbers) -> tuple[Numbers, Numbers]:
        """Every event with every device of its car: the event and the device of each pair, in order of events."""
        car = self.fleet.history.car[events]
        many = self.count[car]
        begin = np.repeat(np.cumsum(many) - many, many)
        device = np.repeat(self.first[car], many) + np.arange(many.sum()) - begin
        return np.repeat(events, many), device

    def changed_last(self) -> Numbers:
        """By device the last event that changed it: on the day another one was put on, it was that one."""
        history = self.fleet.history
        event, device = self.each_with(history.with_name(REPLACED_BY[ITEM]))
        put_on = np.unique(self.car * _WIDE + self.put_on)
        its_car = history.car[event]
        another = np.isin(its_car * _WIDE + history.on[event], put_on)
        mine = ~another | (history.on[event] == self.put_on[device])
        return history.last(event[mine], device[mine], self.many)

    def basis(self, regime_fusion: Flags, six_months: int) -> Days:
        """What each device counts from (`core.basis.relief_basis`)."""
        history, car = self.fleet.history, self.car
        passed, changed = history.last_pass(ITEM)[car], self.changed_last()
        passed_on, changed_on = history.day_of(passed), history.day_of(changed)
        latest = np.maximum(self.installed_on, self.tested_on)
        since_change = np.where(passed >= changed, passed_on, NONE)
        by_calendar = np.where(passed != NEVER, passed_on, self.fleet.built[car])
        stated = np.where(
            self._clause(regime_fusion, six_months), self.installed_on, self.tested_on
        )
        undated = latest == NONE
        conditions = [
            (changed != NEVER) & (changed_on > latest),
            undated,
            known(passed_on) & (passed_on >= latest),
        ]
        return np.select(conditions, [since_change, by_calendar, passed_on], stated)

    def _clause(self, fusion: Flags, months: int) -> Flags:
        """180.515(c): installed at most six months after its test, and protected in storage."""
        holds: Flags = (
            fusion[self.car]
            & ((self.kind == "valve") | (self.kind == "combination"))
            & self.protected
            & known(self.tested_on)
            & known(self.installed_on)
            & (self.tested_on <= self.installed_by)
            & (self.installed_by <= add_months(self.tested_on, months))
        )
        return holds

    def open(self) -> Open:
        """By device: a failure is closed also by a later change, and by an installation after it."""
        history = self.fleet.history
        at, failed, changed = history.opening(ITEM)
        event, device = self.each_with(at)
        place = np.searchsorted(at, event)
        failed, changed = failed[place], changed[place]
        failed = (
            failed
            & (event >= self.changed_last()[device])
            & (history.on[event] >= self.installed_on[device])
        )
        return history.first_open(ITEM, event, failed, changed, device, self.many)
