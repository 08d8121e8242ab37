"""Sum breathing up by the hour: median and range, time outside limits, longest time without a breath."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from ingest.analysis.breathing.model import BreathTable, Finding, Floats, rolling_median
from ingest.analysis.breathing.table_signs import TREND_BREATHS, settings_runs
from ingest.analysis.night_clock import HourSpan
from ingest.analysis.spans import Span, clip, total_ms

MEASURES: Final = ("peak", "plateau", "end_expiratory", "mean", "rate_min", "ti_s", "ie_ratio")
COMPLIANCE_SHARE: Final = 0.15  # house rule: smaller changes aren't mentioned


@dataclass(frozen=True, slots=True, kw_only=True)
class HourMeasure:
    """Hold one measure over one hour: median, lowest and highest of its breaths; None without breaths."""

    measure: str
    median: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BreathingHour:
    """Hold one hour: its span, breaths, watched minutes, and its measures in the order of MEASURES."""

    hour: HourSpan
    breaths: int
    watched_min: float
    measures: tuple[HourMeasure, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Quiet:
    """Hold the longest time without a breath: its span and seconds."""

    start_ms: int
    end_ms: int

    @property
    def seconds(self) -> float:
        """Return its length, s."""
        return (self.end_ms - self.start_ms) / 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitTime:
    """Hold the watched time a measure lay outside its limits, s, by breaths weighted with their length."""

    measure: str
    below_s: float
    above_s: float
    judged_s: float


def hourly(
    table: BreathTable, hours: Sequence[HourSpan], watched: Sequence[Span]
) -> tuple[BreathingHour, ...]:
    """Return median and range of every measure by hour; a breath belongs to the hour it starts in."""
    found = []
    for hour in hours:
        part = table.within(hour.start_ms, hour.end_ms)
        seen_ms = total_ms(clip(watched, hour.start_ms, hour.end_ms))
        found.append(
            BreathingHour(
                hour=hour,
                breaths=len(part),
                watched_min=seen_ms / 60_000.0,
                measures=tuple(_measure(name, getattr(part, name)) for name in MEASURES),
            )
        )
    return tuple(found)


def _measure(name: str, values: Floats) -> HourMeasure:
    values = values[~np.isnan(values)]
    if values.size == 0:
        return HourMeasure(measure=name, median=None, low=None, high=None)
    return HourMeasure(
        measure=name, median=float(np.median(values)), low=float(values.min()), high=float(values.max())
    )


def time_outside(
    table: BreathTable, measure: str, *, low: float | None = None, high: float | None = None
) -> LimitTime:
    """Return the time that breaths lay below `low` or above `high` (None: no such limit)."""
    values, seconds = getattr(table, measure), table.period_s
    judged = ~np.isnan(values)
    below = judged & (values < low) if low is not None else np.zeros_like(judged)
    above = judged & (values > high) if high is not None else np.zeros_like(judged)
    return LimitTime(
        measure=measure,
        below_s=float(seconds[below].sum()),
        above_s=float(seconds[above].sum()),
        judged_s=float(seconds[judged].sum()),
    )


def longest_without_breath(table: BreathTable, watched: Sequence[Span]) -> Quiet | None:
    """Return the longest watched stretch from one breath's start to the next; None when nothing was watched.

    The edges of a watched span count as ends: what lay beyond isn't known. Unmonitored time isn't counted.
    """
    longest: Quiet | None = None
    for start_ms, end_ms in watched:
        marks = table.within(start_ms, end_ms).start_ms
        edges = np.concatenate(([start_ms], marks, [end_ms])).astype(np.int64)
        row = int(np.argmax(np.diff(edges)))
        quiet = Quiet(start_ms=int(edges[row]), end_ms=int(edges[row + 1]))
        if longest is None or quiet.seconds > longest.seconds:
            longest = quiet
    return longest


def compliance_changes(table: BreathTable) -> tuple[Finding, ...]:
    """Return changes of 15 % and more in compliance, as inferred from pressure at constant settings.

    At constant tidal volume C is inversely proportional to plateau − end-expiratory pressure (equation of
    motion, Chatburn 2014). Whether the volume was constant isn't measured: unchanged rate and Ti stand for
    it, and a leak looks the same. Without a pause, peak − end-expiratory is used, which holds resistance too
    (key '…dynamic', confidence 0.4 against 0.6).
    """
    found = []
    for first, last in settings_runs(table):
        part = table.pick(slice(first, last))
        static = np.count_nonzero(~np.isnan(part.plateau)) >= 0.8 * len(part)
        rise = (part.plateau if static else part.peak) - part.end_expiratory
        smooth = rolling_median(rise, TREND_BREATHS)
        start, end = float(np.median(smooth[:TREND_BREATHS])), float(np.median(smooth[-TREND_BREATHS:]))
        if min(start, end) <= 0 or abs(start / end - 1.0) < COMPLIANCE_SHARE:
            continue
        found.append(
            Finding(
                key="finding.compliance_static" if static else "finding.compliance_dynamic",
                start_ms=int(part.start_ms[0]), end_ms=int(part.end_ms[-1]),
                confidence=0.6 if static else 0.4, inference=True,
                evidence={"change_percent": 100.0 * (start / end - 1.0), "rise_from_cmh2o": start,
                          "rise_to_cmh2o": end},
                cannot_tell=("finding.leak_or_compliance", "pressure_cannot_tell.volume"),
            )
        )  # fmt: skip
    return tuple(found)
