"""How sieve and battery wear: a slope with its interval, and whether it bends. Pure: points in, figures out.

Slopes are Theil-Sen with their 95 % interval (Sen 1968; scipy), which a few bad days don't move.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from firmware_sim.contract.channels import OXYGEN_STATES
from firmware_sim.contract.settings import ID_OF
from firmware_sim.kernels.battery import YEAR_LOSS

DAY_MS: Final = 86_400_000
HOUR_MS: Final = 3_600_000
POINTS_MIN: Final = 5  # with fewer, no interval is worth saying: house rule
AFTER_MIN: Final = 4
SPLITS_MAX: Final = 24  # places tried for a bend
HOURS_A_DAY_MIN: Final = 3  # a day with less proven flow has no point: house rule
BACK_DAYS: Final = 365
Points = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """Hold a slope a day with its 95 % interval, and the number of points."""

    each_day: float
    low: float
    high: float
    points: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """Hold one part's trend: the slope over all, and where it bends (`bend_day` None: it doesn't).

    `before` and `after` are the slopes on both sides of the bend.
    """

    first: float
    last: float
    slope: Slope | None
    bend_day: float | None = None
    before: Slope | None = None
    after: Slope | None = None


def slope_of(points: Points) -> Slope | None:
    """Return the slope of (day, value) points, None with fewer than 5."""
    if len(points) < POINTS_MIN:
        return None
    middle, _, low, high = _theil_sen(points)
    return Slope(each_day=middle, low=low, high=high, points=len(points))


def trend(points: Points) -> Trend | None:
    """Return slope and bend, None without points.

    It bends at the day that leaves the least absolute error about both lines, if the later slope's interval
    lies wholly below the earlier one's: it falls faster, beyond chance.
    """
    if not points:
        return None
    found = Trend(first=points[0][1], last=points[-1][1], slope=slope_of(points))
    splits = range(POINTS_MIN, len(points) - AFTER_MIN, max(1, len(points) // SPLITS_MAX))
    if not splits:
        return found
    best = min(splits, key=lambda at: _error(points[: at + 1]) + _error(points[at:]))
    before, after = slope_of(points[: best + 1]), slope_of(points[best:])
    if before is None or after is None or after.high >= before.low:
        return found
    return Trend(first=found.first, last=found.last, slope=found.slope, bend_day=points[best][0],
                 before=before, after=after)  # fmt: skip


def _error(points: Points) -> float:
    days, values = np.array(points, np.float64).T
    middle, start, _, _ = _theil_sen(points)
    return float(np.abs(values - start - middle * days).sum())


def _theil_sen(points: Points) -> tuple[float, float, float, float]:
    """Return slope, value at day 0, lower and upper bound of the slope."""
    # Here alone: it takes half a second to load, and most lists of what is due have no slope yet.
    from scipy.stats import theilslopes

    days, values = np.array(points, np.float64).T
    middle, start, low, high = theilslopes(values, days, 0.95)
    return float(middle), float(start), float(low), float(high)


def sieve_points(store: Any, module: int, now: int, changed_ms: int | None) -> list[tuple[float, float]]:
    """Return (day, median purity in %) of each day since the sieve was changed, proven flow only."""
    start = max(now - BACK_DAYS * DAY_MS, changed_ms or 0)
    hours = max(1, (now - start) // HOUR_MS)
    found = store.trends(module, start, now + 1, ["oxygen"], hours)
    current = OXYGEN_STATES.index("current")
    other = [one for one in store.bands(module, start, now + 1, "oxygen_state") if one.code != current]
    days: dict[int, list[float]] = {}
    for at, mean in zip(found.t.tolist(), found.mean["oxygen"].tolist(), strict=True):
        half = found.width_ms // 2
        if np.isnan(mean) or any(one.start < at + half and one.end > at - half for one in other):
            continue
        days.setdefault(at // DAY_MS, []).append(mean)
    least = max(1, HOURS_A_DAY_MIN * HOUR_MS // found.width_ms) if hours > 24 else 1
    return [(float(day), float(np.median(one))) for day, one in sorted(days.items()) if len(one) >= least]


def battery_points(history: Sequence[Any], changed_ms: int | None) -> list[tuple[float, float]]:
    """Return (day, proven minutes) of each discharge test since the battery was changed."""
    day, minutes = ID_OF["battery.proven_day"], ID_OF["battery.proven_minutes"]
    tests = {one.values[day]: one.values[minutes] for one in history if one.values[minutes] > 0}
    first = 0 if changed_ms is None else changed_ms // DAY_MS
    return [(float(at), float(tests[at])) for at in sorted(tests) if at >= first and at > 0]


def ages_faster(points: Points) -> bool:
    """Tell whether the newest test lies below its forerunners by more than the reckoned ageing explains.

    The module reckons 10 % a year (common practice); a minute is the resolution of a test.
    """
    if len(points) < 2:
        return False
    day, minutes = points[-1]
    allowed = max(
        earlier * (1.0 - YEAR_LOSS / 100.0 * (day - when) / 365.0) for when, earlier in points[:-1]
    )
    return minutes < allowed - 1.0
