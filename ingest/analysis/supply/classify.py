"""Put events into the tables of the standards. Every table stands here once, with its edges.

Magnitudes are fractions of the reference, durations seconds by the convention of the event.
"""

import math
from dataclasses import dataclass
from typing import Literal

from ingest.analysis.supply.records import SupplyEvent

DIP_ROWS = (("A", 0.80, 0.90), ("B", 0.70, 0.80), ("C", 0.40, 0.70), ("D", 0.05, 0.40), ("X", 0.0, 0.05))
"""EN 50160 (quoted): residual from the lower edge, which belongs to the row, up to below the upper one."""
DIP_COLUMNS_S = (0.2, 0.5, 1.0, 5.0, 60.0)
"""EN 50160 (quoted): columns 1 to 5 end with these durations, included; the first begins at 10 ms."""
SWELL_ROWS = (("S", 1.20), ("T", 1.10))
SWELL_COLUMNS_S = (0.5, 5.0, 60.0)
SHORTEST_S = 0.01
SHORT_INTERRUPTION_S = 180.0
"""EN 50160 (published): short up to and including 3 min, long above."""

ROUNDING = 1e-9


def _column(duration_s: float, ends_s: tuple[float, ...]) -> int | None:
    """Give the column number, None outside the table."""
    if duration_s < SHORTEST_S - ROUNDING:
        return None
    return next((n for n, end in enumerate(ends_s, 1) if duration_s <= end + ROUNDING), None)


def dip_cell(residual_pu: float, duration_s: float) -> str | None:
    """Give the EN 50160 cell of a dip, such as 'C2'; None outside the table (longer than a minute)."""
    column = _column(duration_s, DIP_COLUMNS_S)
    row = next(
        (name for name, low, high in DIP_ROWS if low - ROUNDING <= residual_pu < high - ROUNDING), None
    )
    return f"{row}{column}" if row and column else None


def swell_cell(height_pu: float, duration_s: float) -> str | None:
    """Give the EN 50160 cell of a swell, such as 'T1'; None when it lies outside the table."""
    column = _column(duration_s, SWELL_COLUMNS_S)
    row = next((name for name, low in SWELL_ROWS if height_pu >= low - ROUNDING), None)
    return f"{row}{column}" if row and column else None


def dip_table(events: tuple[SupplyEvent, ...]) -> dict[str, int]:
    """Count dips by cell, all 25 cells present; 'outside' holds what the table has no cell for."""
    return _count(
        [dip_cell(e.extreme_pu, e.duration_s) for e in events if e.kind == "dip"],
        [f"{row}{column}" for row, _, _ in DIP_ROWS for column in range(1, len(DIP_COLUMNS_S) + 1)],
    )


def swell_table(events: tuple[SupplyEvent, ...]) -> dict[str, int]:
    """Count swells by cell, all 6 cells present; 'outside' holds what the table has no cell for."""
    return _count(
        [swell_cell(e.extreme_pu, e.duration_s) for e in events if e.kind == "swell"],
        [f"{row}{column}" for row, _ in SWELL_ROWS for column in range(1, len(SWELL_COLUMNS_S) + 1)],
    )


def _count(found: list[str | None], cells: list[str]) -> dict[str, int]:
    table = dict.fromkeys([*cells, "outside"], 0)
    for cell in found:
        table[cell or "outside"] += 1
    return table


def category(magnitude_pu: float, duration_s: float, nominal_hz: float = 50.0) -> str:
    """Name the IEEE 1159 category (published table of the 1995 edition).

    'other' where the table has no row: within 0.9 to 1.1, shorter than half a cycle, or a swell higher than
    its row goes. A long sag below 0.8 is still called undervoltage, as is usual.
    """
    cycles = duration_s * nominal_hz
    if cycles < 0.5 - ROUNDING or 0.9 <= magnitude_pu <= 1.1:
        return "other"
    low, none = magnitude_pu < 0.9, magnitude_pu < 0.1 - ROUNDING
    if duration_s > 60.0 + ROUNDING:
        if none:
            return "sustained interruption"
        return "undervoltage" if low else "overvoltage"
    kind = "interruption" if none else "sag" if low else "swell"
    if cycles <= 30.0 + ROUNDING and not none:
        length, highest = "instantaneous", 1.8
    elif duration_s <= 3.0 + ROUNDING:
        length, highest = "momentary", 1.4
    else:
        length, highest = "temporary", 1.2
    return "other" if magnitude_pu > highest + ROUNDING else f"{length} {kind}"


ITIC_LOWER = ((0.02, 0.0), (0.5, 0.70), (10.0, 0.80), (math.inf, 0.90))
"""Up to and including this duration in s, equipment works down to this fraction (axis published, pairing from
memory). The curve speaks of 120 V equipment; elsewhere it is a yardstick."""
ITIC_UPPER_POINTS = ((0.00017, 5.0), (0.001, 2.0), (0.003, 1.4))
ITIC_UPPER = ((0.5, 1.20), (math.inf, 1.10))
SEMI_F47 = ((0.2, 0.50), (0.5, 0.70), (10.0, 0.80), (math.inf, 0.90))
SEMI_F47_BEGINS_S = 0.02
Curve = Literal["ITIC", "SEMI F47"]
Region = Literal["prohibited", "no interruption", "no damage"]


def _step(duration_s: float, steps: tuple[tuple[float, float], ...]) -> float:
    return next(level for end, level in steps if duration_s <= end + ROUNDING)


def lower_limit(curve: Curve, duration_s: float) -> float:
    """Give the residual that equipment must ride through for this long; 0 where the curve asks nothing."""
    if curve == "ITIC":
        return _step(duration_s, ITIC_LOWER)
    return 0.0 if duration_s < SEMI_F47_BEGINS_S - ROUNDING else _step(duration_s, SEMI_F47)


def itic_upper_limit(duration_s: float) -> float:
    """Give the ITIC upper limit. Below half a cycle it is a peak against the nominal peak, not an rms.

    Between its three corner points the limit runs straight on logarithmic axes.
    """
    first, last = ITIC_UPPER_POINTS[0], ITIC_UPPER_POINTS[-1]
    if duration_s <= first[0]:
        return first[1]
    if duration_s > last[0]:
        return _step(duration_s, ITIC_UPPER)
    for (t1, u1), (t2, u2) in zip(ITIC_UPPER_POINTS, ITIC_UPPER_POINTS[1:], strict=False):
        if duration_s <= t2 + ROUNDING:
            return float(u1 * (u2 / u1) ** (math.log(duration_s / t1) / math.log(t2 / t1)))
    raise AssertionError("the corner points cover the range")


def itic_position(
    magnitude_pu: float, duration_s: float
) -> Literal["prohibited", "no interruption", "no damage"]:
    """Name the ITIC region: above the upper limit, between the limits, below the lower one."""
    if magnitude_pu > itic_upper_limit(duration_s) + ROUNDING:
        return "prohibited"
    if magnitude_pu < lower_limit("ITIC", duration_s) - ROUNDING:
        return "no damage"
    return "no interruption"


def semi_f47_passes(residual_pu: float, duration_s: float) -> bool:
    """Tell whether equipment built to SEMI F47 must ride through."""
    return residual_pu >= lower_limit("SEMI F47", duration_s) - ROUNDING


def sag_severity(residual_pu: float, duration_s: float, curve: Curve = "SEMI F47") -> float:
    """Give (1 - U)/(1 - Ucurve): 1 on the curve, more below it (IEEE 1564)."""
    return (1.0 - residual_pu) / (1.0 - lower_limit(curve, duration_s))


def sag_energy_s(residual_pu: float, duration_s: float) -> float:
    """Give (1 - u^2) t of a rectangular dip in seconds, an upper bound for others (IEEE 1564)."""
    return (1.0 - residual_pu**2) * duration_s


HARMONIC_LIMITS_PERCENT: dict[int, float] = {
    2: 2.0, 3: 5.0, 4: 1.0, 5: 6.0, 6: 0.5, 7: 5.0, 8: 0.5, 9: 1.5, 10: 0.5, 11: 3.5, 12: 0.5, 13: 3.0,
    14: 0.5, 15: 0.5, 16: 0.5, 17: 2.0, 18: 0.5, 19: 1.5, 20: 0.5, 21: 0.5, 22: 0.5, 23: 1.5, 24: 0.5,
    25: 1.5,
}  # fmt: skip
"""EN 50160 (quoted): 95 % of a week's 10-min values stay at or below."""
THD_LIMIT_PERCENT = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """State a limit: the part of values that must lie in [low, high], both fractions of the nominal."""

    name: str
    low: float
    high: float
    part: float
    days: float


VOLTAGE_BANDS = (
    Band(name="10-min voltage, 95 % of a week", low=0.90, high=1.10, part=0.95, days=7.0),
    Band(name="10-min voltage, always", low=0.85, high=1.10, part=1.0, days=7.0),
)
"""EN 50160 (published): at 230 V 207 to 253 V and 195.5 to 253 V."""
FREQUENCY_BANDS = (
    Band(name="10-s frequency, 99.5 % of a year", low=0.99, high=1.01, part=0.995, days=365.0),
    Band(name="10-s frequency, always", low=0.94, high=1.04, part=1.0, days=365.0),
)
"""EN 50160, joined to a large grid (published): at 50 Hz 49.5 to 50.5 and 47 to 52 Hz."""
ISLAND_FREQUENCY_BANDS = (
    Band(name="10-s frequency of an island, 95 % of a week", low=0.98, high=1.02, part=0.95, days=7.0),
    Band(name="10-s frequency of an island, always", low=0.85, high=1.15, part=1.0, days=7.0),
)
"""EN 50160, supply without a link to a large grid (from memory): 49 to 51 and 42.5 to 57.5 Hz."""
PLT_BAND = Band(name="Plt of 2 h, 95 % of a week", low=0.0, high=1.0, part=0.95, days=7.0)
"""EN 50160 (from memory)."""
