"""How the reserves stand now: the module's battery bound and a person's entries, as one cascade."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Protocol

from firmware_sim.contract.channels import OXYGEN_STATES, SUPPLY_STATES
from firmware_sim.contract.messages import FLAG_BATTERY_BY_VOLTAGE, FLAG_BATTERY_PROVEN
from firmware_sim.contract.settings import ID_OF, SETTINGS, defaults
from ingest.analysis.reserves.at_bed import AgentNow, MixtureNow, agent_now, mixture_now
from ingest.analysis.reserves.battery import (
    DAY_MS,
    DischargeTest,
    MinutesRange,
    ProvenBound,
    proven_minutes,
    recharged_fraction,
    unproven_bound,
)
from ingest.analysis.reserves.cascade import Cascade, CylinderReserve, cascade
from ingest.analysis.reserves.cylinder import cylinder_content
from ingest.analysis.reserves.entries import BatteryEntry, Entered, entered, entered_marks

CURRENT_MS: Final = 5_000  # a reading older than this is an old one
GAUGE_OLD_MS: Final = 12 * 3_600_000  # house rule: a gauge is read once a shift
SHORT_MIN: Final = defaults()[ID_OF["cylinder.short"]]
CHARGING: Final = ("normal", "bypass")


class Store(Protocol):
    """What is asked of a store's reader; rows as it returns them."""

    def latest(self, module: int) -> Any:
        """Return the newest trend, None before the first."""

    def settings_at(self, module: int, utc_ms: int) -> Any:
        """Return the settings in force, None when none were reported."""

    def marks(self, module: int | None = ..., *, kind: str | None = ...) -> Sequence[Any]:
        """Return marks by time."""

    def breaths(self, module: int, start: int, end: int) -> Any:
        """Return the breaths."""

    def bands(self, module: int, start: int, end: int, column: str) -> Sequence[Any]:
        """Return the stretches of one code."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Hold the cascade at `at_ms` with what it was built from; `record_ms`: the newest trend, None: none.

    `short_min`: below so many minutes of the cylinder the module alarms. `peukert`: the battery's minutes by
    that law, where no discharge was ever proven; None: proven, or not entered.
    """

    at_ms: int
    record_ms: int | None
    supply_state: str
    cascade: Cascade
    battery: ProvenBound | None
    cylinder: CylinderReserve | None
    entered: Entered
    mixture: MixtureNow | None = None
    mixture_missing: tuple[str, ...] = ()
    agent: AgentNow | None = None
    short_min: int = SHORT_MIN
    peukert: MinutesRange | None = None


def standing(store: Store, module: int, now_ms: int) -> Standing:
    """Return how reserves stand at `now_ms` (UTC ms), every figure a lower bound."""
    latest = store.latest(module)
    told = entered(entered_marks(store, module, now_ms))
    state = "undetermined" if latest is None else SUPPLY_STATES[latest.codes["supply_state"]]
    in_use = latest is not None and OXYGEN_STATES[latest.codes["oxygen_state"]] == "probably_cylinder"
    battery = None if latest is None else _battery(store, module, latest, state, now_ms)
    peukert = None
    if battery is not None and told.battery is not None and "battery.never_tested" in battery.unknown:
        peukert, battery = _unproven(store, module, latest, state, told.battery, now_ms)
    reserve = cylinder_reserve(told, now_ms, in_use=in_use)
    mixture, missing = mixture_now(store, module, told, latest)
    return Standing(
        at_ms=now_ms,
        record_ms=None if latest is None else latest.t,
        supply_state=state,
        cascade=_noted(told, reserve, battery, peukert, state, in_use, now_ms),
        battery=battery,
        cylinder=reserve,
        entered=told,
        mixture=mixture,
        mixture_missing=missing,
        agent=agent_now(told, now_ms),
        short_min=_short_min(store, module, now_ms),
        peukert=peukert,
    )


def _short_min(store: Store, module: int, now_ms: int) -> int:
    in_force = store.settings_at(module, now_ms)
    return SHORT_MIN if in_force is None else int(in_force.values[ID_OF["cylinder.short"]])


def cylinder_reserve(told: Entered, now_ms: int, *, in_use: bool) -> CylinderReserve | None:
    """Return the reserve of the entered cylinder; None until gauge and flow are entered.

    While oxygen seems to come from a cylinder, what the demand took since the gauge was read is taken off.
    """
    if told.cylinder is None or not told.readings or told.demand is None:
        return None
    gauge = told.readings[-1]
    content = cylinder_content(told.cylinder, gauge.gauge_bar)
    reserve = CylinderReserve(content=content, demand=told.demand, rate=told.rate)
    if not in_use:
        return reserve
    drawn = reserve.rate_high_l_min * max(now_ms - gauge.at_ms, 0) / 60_000.0
    return replace(reserve, content=replace(content, low_l=max(content.low_l - drawn, 0.0)))


def _noted(
    told: Entered,
    reserve: CylinderReserve | None,
    battery: ProvenBound | None,
    peukert: MinutesRange | None,
    state: str,
    in_use: bool,
    now_ms: int,
) -> Cascade:
    """Lay out the cascade and add to the cylinder's rung what its entries leave unknown."""
    found = cascade(
        now_ms=now_ms, battery=battery, cylinder=reserve, bag_seen_ms=told.bag_seen_ms,
        bypass=state == "bypass", battery_high_min=None if peukert is None else peukert.high_min,
    )  # fmt: skip
    first, second, last = found.rungs
    notes = list(second.unknown)
    if reserve is None and told.readings:
        notes = ["cylinder.flow_not_entered"]
    if reserve is not None and now_ms - told.readings[-1].at_ms > GAUGE_OLD_MS:
        notes.insert(0, "cylinder.gauge_old")
    if reserve is not None and in_use:
        notes.insert(0, "cylinder.in_use")
    return replace(found, rungs=(first, replace(second, unknown=tuple(notes)), last))


def _unproven(
    store: Store, module: int, latest: Any, state: str, told: BatteryEntry, now_ms: int
) -> tuple[MinutesRange, ProvenBound]:
    """Return what Peukert's law gives, low for the charge that the record shows, and the bound."""
    recharge_h = _setting(_values(store, module, now_ms), "battery.recharge")
    charge = _recharged(store, module, latest.t, recharge_h)
    age_ms, full = max(now_ms - latest.t, 0), told.minutes()
    low = told.minutes(charge).low_min - (age_ms / 60_000.0 if age_ms > CURRENT_MS else 0.0)
    found = replace(full, low_min=max(low, 0.0))
    bound = unproven_bound(found, charge)
    return found, _by_state(replace(bound, unknown=(*bound.unknown, "battery.recharge")), state, age_ms)


def _values(store: Store, module: int, now_ms: int) -> Sequence[int] | None:
    in_force = store.settings_at(module, now_ms)
    return None if in_force is None else in_force.values


def _battery(store: Store, module: int, latest: Any, state: str, now_ms: int) -> ProvenBound:
    """Return the battery's bound: what the module reckons, less the time since; else test and recharge.

    Load and voltage, where they are measured, are the module's affair: both models are the same kernel.
    """
    values = _values(store, module, now_ms)
    minutes = _setting(values, "battery.proven_minutes")
    day = _setting(values, "battery.proven_day")
    then, now = _loads(values, latest)
    test = DischargeTest(at_ms=round(day) * DAY_MS, minutes=minutes, load=then) if minutes > 0 else None
    left_s, age_ms = latest.readings.get("battery"), max(now_ms - latest.t, 0)
    charge = 0.0
    if test is not None and left_s is None:
        charge = _recharged(store, module, latest.t, _setting(values, "battery.recharge"))
    bound = proven_minutes(
        test,
        now_ms=now_ms,
        recharge_fraction=charge,
        load=now,
        age_days_max=round(_setting(values, "battery.proven_age_max")),
    )
    notes = list(bound.unknown)
    if left_s is not None and test is not None:
        full = minutes * bound.ageing_fraction * bound.load_factor
        low = left_s / 60.0 - (age_ms / 60_000.0 if age_ms > CURRENT_MS else 0.0)
        proven = bool(latest.codes["flags"] & FLAG_BATTERY_PROVEN)
        charge = min(left_s / 60.0 / full, 1.0) if full > 0 else 0.0
        bound = replace(bound, minutes_low=max(low, 0.0), proven=proven, recharge_fraction=charge)
        if latest.codes["flags"] & FLAG_BATTERY_BY_VOLTAGE:
            notes.insert(0, "battery.by_voltage")
    elif test is not None:
        notes.append("battery.recharge")
    return _by_state(replace(bound, unknown=tuple(notes)), state, age_ms)


def _by_state(bound: ProvenBound, state: str, age_ms: int) -> ProvenBound:
    """Let the age of the newest record and the supply state have their say about a bound."""
    notes = list(bound.unknown)
    if age_ms > CURRENT_MS:
        notes.insert(0, "battery.reading_old")
        bound = replace(bound, proven=False)
    if state == "undetermined":
        notes.insert(0, "battery.support_not_proven")
        bound = replace(bound, proven=False)
    if state == "dead":
        notes, bound = ["battery.output_dead"], replace(bound, minutes_low=0.0, proven=False)
    return replace(bound, unknown=tuple(notes))


def _loads(values: Sequence[int] | None, latest: Any) -> tuple[float | None, float | None]:
    """Return the UPS's current in the test that is in force and now, A; None where it wasn't measured."""
    then = _setting(values, "discharge.load")
    if _setting(values, "discharge.minutes") != _setting(values, "battery.proven_minutes"):
        then = 0.0
    return then or None, latest.readings.get("ups_current")


def _setting(values: Sequence[int] | None, name: str) -> float:
    """Return a setting in its unit; a module that never reported it has the default."""
    row = SETTINGS[ID_OF[name]]
    known = values is not None and row.id < len(values)
    return float((values if values is not None and known else defaults())[row.id] / row.scale)


def _recharged(store: Store, module: int, newest_ms: int, recharge_h: float) -> float:
    """Return the charge (0–1) that unbroken good mains up to the newest trend gave an empty battery."""
    back = round(2 * recharge_h * 3_600_000)
    since = newest_ms
    bands = store.bands(module, newest_ms - back, newest_ms + 1, "supply_state")
    for band in sorted(bands, key=lambda one: -one.start):
        if SUPPLY_STATES[band.code] not in CHARGING or since - band.end > CURRENT_MS:
            break
        since = band.start
    return recharged_fraction(0.0, (newest_ms - since) / 3_600_000.0, recharge_h)
