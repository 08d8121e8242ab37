"""Time between failures, with intervals that admit what was not seen.

Time in which the module itself was dark is censored: the supply may have failed in it or not. It adds neither
failures nor exposure, ends a spell without a failure, and widens the bounds of availability. Outages cluster,
so intervals come from resampling blocks of days with a fixed seed.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ingest.analysis.supply.compiled import Floats
from ingest.analysis.supply.records import Gap
from ingest.analysis.supply.spans import merged, taken_s

DAY_S, HOUR_S = 86400.0, 3600.0
SEED, RESAMPLES = 20240229, 2000
NONE_SEEN = float(-np.log(0.05))
"""With no failure in an exposure, a rate above 3.0 failures in it is excluded at 95 % (worked out)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """Hold one time of good supply: its length, whether it failed, and whether its start was seen."""

    length_s: float
    failed: bool
    start_seen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeBetweenFailures:
    """Give the mean time between failures and its 95 % interval; None when no failure was seen.

    low_h is always given: without a failure it is what three failures would have allowed. median_h is the
    Kaplan-Meier median, None when fewer than half the spells ended. clustering: variance over mean of the
    daily counts, 1 when failures are independent. block_days: the blocks that were resampled.
    """

    failures: int
    exposure_h: float
    censored_spells: int
    mean_h: float | None
    low_h: float | None
    high_h: float | None
    median_h: float | None
    per_day: float | None
    per_day_low: float | None
    per_day_high: float | None
    clustering: float | None
    block_days: int
    coverage_percent: float


def _dark(gaps: Sequence[Gap]) -> list[tuple[float, float]]:
    """Give the times without data."""
    return [(gap.start_s, gap.end_s) for gap in gaps]


def spells(
    outages: Sequence[tuple[float, float]], begin_s: float, end_s: float, gaps: Sequence[Gap]
) -> list[Spell]:
    """Cut the period into times of good supply. outages are (start, end)."""
    marks = [(start, end, "failure") for start, end in merged(outages)]
    marks += [(start, end, "gap") for start, end in merged(_dark(gaps))]
    found: list[Spell] = []
    at, seen = begin_s, False
    for start, end, why in sorted(marks):
        if start >= end_s:
            break
        if start > at:
            found.append(Spell(length_s=start - at, failed=why == "failure", start_seen=seen))
        if end > at:
            at, seen = end, why == "failure"
    if at < end_s:
        found.append(Spell(length_s=end_s - at, failed=False, start_seen=seen))
    return found


def survival(found: Sequence[Spell]) -> tuple[Floats, Floats]:
    """Give the Kaplan-Meier curve: times of failure in s, and the part of spells that last longer.

    Only spells whose start was seen take part: the age of the others is unknown.
    """
    known = [s for s in found if s.start_seen]
    lengths = np.array([s.length_s for s in known])
    failed = np.array([s.failed for s in known], dtype=bool)
    times = np.unique(lengths[failed])
    at_risk = (lengths[None, :] >= times[:, None]).sum(axis=1)
    ended = ((lengths[None, :] == times[:, None]) & failed[None, :]).sum(axis=1)
    return times, np.cumprod(1.0 - ended / np.maximum(at_risk, 1))


def _by_day(
    outages: list[tuple[float, float]], begin_s: float, end_s: float, gaps: Sequence[Gap]
) -> tuple[Floats, Floats]:
    """Give failures begun and hours of watched good supply, day by day from begin."""
    edges = np.append(np.arange(begin_s, end_s, DAY_S), end_s)
    lost = taken_s([*outages, *_dark(gaps)], edges)
    dark = merged(_dark(gaps))
    begun = [s for s, _ in outages if begin_s <= s < end_s and not any(a <= s < b for a, b in dark)]
    counts, _ = np.histogram(begun, bins=edges)
    return counts.astype(np.float64), (np.diff(edges) - lost) / HOUR_S


def block_days_for(days: int) -> int:
    """Give the block length: a week when there are four of them, else the cube root of the days."""
    return 7 if days >= 28 else max(1, round(days ** (1 / 3)))


def resampled_sums(columns: Floats, block: int, seed: int = SEED, resamples: int = RESAMPLES) -> Floats:
    """Resample days in circular blocks and sum the columns: one row a resample. columns: days x values."""
    days = len(columns)
    rng = np.random.default_rng(seed)
    blocks = int(np.ceil(days / block))
    first = rng.integers(0, days, size=(resamples, blocks))
    place = (first[:, :, None] + np.arange(block)[None, None, :]).reshape(resamples, -1)[:, :days] % days
    return np.asarray(columns[place].sum(axis=1))


def time_between_failures(
    outages: Sequence[tuple[float, float]],
    begin_s: float,
    end_s: float,
    gaps: Sequence[Gap],
    seed: int = SEED,
) -> TimeBetweenFailures:
    """Estimate the mean time between failures: watched good supply over failures seen to begin."""
    joined = merged(outages)
    counts, hours = _by_day(joined, begin_s, end_s, gaps)
    failures, exposure = int(counts.sum()), float(hours.sum())
    found = spells(joined, begin_s, end_s, gaps)
    block = block_days_for(len(counts))
    total_s = end_s - begin_s
    dark_s = float(taken_s(_dark(gaps), np.array([begin_s, end_s]))[0])
    low = high = None
    if failures:
        sums = resampled_sums(np.column_stack((counts, hours)), block, seed)
        with np.errstate(divide="ignore"):
            means = sums[:, 1] / sums[:, 0]
        low, high = (float(q) for q in np.percentile(means, [2.5, 97.5], method="nearest"))
    elif exposure > 0.0:
        low = exposure / NONE_SEEN
    times, curve = survival(found)
    half = np.flatnonzero(curve <= 0.5)
    mean = exposure / failures if failures else None
    return TimeBetweenFailures(
        failures=failures, exposure_h=exposure, censored_spells=sum(not s.failed for s in found), mean_h=mean,
        low_h=low, high_h=high, median_h=float(times[half[0]]) / HOUR_S if len(half) else None,
        per_day=24.0 / mean if mean else None, per_day_low=24.0 / high if high else None,
        per_day_high=24.0 / low if low else None,
        clustering=float(counts.var(ddof=1) / counts.mean()) if failures and len(counts) > 1 else None,
        block_days=block, coverage_percent=100.0 * (1.0 - dark_s / total_s) if total_s > 0 else 0.0,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Availability:
    """Give the part of the period with supply: of the time watched, and bounds for the whole period."""

    percent: float | None
    low_percent: float
    high_percent: float
    coverage_percent: float
    bootstrap_low_percent: float | None
    bootstrap_high_percent: float | None


def availability(
    outages: Sequence[tuple[float, float]],
    begin_s: float,
    end_s: float,
    gaps: Sequence[Gap],
    seed: int = SEED,
) -> Availability:
    """Give availability. The bounds count all unwatched time as out, and as supplied."""
    joined = merged(outages)
    edges = np.append(np.arange(begin_s, end_s, DAY_S), end_s)
    watched = np.diff(edges) - taken_s(_dark(gaps), edges)
    up = np.diff(edges) - taken_s([*joined, *_dark(gaps)], edges)
    total, seen, good = end_s - begin_s, float(watched.sum()), float(up.sum())
    low = high = None
    if seen > 0.0:
        sums = resampled_sums(np.column_stack((up, watched)), block_days_for(len(up)), seed)
        kept = sums[sums[:, 1] > 0.0]
        low, high = (float(q) for q in np.percentile(100.0 * kept[:, 0] / kept[:, 1], [2.5, 97.5]))
    return Availability(
        percent=100.0 * good / seen if seen > 0.0 else None, low_percent=100.0 * good / total,
        high_percent=100.0 * (good + total - seen) / total, coverage_percent=100.0 * seen / total,
        bootstrap_low_percent=low, bootstrap_high_percent=high,
    )  # fmt: skip
