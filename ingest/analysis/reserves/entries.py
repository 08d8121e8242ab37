"""What a person enters about reserves, as marks of one kind: cylinder, flows, battery, agent, bag seen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from ingest.analysis.refusal import Refused
from ingest.analysis.reserves.agent import RULE_OF_THUMB, agent_ml_h
from ingest.analysis.reserves.battery import MinutesRange, peukert_minutes
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
from ingest.analysis.written import Written

KIND: Final = "reserve"
# Of single values read off beside the trends; gauge, oxygen flow and agent among them count here too.
HAND_KIND: Final = "hand"
RATE_BACK_MS: Final = 6 * 3_600_000  # readings further apart span too many changes of flow: house rule


@dataclass(frozen=True, slots=True, kw_only=True)
class MixtureEntry:
    """Hold what a draw-over circuit breathes: minute volume in L/min, reservoir tube in L (0: none)."""

    at_ms: int
    minute_volume_l_min: float
    reservoir_l: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AgentEntry:
    """Hold the vaporizer at a time: agent, dial in vol %, mL in it, and the carrier in L/min.

    `draw_over`: the carrier is the minute volume, else the fresh gas flow.
    """

    at_ms: int
    agent: str
    level_percent: float
    filling_ml: float
    draw_over: bool
    carrier_l_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BatteryEntry:
    """Hold a battery that no discharge has proven: Ah at so many hours, type, and the current drawn, A."""

    at_ms: int
    capacity_ah: float
    rated_h: float
    chemistry: str
    current_a: float

    def minutes(self, fraction_full: float = 1.0) -> MinutesRange:
        """Return what Peukert's law gives at a charge (0-1), with its interval."""
        return peukert_minutes(
            capacity_ah=self.capacity_ah, rated_h=self.rated_h, chemistry=self.chemistry,
            current_a=self.current_a, fraction_full=fraction_full,
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Entered:
    """Hold the newest entries; None: never entered. `readings` are of the newest cylinder, oldest first."""

    battery: BatteryEntry | None = None
    mixture: MixtureEntry | None = None
    agent: AgentEntry | None = None
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


def mixture_entry(*, minute_volume: object, reservoir: object) -> dict[str, Any]:
    """Return the data of a draw-over mixture entry; a reservoir of 0 or '': none."""
    return {
        "what": "mixture", "minute_volume_l_min": checked("minute volume", minute_volume),
        "reservoir_l": checked("reservoir volume", reservoir if reservoir not in (None, "") else 0),
    }  # fmt: skip


def agent_entry(
    *, agent: str, level: object, filling: object, carrier: object, draw_over: bool
) -> dict[str, Any]:
    """Return the data of a vaporizer entry: dial in vol %, mL in it, its carrier in L/min."""
    flow = checked("minute volume" if draw_over else "fresh gas flow", carrier)
    given = {"level_percent": checked("agent level", level),
             "filling_ml": checked("agent in the vaporizer", filling)}  # fmt: skip
    agent_ml_h(agent=agent, carrier_l_min=flow, level_percent=given["level_percent"])
    return {"what": "agent", "agent": agent, **given, "carrier_l_min": flow, "draw_over": draw_over}


def battery_entry(*, capacity: object, hours: object, chemistry: str, current: object) -> dict[str, Any]:
    """Return the data of a battery without a discharge test: Ah at its hours, type, current in A."""
    given = {"capacity_ah": checked("battery capacity", capacity),
             "rated_h": checked("hours of the capacity", hours),
             "current_a": checked("battery current", current)}  # fmt: skip
    BatteryEntry(at_ms=0, chemistry=chemistry, **given).minutes()
    return {"what": "battery", "chemistry": chemistry, **given}


def entered_marks(store: Any, module: int, now_ms: int) -> list[Any]:
    """Return the marks of a store's reader that count for reserves up to now."""
    marks = [*store.marks(module, kind=KIND), *store.marks(module, kind=HAND_KIND)]
    return [mark for mark in marks if mark.utc <= now_ms]


def bag_entry() -> dict[str, Any]:
    """Return the data of 'self-inflating bag seen at the bed'; its time is the mark's."""
    return {"what": "bag"}


def entered(marks: Iterable[Written]) -> Entered:
    """Read marks into the newest of each; one that can't be read is counted, never guessed at.

    A gauge or flow that was typed by itself counts only for a cylinder and a demand that are known: a size
    or a bellows' drive is never assumed.
    """
    told = Entered()
    for mark in sorted(marks, key=lambda one: one.utc):
        try:
            told = _with(told, mark)
        except (Refused, KeyError, TypeError, ValueError):
            told = replace(told, unreadable=told.unreadable + 1)
    return told


def _with(told: Entered, mark: Written) -> Entered:
    """Return what is entered once a mark is read too."""
    data, what = mark.data, mark.data.get("what")
    if what == "cylinder":
        cylinder, reading = _gauge(mark)
        same = told.cylinder is not None and cylinder.size == told.cylinder.size
        readings = (*told.readings, reading) if same else (reading,)
        return replace(told, cylinder=cylinder, readings=readings)
    if what == "flow":
        return replace(told, demand=_demand(data), flow_at_ms=mark.utc)
    if what == "bag":
        return replace(told, bag_seen_ms=mark.utc)
    if what == "mixture":
        found = mixture_entry(minute_volume=data["minute_volume_l_min"], reservoir=data["reservoir_l"])
        del found["what"]
        return replace(told, mixture=MixtureEntry(at_ms=mark.utc, **found))
    if what == "battery":
        found = battery_entry(
            capacity=data["capacity_ah"], hours=data["rated_h"], chemistry=str(data["chemistry"]),
            current=data["current_a"],
        )  # fmt: skip
        del found["what"]
        return replace(told, battery=BatteryEntry(at_ms=mark.utc, **found))
    if what == "agent":
        found = agent_entry(
            agent=str(data["agent"]), level=data["level_percent"], filling=data["filling_ml"],
            carrier=data["carrier_l_min"], draw_over=bool(data["draw_over"]),
        )  # fmt: skip
        del found["what"]
        return replace(told, agent=AgentEntry(at_ms=mark.utc, **found))
    return _single(told, str(what), data.get("value"), mark.utc)


def _single(told: Entered, what: str, value: object, at_ms: int) -> Entered:
    """Take up one value read off by itself, where it changes something that is known."""
    if what == "gauge" and told.cylinder is not None:
        gauge = cylinder_content(told.cylinder, checked("cylinder gauge", value)).gauge_bar
        return replace(told, readings=(*told.readings, GaugeReading(at_ms=at_ms, gauge_bar=gauge)))
    if what == "oxygen_flow" and told.demand is not None:
        demand = replace(told.demand, added_oxygen_l_min=checked("oxygen flow", value))
        return replace(told, demand=demand, flow_at_ms=at_ms)
    if what == "agent_left" and told.agent is not None:
        filling = checked("agent in the vaporizer", value)
        return replace(told, agent=replace(told.agent, at_ms=at_ms, filling_ml=filling))
    if what == "agent_level" and told.agent is not None:
        return replace(told, agent=_turned(told.agent, checked("agent level", value), at_ms))
    if what in _SINGLE:
        return told
    raise Refused("refused.unknown_choice", what="entry", given=repr(what), known=", ".join(_SINGLE))


_SINGLE: Final = ("spo2", "pulse", "gauge", "oxygen_flow", "agent_left", "agent_level")


def _turned(agent: AgentEntry, level: float, at_ms: int) -> AgentEntry:
    """Return the vaporizer at a new dial: what the old one took until then is taken off."""
    per_h = RULE_OF_THUMB * agent.carrier_l_min * agent.level_percent
    exact = agent_ml_h(
        agent=agent.agent, carrier_l_min=agent.carrier_l_min, level_percent=agent.level_percent
    )
    used = max(per_h, exact) * (at_ms - agent.at_ms) / 3_600_000.0
    return replace(agent, at_ms=at_ms, level_percent=level, filling_ml=max(agent.filling_ml - used, 0.0))


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
