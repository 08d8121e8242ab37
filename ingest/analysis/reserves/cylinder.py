"""Tell what an oxygen cylinder holds and how long it lasts, by three gas rules; the smallest is used."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from ingest.analysis.refusal import Refused
from ingest.analysis.reserves.oxygen_gas import litres_per_litre, litres_per_litre_ideal
from ingest.analysis.units import ATMOSPHERE_BAR, QUANTITIES, checked, convert

PSI_IN_BAR: Final = convert(1.0, "psi", "bar")
LEFT_BEHIND_BAR: Final = 200.0 * PSI_IN_BAR  # 'leave 200 psi': US Army course MD0542 (published)
GAUGE_ERROR_BAR: Final = 6.25  # class 2.5 of a 250 bar scale, EN 837-1, from memory
READING_ERROR_BAR: Final = 2.0  # reading one needle twice, scale error cancels: common practice, no source
WARMTH_ERROR_C: Final = 10.0  # the gas may be warmer than the room: common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Cylinder:
    """Describe a size: water capacity (L), litres per bar of the factor rule, filling pressure (bar)."""

    size: str
    water_l: float
    factor_l_bar: float
    fill_bar: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Content:
    """Hold usable litres (15 °C, 1 atm) by each rule, the one used, and a lower bound with gauge error."""

    cylinder: Cylinder
    gauge_bar: float
    temperature_c: float
    left_bar: float
    ideal_l: float
    real_l: float
    factor_l: float
    used_l: float
    used_rule: str
    low_l: float
    high_l: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """Hold what leaves the cylinder a minute, L/min; `total_l_min` is what empties it."""

    minute_volume_l_min: float
    bleed_l_min: float
    added_oxygen_l_min: float

    @property
    def total_l_min(self) -> float:
        """Sum the terms: minute volume (bellows drive) + bleed + added oxygen."""
        return self.minute_volume_l_min + self.bleed_l_min + self.added_oxygen_l_min


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeReading:
    """Hold one gauge reading: UTC ms and bar (gauge)."""

    at_ms: int
    gauge_bar: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueRate:
    """Hold the rate between two readings, L/min, with the bounds that the reading error leaves."""

    rate_l_min: float
    low_l_min: float
    high_l_min: float
    minutes_between: float

    @property
    def told(self) -> bool:
        """Say whether the gauge fell by more than its reading error, so that a rate can be told."""
        return self.low_l_min > 0.0


def _us(size: str, factor_l_psi: float, fill_psi: float) -> Cylinder:
    """Build a size known by its factor alone: the ideal law at 15 °C gives the water capacity."""
    per_bar = factor_l_psi / PSI_IN_BAR
    return Cylinder(
        size=size,
        water_l=per_bar * ATMOSPHERE_BAR,
        factor_l_bar=per_bar,
        fill_bar=fill_psi * PSI_IN_BAR,
        source="factor: US Army course MD0542; water capacity implied by it; filling pressure from memory",
    )


def _uk(size: str, content_l: float, fill_bar: float) -> Cylinder:
    """Build a size known by its content at filling pressure and 15 °C."""
    return Cylinder(
        size=size,
        water_l=content_l / litres_per_litre(fill_bar, 15.0),
        factor_l_bar=content_l / fill_bar,
        fill_bar=fill_bar,
        source="content: transport-planning paper (15 °C); water capacity by the real-gas law",
    )


_CD: Final = Cylinder(
    size="UK CD",
    water_l=2.0,
    factor_l_bar=2.0,
    fill_bar=230.0,
    source="2 L, 460 L at 230 bar, which is the ideal rule: transport-planning paper",
)

SIZES: Final[Mapping[str, Cylinder]] = MappingProxyType(
    {
        row.size: row
        for row in (
            _us("US D", 0.16, 2200.0),
            _us("US E", 0.28, 2200.0),
            _us("US M", 1.56, 2200.0),
            _us("US G", 2.41, 2200.0),
            _us("US H/K", 3.14, 2200.0),
            _uk("UK D", 340.0, 137.0),
            _uk("UK F", 1360.0, 137.0),
            _CD,
        )
    }
)


def cylinder_of_size(size: str) -> Cylinder:
    """Look a size up in SIZES; one that nobody makes is refused with the list of those known."""
    try:
        return SIZES[size.strip()]
    except KeyError:
        raise Refused("refused.unknown_size", size=repr(size), known=", ".join(SIZES)) from None


def cylinder_of_water_capacity(water_l: float, fill_bar: float = 200.0) -> Cylinder:
    """Describe a cylinder by the water capacity (L) stamped on it; the factor rule is litres × bar."""
    litres = checked("cylinder water capacity", water_l)
    return Cylinder(
        size=f"{litres:g} L",
        water_l=litres,
        factor_l_bar=litres,
        fill_bar=checked("cylinder gauge", fill_bar),
        source="water capacity stamped on the cylinder",
    )


def _litres(
    cylinder: Cylinder, gauge_bar: float, left_bar: float, temperature_c: float
) -> dict[str, float]:
    """Return usable litres by rule; gauge below what is left behind counts as empty."""
    top = max(gauge_bar, left_bar)
    return {
        "factor": cylinder.factor_l_bar * (top - left_bar),
        "ideal": cylinder.water_l
        * (litres_per_litre_ideal(top, temperature_c) - litres_per_litre_ideal(left_bar, temperature_c)),
        "real": cylinder.water_l
        * (litres_per_litre(top, temperature_c) - litres_per_litre(left_bar, temperature_c)),
    }


def cylinder_content(
    cylinder: Cylinder,
    gauge: float,
    *,
    gauge_unit: str = "bar",
    temperature_c: float = 15.0,
    left_bar: float = LEFT_BEHIND_BAR,
    gauge_error_bar: float = GAUGE_ERROR_BAR,
) -> Content:
    """Return the usable oxygen behind a gauge reading by ideal, real-gas and factor rule.

    `used_l` is the smallest of the three. The bounds move the gauge by its error and the gas by
    WARMTH_ERROR_C, and take the smallest (largest) rule. A gauge a quarter above the filling
    pressure of the size is refused. Sources: oxygen_gas; MD0542 for factors and 'leave 200 psi'.
    """
    gauge_bar = checked("cylinder gauge", gauge, gauge_unit)
    warmth_c = checked("temperature", temperature_c)
    left = checked("pressure left in the cylinder", left_bar)
    if gauge_bar > 1.25 * cylinder.fill_bar:
        raise Refused(
            "refused.gauge_over_fill", gauge_bar=round(gauge_bar, 1), size=cylinder.size,
            fill_bar=round(cylinder.fill_bar, 1),
        )  # fmt: skip
    rules = _litres(cylinder, gauge_bar, left, warmth_c)
    used = min(rules, key=rules.__getitem__)
    low = _litres(cylinder, max(gauge_bar - gauge_error_bar, 0.0), left, warmth_c + WARMTH_ERROR_C)
    high = _litres(cylinder, gauge_bar + gauge_error_bar, left, warmth_c - WARMTH_ERROR_C)
    return Content(
        cylinder=cylinder, gauge_bar=gauge_bar, temperature_c=warmth_c, left_bar=left,
        ideal_l=rules["ideal"], real_l=rules["real"], factor_l=rules["factor"],
        used_l=rules[used], used_rule=used, low_l=min(low.values()), high_l=max(high.values()),
    )  # fmt: skip


def gas_demand(
    *, minute_volume_l_min: float = 0.0, bleed_l_min: float = 0.0, added_oxygen_l_min: float
) -> Demand:
    """Return what empties the cylinder: drive gas of a bellows (its minute volume), bleed, added oxygen.

    A minute volume of 0 means that no bellows is driven from the cylinder. Source: a gas-driven
    bellows uses about its minute volume of drive gas (common practice of the trade).
    """
    volume = 0.0 if minute_volume_l_min == 0 else checked("minute volume", minute_volume_l_min)
    return Demand(
        minute_volume_l_min=volume,
        bleed_l_min=checked("bleed flow", bleed_l_min),
        added_oxygen_l_min=checked("oxygen flow", added_oxygen_l_min),
    )


def minutes_at(content_l: float, rate_l_min: float) -> float:
    """Return minutes until `content_l` is used at `rate_l_min`; infinite when nothing is drawn."""
    return content_l / rate_l_min if rate_l_min > 0 else math.inf


def true_rate(
    cylinder: Cylinder,
    first: GaugeReading,
    second: GaugeReading,
    *,
    temperature_c: float = 15.0,
    reading_error_bar: float = READING_ERROR_BAR,
) -> TrueRate:
    """Return the rate of use from two timed readings of one gauge, real gas, with worst-case bounds.

    Both readings may be off by `reading_error_bar` in opposite ways. A gauge that rose by more
    than that, or readings out of order, are refused. Source: content by oxygen_gas; the rest
    is the definition of a rate. Fast emptying cools the gas, so the gauge falls a little too far.
    """
    if second.at_ms <= first.at_ms:
        raise Refused("refused.readings_not_in_order")
    top, bottom = checked("cylinder gauge", first.gauge_bar), checked("cylinder gauge", second.gauge_bar)
    span = 2.0 * reading_error_bar
    if bottom - top > span:
        raise Refused("refused.gauge_rose", first_bar=top, second_bar=bottom)
    warmth_c = checked("temperature", temperature_c)
    minutes = (second.at_ms - first.at_ms) / 60_000.0
    held = litres_per_litre(top, warmth_c)
    limit = QUANTITIES["cylinder gauge"].high

    def rate(end_bar: float) -> float:
        held_then = litres_per_litre(min(max(end_bar, 0.0), limit), warmth_c)
        return max(0.0, cylinder.water_l * (held - held_then) / minutes)

    return TrueRate(
        rate_l_min=rate(bottom),
        low_l_min=rate(bottom + span),
        high_l_min=rate(bottom - span),
        minutes_between=minutes,
    )
