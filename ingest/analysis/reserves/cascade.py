"""Lay out what carries the patient if the mains fails now: lower bounds, what lengthens, what isn't known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from firmware_sim.contract.settings import ID_OF, defaults
from ingest.analysis.reserves.battery import ProvenBound
from ingest.analysis.reserves.cylinder import Content, Demand, TrueRate, minutes_at

# The module's own settings are the one table for these.
BATTERY_SHORT_MIN: Final[float] = defaults()[ID_OF["battery.short"]] / 60.0
BATTERY_VERY_SHORT_MIN: Final[float] = defaults()[ID_OF["battery.very_short"]] / 60.0
MINUTE_MS: Final = 60_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """Hold one rung: lower bound in whole minutes, where it starts and ends, its upper bound.

    `minutes_low` None: no end (hand ventilation). `minutes_high` None: not known. `from_ms` and `until_ms`
    are UTC lower bounds, rounded down to the minute. `unknown` lists text keys of what isn't known.
    """

    key: str
    minutes_low: int | None
    minutes_high: int | None
    from_ms: int
    until_ms: int | None
    proven: bool
    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lengthening:
    """Hold one thing that would lengthen a rung: text key, its parameter (L/min) and whole minutes gained."""

    rung: str
    key: str
    to_l_min: float
    minutes_gained: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Cascade:
    """Hold the rungs in order, what would lengthen them, and what the whole picture doesn't know."""

    at_ms: int
    rungs: tuple[Rung, ...]
    lengthen: tuple[Lengthening, ...]
    unknown: tuple[str, ...]

    @property
    def minutes_low(self) -> int:
        """Return whole minutes until only hand ventilation with room air is left."""
        return sum(rung.minutes_low or 0 for rung in self.rungs)


@dataclass(frozen=True, slots=True, kw_only=True)
class CylinderReserve:
    """Join a cylinder's content with its demand; a true rate, when told, counts if it is larger."""

    content: Content
    demand: Demand
    rate: TrueRate | None = None
    opens_by_itself: bool = False

    @property
    def minutes_low(self) -> float:
        """Divide the low content by the larger of stated demand and measured upper rate."""
        return minutes_at(self.content.low_l, self.rate_high_l_min)

    @property
    def minutes_high(self) -> float:
        """Divide the high content by the measured lower rate, else by the stated demand."""
        told = self.rate is not None and self.rate.told
        low = self.rate.low_l_min if self.rate is not None and told else self.demand.total_l_min
        return minutes_at(self.content.high_l, low)

    @property
    def rate_high_l_min(self) -> float:
        """Return what empties it at worst: the stated demand, or a measured upper rate if larger."""
        if self.rate is not None and self.rate.told:
            return max(self.demand.total_l_min, self.rate.high_l_min)
        return self.demand.total_l_min


def whole_minutes(minutes: float) -> int:
    """Round minutes down; an endless supply is capped at a week, so that a clock time can be shown."""
    return int(min(max(minutes, 0.0), 7 * 24 * 60.0))


def battery_shortness(
    minutes_low: float,
    short_min: float = BATTERY_SHORT_MIN,
    very_short_min: float = BATTERY_VERY_SHORT_MIN,
) -> str | None:
    """Return 'very_short', 'short' or None by the lower bound left; the limits are those in force."""
    if minutes_low < very_short_min:
        return "very_short"
    return "short" if minutes_low < short_min else None


def cascade(
    *,
    now_ms: int,
    battery: ProvenBound | None,
    cylinder: CylinderReserve | None,
    bag_seen_ms: int | None,
    bypass: bool = False,
    battery_high_min: float | None = None,
) -> Cascade:
    """Return the cascade from now: battery, cylinder, hand ventilation with room air.

    In bypass no battery stands behind the output, so that rung is 0. None for a reserve: nobody entered
    it, the rung is 0 and 'not known'. `bag_seen_ms`: when a self-inflating bag was last seen at the bed.
    Every figure is a lower bound, rounded down. Source: rules of the two reserves; the sum is ours.
    """
    rungs: list[Rung] = []
    at_ms = now_ms
    for key, low, high, proven, unknown in (
        _battery_figures(battery, bypass, battery_high_min),
        _cylinder_figures(cylinder),
    ):
        minutes = whole_minutes(low)
        until_ms = _floor_minute(at_ms + minutes * MINUTE_MS)
        rungs.append(
            Rung(
                key=key, minutes_low=minutes, minutes_high=None if high is None else whole_minutes(high),
                from_ms=_floor_minute(at_ms), until_ms=until_ms, proven=proven, unknown=unknown,
            )
        )  # fmt: skip
        at_ms += minutes * MINUTE_MS
    rungs.append(
        Rung(
            key="rung.hand_room_air", minutes_low=None, minutes_high=None, from_ms=_floor_minute(at_ms),
            until_ms=None, proven=bag_seen_ms is not None,
            unknown=() if bag_seen_ms is not None else ("hand.bag_not_seen",),
        )
    )  # fmt: skip
    return Cascade(
        at_ms=now_ms,
        rungs=tuple(rungs),
        lengthen=_lengthening(cylinder),
        unknown=("cascade.staff_hands", "cascade.equipment_faults", "cascade.gas_to_lung"),
    )


_Figures = tuple[str, float, float | None, bool, tuple[str, ...]]


def _battery_figures(battery: ProvenBound | None, bypass: bool, high_min: float | None) -> _Figures:
    if bypass:
        return "rung.battery", 0.0, 0.0, True, ("battery.bypassed",)
    if battery is None:
        return "rung.battery", 0.0, None, False, ("battery.never_tested",)
    unknown = (*battery.unknown, "battery.temperature")
    return "rung.battery", battery.minutes_low, high_min, battery.proven, unknown


def _cylinder_figures(reserve: CylinderReserve | None) -> _Figures:
    if reserve is None:
        return "rung.cylinder", 0.0, None, False, ("cylinder.not_entered",)
    unknown: list[str] = ["cylinder.gas_temperature", "cylinder.leaks"]
    if reserve.rate is None or not reserve.rate.told:
        unknown.append("cylinder.rate_not_measured")
    if not reserve.opens_by_itself:
        unknown.append("cylinder.somebody_must_open")
    high = reserve.minutes_high
    return (
        "rung.cylinder", reserve.minutes_low, None if math.isinf(high) else high, False, tuple(unknown)
    )  # fmt: skip


def _lengthening(reserve: CylinderReserve | None) -> tuple[Lengthening, ...]:
    """Try what a person could set: half the oxygen, 1 L/min, volume −20 %, no drive gas."""
    if reserve is None or reserve.demand.total_l_min <= 0:
        return ()
    demand, low_l = reserve.demand, reserve.content.low_l
    # What the gauge says it really loses stays lost: a wish saves its own litres, no others.
    rate = reserve.rate_high_l_min
    now = whole_minutes(minutes_at(low_l, rate))
    volume, oxygen = demand.minute_volume_l_min, demand.added_oxygen_l_min
    trials: Sequence[tuple[str, float, float]] = (
        ("lengthen.half_oxygen", oxygen / 2, oxygen / 2),
        ("lengthen.one_l_min", 1.0, oxygen - 1.0),
        ("lengthen.minute_volume", 0.8 * volume, 0.2 * volume),
        ("lengthen.hand_instead_of_drive_gas", oxygen, volume + demand.bleed_l_min),
    )
    found = []
    for key, to_l_min, saved in trials:
        if saved > 1e-9:
            then = whole_minutes(minutes_at(low_l, rate - saved))
            found.append(
                Lengthening(rung="rung.cylinder", key=key, to_l_min=to_l_min, minutes_gained=then - now)
            )
    return tuple(sorted(found, key=lambda row: -row.minutes_gained))


def _floor_minute(at_ms: int) -> int:
    return at_ms // MINUTE_MS * MINUTE_MS
