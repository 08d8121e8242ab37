"""What a person enters about reserves, as marks of one kind: cylinder and gauge, flows, bag seen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Protocol

from ingest.analysis.refusal import Refused
from ingest.analysis.reserves.cylinder import (
    Cylinder,
    Demand,
    GaugeReading,
    TrueRate,
    cylinder_content,
    cylinder_of_size,
    cylinder_of_water_capacity,
    gas_demand,
    true_rate,
)
from ingest.analysis.units import checked

KIND: Final = "reserve"
RATE_BACK_MS: Final = 6 * 3_600_000  # readings further apart span too many changes of flow: house rule


class Written(Protocol):
    """What a mark must have."""

    @property
    def utc(self) -> int:
        """Return when it holds, UTC ms."""

    @property
    def data(self) -> Mapping[str, object]:
        """Return what it holds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entered:
    """Hold the newest entries; None: never entered. `readings` are of the newest cylinder, oldest first."""

    cylinder: Cylinder | None = None
    readings: tuple[GaugeReading, ...] = ()
    demand: Demand | None = None
    flow_at_ms: int | None = None
    bag_seen_ms: int | None = None
    unreadable: int = field(default=0)

    @property
    def rate(self) -> TrueRate | None:
        """Return the true rate from the last two gauge readings, None without two that make sense.

        A gauge that rose is another cylinder, or a refilled one: no rate.
        """
        if self.cylinder is None or len(self.readings) < 2:
            return None
        first, second = self.readings[-2:]
        if second.at_ms - first.at_ms > RATE_BACK_MS:
            return None
        try:
            return true_rate(self.cylinder, first, second)
        except Refused:
            return None


def cylinder_of(size: str, water_l: object = None) -> Cylinder:
    """Return a cylinder by size, or by water capacity (L) where that is given."""
    return cylinder_of_size(size) if water_l in (None, "") else cylinder_of_water_capacity(_litres(water_l))


def cylinder_entry(*, size: str, water_l: object, gauge: object, unit: str) -> dict[str, Any]:
    """Return the data of a gauge entry, in bar; raise Refused for what makes no sense."""
    cylinder = cylinder_of(size, water_l)
    gauge_bar = checked("cylinder gauge", gauge, unit)
    cylinder_content(cylinder, gauge_bar)
    named = {"size": cylinder.size} if water_l in (None, "") else {"water_l": cylinder.water_l}
    return {"what": "cylinder", "gauge_bar": round(gauge_bar, 3), **named}


def flow_entry(*, oxygen: object, minute_volume: object, bleed: object) -> dict[str, Any]:
    """Return the data of a flow entry in L/min; a minute volume of 0 or '': no bellows is driven."""
    bellows = minute_volume not in (None, "", "0", 0)
    demand = gas_demand(
        minute_volume_l_min=checked("minute volume", minute_volume) if bellows else 0.0,
        bleed_l_min=checked("bleed flow", bleed or 0),
        added_oxygen_l_min=checked("oxygen flow", oxygen),
    )
    return {"what": "flow", "oxygen_l_min": demand.added_oxygen_l_min,
            "minute_volume_l_min": demand.minute_volume_l_min, "bleed_l_min": demand.bleed_l_min}  # fmt: skip


def bag_entry() -> dict[str, Any]:
    """Return the data of 'self-inflating bag seen at the bed'; its time is the mark's."""
    return {"what": "bag"}


def entered(marks: Iterable[Written]) -> Entered:
    """Read marks of KIND into the newest of each; one that can't be read is counted, never guessed at."""
    cylinder: Cylinder | None = None
    readings: list[GaugeReading] = []
    demand, flow_at, bag, unreadable = None, None, None, 0
    for mark in sorted(marks, key=lambda one: one.utc):
        try:
            what = mark.data.get("what")
            if what == "cylinder":
                told, reading = _gauge(mark)
                if cylinder is None or told.size != cylinder.size:
                    readings = []
                cylinder = told
                readings.append(reading)
            elif what == "flow":
                demand, flow_at = _demand(mark.data), mark.utc
            elif what == "bag":
                bag = mark.utc
            else:
                unreadable += 1
        except (Refused, KeyError):
            unreadable += 1
    return Entered(
        cylinder=cylinder, readings=tuple(readings), demand=demand, flow_at_ms=flow_at, bag_seen_ms=bag,
        unreadable=unreadable,
    )  # fmt: skip


def _gauge(mark: Written) -> tuple[Cylinder, GaugeReading]:
    cylinder = cylinder_of(str(mark.data.get("size", "")), mark.data.get("water_l"))
    gauge = cylinder_content(cylinder, checked("cylinder gauge", mark.data["gauge_bar"])).gauge_bar
    return cylinder, GaugeReading(at_ms=mark.utc, gauge_bar=gauge)


def _demand(data: Mapping[str, object]) -> Demand:
    volume = data["minute_volume_l_min"]
    return gas_demand(
        minute_volume_l_min=checked("minute volume", volume) if volume else 0.0,
        bleed_l_min=checked("bleed flow", data["bleed_l_min"]),
        added_oxygen_l_min=checked("oxygen flow", data["oxygen_l_min"]),
    )


def _litres(value: object) -> float:
    return checked("cylinder water capacity", value)
