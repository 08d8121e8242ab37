"""Bound the minutes a battery still gives: proven test first, constant power and Peukert as fallbacks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np

from firmware_sim.contract.settings import ID_OF, defaults
from firmware_sim.kernels.battery import BULK, FULL, LOAD_ONE, YEAR_LOSS, battery_load
from ingest.analysis.refusal import Refused
from ingest.analysis.units import checked

DAY_MS: Final = 86_400_000
# The module's own settings are the one table for these.
PROVEN_DAYS_MAX: Final[int] = defaults()[ID_OF["battery.proven_age_max"]]
RECHARGE_H: Final[float] = defaults()[ID_OF["battery.recharge"]] / 10.0
BULK_FRACTION: Final[float] = BULK / FULL  # bulk charge ends: UPS handbook, McGraw-Hill 2004, p. 197
BULK_TIME_SHARE: Final = 0.6  # of the recharge time, as the module reckons (common practice)
AGEING_SIZING: Final = 1.25  # UFC 3-520-01 App. E (published): sized so that 80 % is left at end of life
LOAD_STEPS: Final = 60_000  # the larger load in the kernel's integers
LEFT_AT_END_OF_LIFE: Final = 1.0 / AGEING_SIZING

# Peukert exponents (low, high) by type: published ranges of makers' and teaching texts.
EXPONENTS: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {"agm": (1.05, 1.15), "gel": (1.1, 1.25), "flooded": (1.2, 1.6)}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MinutesRange:
    """Hold a lower bound, a middle and an upper bound of minutes."""

    low_min: float
    middle_min: float
    high_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DischargeTest:
    """Hold a discharge test that was done: start in UTC ms, minutes carried, load (W or A, None: unknown)."""

    at_ms: int
    minutes: float
    load: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProvenBound:
    """Hold the lower bound from the last test, its factors, and what makes it less than proven."""

    minutes_low: float
    proven: bool
    test_age_days: float | None
    recharge_fraction: float
    ageing_fraction: float
    load_factor: float
    unknown: tuple[str, ...]


def peukert_rated_h(*, capacity_ah: float, rated_h: float, exponent: float, current_a: float) -> float:
    """Return hours at a current: t = H (C/(I H))^k, C being the capacity at the H-hour rate.

    Source: the rated form of Peukert's law (published form). The form to use.
    """
    return float(rated_h * (capacity_ah / (current_a * rated_h)) ** exponent)


def peukert_raw_h(*, capacity_ah: float, exponent: float, current_a: float) -> float:
    """Return hours at a current: t = C / I^k, C being the capacity at 1 A (published calculators).

    Only for comparison with tables in that form: with a 20-hour capacity it is wrong.
    """
    return float(capacity_ah / current_a**exponent)


def _exponents(chemistry: str) -> tuple[float, float]:
    try:
        return EXPONENTS[chemistry]
    except KeyError:
        raise Refused(
            "refused.unknown_chemistry", chemistry=repr(chemistry), known=", ".join(EXPONENTS)
        ) from None


def peukert_minutes(
    *, capacity_ah: float, rated_h: float, chemistry: str, current_a: float, fraction_full: float = 1.0
) -> MinutesRange:
    """Return minutes by the rated form over the exponents of a chemistry and ageing 0.8 to 1.

    `fraction_full` (0–1) scales the charge. The interval spans all corners; the middle takes the mean
    exponent and mean ageing.
    """
    low_k, high_k = _exponents(chemistry)
    capacity = checked("battery capacity", capacity_ah) * fraction_full

    def minutes(exponent: float, ageing: float) -> float:
        return 60.0 * peukert_rated_h(
            capacity_ah=capacity * ageing, rated_h=rated_h, exponent=exponent, current_a=current_a
        )

    corners = [minutes(k, a) for k in (low_k, high_k) for a in (LEFT_AT_END_OF_LIFE, 1.0)]
    middle = minutes((low_k + high_k) / 2, (LEFT_AT_END_OF_LIFE + 1.0) / 2)
    return MinutesRange(low_min=min(corners), middle_min=middle, high_min=max(corners))


def constant_power_minutes(
    *,
    load_w: float,
    efficiency: float,
    capacity_ah: float,
    rated_h: float,
    exponent: float,
    cells: int,
    resistance_ohm: float,
    emf_full_v: float = 2.13,
    emf_empty_v: float = 1.95,
    cutoff_v: float = 1.67,
) -> float:
    """Return minutes a full lead-acid battery carries a constant load through an inverter.

    At each state of charge q the current solves P = (E − I R) I (definition) with an EMF linear in q
    (volts a cell, from memory), and the charge falls at the rate Peukert's rated form gives for it:
    t = ∫ t_full(I(q)) dq down to q = 0 or to the cut-off voltage a cell (common practice 1.67 V).
    """
    power = checked("load", load_w) / efficiency
    charge = np.linspace(0.0, 1.0, 2001)
    emf = cells * (emf_empty_v + (emf_full_v - emf_empty_v) * charge)
    room = emf**2 - 4.0 * resistance_ohm * power
    root = np.sqrt(np.maximum(room, 0.0))
    current = 2.0 * power / (emf + root)  # the smaller root; also right for R = 0
    carried = (room >= 0.0) & (emf - current * resistance_ohm >= cells * cutoff_v)
    hours_if_full = rated_h * (capacity_ah / (current * rated_h)) ** exponent
    return float(60.0 * np.trapezoid(np.where(carried, hours_if_full, 0.0), charge))


def sizing_w(*, apparent_va: float, power_factor: float, efficiency: float) -> tuple[float, float, float]:
    """Return (load, battery power, battery power with ageing) in W: UFC 3-520-01 App. E."""
    load = apparent_va * power_factor
    return load, load / efficiency, load / efficiency * AGEING_SIZING


def recharged_fraction(start_fraction: float, hours_on_mains: float, recharge_h: float = RECHARGE_H) -> float:
    """Return the charge (0–1) after hours of good mains, as the module reckons it.

    Bulk charge to 85 % (UPS handbook, p. 197) in 60 % of the recharge time from empty to full, the rest in
    40 % (common practice): the same figures as `kernels.battery`.
    """
    bulk_h, rest_h = BULK_TIME_SHARE * recharge_h, (1.0 - BULK_TIME_SHARE) * recharge_h
    hours = max(hours_on_mains, 0.0)
    if start_fraction < BULK_FRACTION:
        needed = (BULK_FRACTION - start_fraction) / BULK_FRACTION * bulk_h
        if hours < needed:
            return start_fraction + hours / bulk_h * BULK_FRACTION
        hours, start_fraction = hours - needed, BULK_FRACTION
    return min(1.0, start_fraction + hours / rest_h * (1.0 - BULK_FRACTION))


def unproven_bound(minutes: MinutesRange, recharge_fraction: float = 1.0) -> ProvenBound:
    """Return the bound of a battery that only Peukert's law speaks for: the low end of its interval."""
    return ProvenBound(
        minutes_low=minutes.low_min, proven=False, test_age_days=None, recharge_fraction=recharge_fraction,
        ageing_fraction=LEFT_AT_END_OF_LIFE, load_factor=1.0, unknown=("battery.peukert_only",),
    )  # fmt: skip


def proven_minutes(
    test: DischargeTest | None,
    *,
    now_ms: int,
    recharge_fraction: float,
    load: float | None = None,
    age_days_max: int = PROVEN_DAYS_MAX,
) -> ProvenBound:
    """Return the lower bound: minutes of the last test × recharge × ageing × load, and whether proven.

    No test gives 0 min. Ageing since the test is the module's, `kernels.battery`: 10 % a year (common
    practice). A load above the test's, in the same unit, shortens as it does on the module, a little beyond
    the worst published Peukert exponent, 1.6; a lighter one isn't counted as a gain. Older than
    `age_days_max`, or dated after now: not proven.
    """
    if test is None:
        return ProvenBound(
            minutes_low=0.0, proven=False, test_age_days=None, recharge_fraction=recharge_fraction,
            ageing_fraction=0.0, load_factor=0.0, unknown=("battery.never_tested",),
        )  # fmt: skip
    age_days = (now_ms - test.at_ms) / DAY_MS
    years = max(age_days, 0.0) / 365.0
    ageing = max(0.0, 1.0 - YEAR_LOSS / 100.0 * years)
    unknown = []
    if not 0 <= age_days <= age_days_max:
        unknown.append("battery.test_too_old" if age_days > 0 else "battery.test_dated_later")
    load_factor = 1.0
    if test.load is None or load is None:
        unknown.append("battery.load_unknown")
    elif load > test.load:
        load_factor = battery_load(max(int(LOAD_STEPS * test.load / load), 1), LOAD_STEPS) / LOAD_ONE
    fraction = min(max(recharge_fraction, 0.0), 1.0)
    return ProvenBound(
        minutes_low=checked("test length", test.minutes) * fraction * ageing * load_factor,
        proven=0 <= age_days <= age_days_max,
        test_age_days=age_days, recharge_fraction=fraction, ageing_fraction=ageing,
        load_factor=load_factor, unknown=tuple(unknown),
    )  # fmt: skip
