"""The items of a fleet, one function each as in `core.items`, `core.mechanical` and `core.other_tanks`."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from app.bulk.builds import REGIMES, ServiceEnds, distinct_pairs
from app.bulk.calendar import (
    DATED,
    NOT_REQUIRED,
    STATES,
    Column,
    Interval,
    Movable,
    by_event,
    by_rule,
    dated,
    filled,
)
from app.bulk.days import NONE, Days, Flags, Numbers, add_months, known
from app.bulk.days import number as day_number
from app.bulk.devices import Devices
from app.bulk.fleet import Fleet
from app.bulk.history import NEVER, Open
from app.core.facts import STENCILED_ITEMS
from app.core.rule import Rule

FUSION = "fusion_welded"


class Items:
    """Every item of every car of a fleet, as columns: `each` gives item and column."""

    def __init__(self, fleet: Fleet) -> None:
        self.fleet, self.history, self.rulebook = fleet, fleet.history, fleet.rulebook
        self.of = {name: np.flatnonzero(fleet.regime == at) for at, name in enumerate(REGIMES)}
        self.devices = Devices(fleet)

    def each(self) -> Iterator[tuple[str, Column]]:
        fusion, ton, cold = (self.of[name] for name in (FUSION, "ton_tank", "cryogenic"))
        for item in ("visual", "structural_integrity", "safety_systems"):
            yield item, self.by_interval(item, fusion)
        yield from (("thickness", column) for column in self.thickness(fusion))
        yield "lining", self.lining(fusion)
        yield "service_equipment", self.service_equipment(fusion)
        yield "relief_device", self.relief_device()
        yield "rupture_disc", self.by_interval("rupture_disc", cold)
        yield "tank_retest", self.by_interval("tank_retest", ton, year_end=True)
        yield "tank_retest", self.seamless(self.of["seamless"])
        yield "leakage", self.leakage(fusion)
        rolling = np.sort(np.concatenate([fusion, cold, self.of["seamless"]]))
        yield "air_brake", self.air_brake(rolling)
        yield from (("reflective_sheeting", column) for column in self.sheeting(rolling))
        yield "age_limit", self.age_limit(rolling)
        yield "service_end", self.service_end(fusion)
        yield "directive", self.directive()

    def rule(self, name: str) -> Rule:
        return self.rulebook.rule(name)

    def owing(self, item: str, on: Numbers) -> Open:
        found = self.history.open(item)
        return Open(found.since[on], found.citation[on])

    def calendar_basis(self, item: str, on: Numbers) -> Days:
        passed = self.history.passed_on(item)[on]
        return np.where(known(passed), passed, self.fleet.built[on])

    def movable(self, item: str, on: Numbers) -> Movable:
        marked, passed = self.fleet.marked_on[on], self.history.passed_on(item)[on]
        return Movable(
            self.fleet.approved[item][on],
            "approval",
            self.fleet.painted(item)[on],
            known(marked) & (passed > marked),
        )

    def dated(self, item: str, on: Numbers, basis: Days, interval: Interval) -> Column:
        """By calendar, movable where the item may be stenciled: only fusion-welded cars get those here."""
        movable = self.movable(item, on) if item in STENCILED_ITEMS else None
        precision = self.fleet.settings.due_precision
        return dated(on, basis, interval, self.owing(item, on), movable, precision)

    def by_interval(self, item: str, on: Numbers, *, year_end: bool = False) -> Column:
        interval = by_rule(len(on), self.rule(item), year_end=year_end)
        return self.dated(item, on, self.calendar_basis(item, on), interval)

    # Fusion-welded cars -----------------------------------------------------------------------------------------

    def thickness(self, on: Numbers) -> tuple[Column, Column]:
        lined = self.fleet.lined[0][on]
        return self._thickness_lined(on[lined]), self._thickness_unlined(on[~lined])

    def _thickness_lined(self, on: Numbers) -> Column:
        rule = self.rule("thickness_lined")
        applied = self.fleet.lined[1][on]
        since = add_months(applied, -int(rule.limit("months_before_application")))
        measured = self.history.passed_on("thickness")[on]
        unknown = ~known(applied) | ~known(measured) | (measured < since)
        return by_event(on, rule, unknown, self.owing("thickness", on))

    def _thickness_unlined(self, on: Numbers) -> Column:
        fleet, rules = self.fleet, (self.rule("thickness"), self.rule("thickness_thin"))
        ladings, lading = fleet.ladings, fleet.lading[on]
        thin = ~fleet.surely_above_c[on].all(axis=1)
        attacks = ladings.corrosive[lading]
        short = thin & attacks
        interval = _either(short, rules[1], rules[0])
        doubt = (thin & ladings.from_memory[lading]) | fleet.builds.from_memory[fleet.build[on]]
        interval.from_memory = interval.from_memory | (attacks & doubt)
        return self.dated("thickness", on, self.calendar_basis("thickness", on), interval)

    def lining(self, on: Numbers) -> Column:
        lined, applied = self.fleet.lined
        on = on[lined[on]]
        basis = np.maximum(applied[on], self.history.passed_on("lining")[on])
        column = self.dated("lining", on, basis, self._lining_interval(on))
        ladings, lading = self.fleet.ladings, self.fleet.lading[on]
        attacks, citation = ladings.corrosive[lading], self.rule("lining").citation
        column.from_memory = column.from_memory | (attacks & ladings.from_memory[lading])
        column.state[~attacks], column.due_on = NOT_REQUIRED, np.where(attacks, column.due_on, NONE)
        column.citation = np.where(attacks, column.citation, citation)
        return column

    def _lining_interval(self, on: Numbers) -> Interval:
        """The owner's months; the rule's without them, and when more of them are not documented."""
        interval = by_rule(len(on), self.rule("lining"))
        months, documented = (column[on] for column in self.fleet.lining_months)
        own = (months > 0) & ((months <= interval.months) | documented)
        interval.maximum = np.where(own, np.maximum(months, interval.months), interval.months)
        interval.months = np.where(own, months, interval.months)
        return interval

    def service_equipment(self, on: Numbers) -> Column:
        item = "service_equipment"
        interval = by_rule(len(on), self.rule(item))
        _shortened(interval, self.fleet.equipment_months[on])
        return self.dated(item, on, self.calendar_basis(item, on), interval)

    def leakage(self, on: Numbers) -> Column:
        history = self.history
        qualified = np.maximum(
            history.last_pass("service_equipment"), history.last_pass("relief_device")
        )
        tested = history.last_pass("leakage") >= qualified
        unknown = (qualified != NEVER) & ~tested
        return by_event(on, self.rule("leakage"), unknown[on], self.owing("leakage", on))

    def service_end(self, on: Numbers) -> Column:
        fleet, ends = self.fleet, ServiceEnds(self.rulebook, self.fleet.as_of)
        pairs, which = distinct_pairs(fleet.build[on], fleet.lading[on])
        found = []
        for build, lading in pairs:
            spec, tank = fleet.builds.specs[build], fleet.rows.builds[build][1]
            assert spec is not None  # its regime is known
            found.append(ends.of(spec, tank, fleet.services[lading]))
        days = np.array([day_number(due.due_on) if due.due_on else NONE for due in found], np.int64)
        cited = [next((why.citation for why in due.reasons if why.citation), "") for due in found]
        column = Column(
            on=np.arange(len(found)),
            state=np.array([STATES.index(due.state) for due in found], np.int64),
            due_on=days,
            basis_on=np.full(len(found), NONE),
            months=np.zeros(len(found), np.int64),
            calculated=days,
            from_memory=np.array([due.confidence == "memory" for due in found], bool),
            rule=np.array([due.rule for due in found], object),
            citation=np.array(cited, object),
        ).taken(which)
        column.on = on
        return column

    # Relief devices, of all regimes -----------------------------------------------------------------------------

    def relief_device(self) -> Column:
        """Of each car the device that comes first (`core.devices.urgency`); none for a car stated to have none."""
        devices, fleet = self.devices, self.fleet
        regime = fleet.regime
        six_months = int(self.rule("relief_device_installed").limit("months"))
        basis = devices.basis(regime == REGIMES.index(FUSION), six_months)
        owing = devices.open()
        columns = []
        for name, on in self.of.items():
            at = np.flatnonzero(np.isin(devices.car, on) & (devices.kind != "none"))
            columns.append(
                self._device_column(name, at, basis[at], Open(owing.since[at], owing.citation[at]))
            )
        together = _stacked(columns)
        return _first_of_each_car(together, devices.car)

    def _device_column(self, regime: str, at: Numbers, basis: Days, owing: Open) -> Column:
        """`on` of the column are devices."""
        devices, car = self.devices, self.devices.car[at]
        if regime == FUSION:
            movable = self.movable("relief_device", car)
            marked, installed = self.fleet.marked_on[car], devices.installed_on[at]
            movable.overtaken = movable.overtaken | (
                known(marked) & known(installed) & (marked < installed)
            )
            interval = by_rule(len(at), self.rule("relief_device"))
            _shortened(interval, devices.months[at])
            return dated(at, basis, interval, owing, movable, self.fleet.settings.due_precision)
        if regime == "ton_tank":
            fluorinated = self.fleet.ladings.fluorinated[self.fleet.lading[car]]
            longer = fluorinated & (devices.kind[at] == "valve")
            rules = self.rule("relief_device_fluorinated"), self.rule("relief_device_ton_tank")
            interval = _either(longer, *rules)
            interval.year_end = True
            return dated(at, basis, interval, owing)
        if regime == "cryogenic":
            return dated(at, basis, by_rule(len(at), self.rule("relief_device_cryogenic")), owing)
        return self.seamless(at)

    def seamless(self, on: Numbers) -> Column:
        nothing = Open(np.full(len(on), NONE), filled(len(on), ""))
        return by_event(on, self.rule("seamless"), np.ones(len(on), bool), nothing)

    # Mechanical -------------------------------------------------------------------------------------------------

    def air_brake(self, on: Numbers) -> Column:
        item = "air_brake"
        last = self.history.passed_on(item)[on]
        made = np.maximum(self.fleet.built, self.fleet.rebuilt)[on]
        first = made > last
        interval = _either(first, self.rule("air_brake_first"), self.rule(item))
        return self.dated(item, on, np.maximum(made, last), interval)

    def sheeting(self, on: Numbers) -> tuple[Column, Column]:
        compared, item = self.fleet.compared[on], "reflective_sheeting"
        against, replaced = on[compared], on[~compared]
        rule, history = self.rule("sheeting_comparator"), self.history
        tests = history.uncompared(rule.citation)
        owing = Open(tests.since[against], tests.citation[against]).joined(
            self.owing(item, against)
        )
        put_on = history.day_of(history.last(history.with_name("sheeting_replaced")))
        installed = np.maximum(put_on, self.fleet.sheeting_on)[replaced]
        built = self.fleet.built[replaced]
        newer = built > day_number(self.rule("sheeting_from_built").turning_day)
        basis = np.where(known(installed), installed, np.where(newer, built, NONE))
        interval = by_rule(len(replaced), self.rule(item))
        never = np.zeros(len(against), bool)
        return by_event(against, rule, never, owing), self.dated(item, replaced, basis, interval)

    def age_limit(self, on: Numbers) -> Column:
        nothing = Open(np.full(len(on), NONE), filled(len(on), ""))
        interval = by_rule(len(on), self.rule("age_limit"))
        return dated(on, self.fleet.built[on], interval, nothing)

    # Directives ---------------------------------------------------------------------------------------------------

    def directive(self) -> Column:
        """Of each car that has one the open order that falls due first, among equals the earlier."""
        car, due_on, name = self.fleet.orders
        order = np.lexsort((np.arange(len(car)), due_on, car))
        _, first = np.unique(car[order], return_index=True)
        at = order[first]
        many = len(at)
        return Column(
            on=car[at],
            state=np.full(many, DATED),
            due_on=due_on[at],
            basis_on=np.full(many, NONE),
            months=np.zeros(many, np.int64),
            calculated=due_on[at],
            from_memory=np.zeros(many, bool),
            rule=filled(many, ""),
            citation=name[at],
        )


def _either(yes: Flags, one: Rule, other: Rule) -> Interval:
    """One rule's interval where `yes`, else the other's."""
    months = np.where(yes, one.months, other.months)
    memory = np.where(yes, one.confidence == "memory", other.confidence == "memory")
    rule, citation = np.where(yes, one.id, other.id), np.where(yes, one.citation, other.citation)
    return Interval(months, months, rule.astype(object), citation.astype(object), memory)


def _shortened(interval: Interval, owner: Numbers) -> None:
    """The owner's months where they are fewer."""
    fewer = (owner > 0) & (owner < interval.months)
    interval.months = np.where(fewer, owner, interval.months)


def _stacked(columns: list[Column]) -> Column:
    names = Column.__slots__
    return Column(*(np.concatenate([getattr(each, name) for each in columns]) for name in names))


def _first_of_each_car(devices: Column, car: Numbers) -> Column:
    """Owed first, then unknown, then by date; among equals the earlier device."""
    urgency = np.array([0, 2, 3, 1, 4])[devices.state]
    day = np.where(known(devices.due_on), devices.due_on, -NONE)
    its_car = car[devices.on]
    order = np.lexsort((devices.on, day, urgency, its_car))
    sorted_car = its_car[order]
    first = np.ones(len(order), bool)
    first[1:] = sorted_car[1:] != sorted_car[:-1]
    chosen = devices.taken(order[first])
    chosen.on = sorted_car[first]
    return chosen
