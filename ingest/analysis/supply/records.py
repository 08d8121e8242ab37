"""Hold what the study reads and finds: events, intervals without data, and figures with their coverage."""

from dataclasses import dataclass
from typing import Literal

from ingest.analysis.supply.compiled import Bools, Floats

Kind = Literal["dip", "swell", "interruption", "rapid change"]
Convention = Literal["start to start", "start to end", "end to end"]

CONVENTIONS: dict[Convention, str] = {
    "start to start": "from the start of the first one-cycle window beyond the threshold "
    "to the start of the first window back inside the hysteresis (the default)",
    "start to end": "from the start of the first window beyond the threshold "
    "to the end of the first window back inside the hysteresis: one cycle longer",
    "end to end": "both times are ends of those windows: the length of the default, one cycle later",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyEvent:
    """Describe one excursion of Urms(1/2). Times in seconds of one scale, UTC since 1970 in the store.

    start_s, start_end_s: start and end of the first window beyond the threshold; back_s, back_end_s: of the
    first window back inside the hysteresis. extreme_v: lowest for dips and interruptions, highest for swells;
    for a rapid change the value farthest from the steady voltage before. reference_v: what per cent is of.
    unseen_s: time inside the event without data, so the extreme may have been worse. before_s: time without
    data just before it, so it may have begun earlier. clipped: 'at least'. still_open: the record ended
    first.
    steady_change_v: of a rapid change only, the step between the steady voltages; None elsewhere.
    """

    kind: Kind
    start_s: float
    start_end_s: float
    back_s: float
    back_end_s: float
    extreme_v: float
    reference_v: float
    unseen_s: float = 0.0
    before_s: float = 0.0
    clipped: bool = False
    still_open: bool = False
    steady_change_v: float | None = None
    module: str = ""
    clock_error_s: float = 0.0

    @property
    def extreme_pu(self) -> float:
        """Give the extreme as a fraction of the reference."""
        return self.extreme_v / self.reference_v

    @property
    def duration_s(self) -> float:
        """Give the length by the default convention."""
        return self.back_s - self.start_s

    @property
    def duration_bounds_s(self) -> tuple[float, float]:
        """Give the least and greatest length that the data allow; infinite when the record ended first."""
        longest = float("inf") if self.still_open else self.duration_s + self.before_s
        return max(0.0, self.duration_s - self.unseen_s), longest

    def times_s(self, convention: Convention) -> tuple[float, float]:
        """Give start and end by the named convention."""
        start = self.start_end_s if convention == "end to end" else self.start_s
        return start, self.back_s if convention == "start to start" else self.back_end_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Name a time without data. dark: the module itself had no power or was stopped."""

    start_s: float
    end_s: float
    reason: str
    dark: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Say from when a gain and offset were in force, as fractions of the nominal scale."""

    from_s: float
    gain: float
    offset_v: float = 0.0


REASONS = (
    "nominal unknown",
    "nothing measured",
    "calibration changed",
    "too short",
    "values missing",
    "interrupted or clipped",
)
"""Why a figure is not available. These are keys: reports have their own words for them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """Give one figure of the study with the part of the time it rests on.

    value None: not available, and `reason` says why, one of REASONS. low, high: 95 % interval or bounds,
    None where none is given. coverage_percent None: the figure does not depend on time watched.
    """

    name: str
    value: float | None
    unit: str
    coverage_percent: float | None
    low: float | None = None
    high: float | None = None
    reason: str = ""


NOTES = (
    "no data",
    "nominal unknown",
    "calibration changed",
    "gap",
    "module dark",
    "gap inside event",
    "event may have begun in a gap",
    "event still open",
    "event clipped",
    "coverage low",
    "flagged values kept",
)
"""What a study says about its own record: keys, as above."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """State something about the record, one of NOTES, with how often and over what time it holds."""

    key: str
    count: int
    seconds: float
    at_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TenMinutes:
    """Hold 10-min values in columns. coverage is the fraction of the interval that was measured.

    rms_v, low_v, high_v: root mean square of the parts, least and greatest Urms(1/2); nan where nothing was
    measured. frequency_hz: over the interval. flagged: a dip, swell or interruption lies inside.
    """

    start_s: Floats
    rms_v: Floats
    low_v: Floats
    high_v: Floats
    frequency_hz: Floats
    flagged: Bools
    coverage: Floats
    interval_s: float = 600.0

    def __len__(self) -> int:
        return len(self.start_s)


def watched_s(begin_s: float, end_s: float, gaps: tuple[Gap, ...]) -> float:
    """Give the seconds between begin and end outside all gaps; gaps may overlap."""
    total, at = 0.0, begin_s
    for gap in sorted(gaps, key=lambda g: g.start_s):
        if gap.start_s > at:
            total += min(gap.start_s, end_s) - min(at, end_s)
        at = max(at, gap.end_s)
    return total + max(0.0, end_s - max(at, begin_s))


def coverage_percent(begin_s: float, end_s: float, gaps: tuple[Gap, ...]) -> float:
    """Give the watched part of a period in per cent; 0 for an empty period."""
    if end_s <= begin_s:
        return 0.0
    return 100.0 * watched_s(begin_s, end_s, gaps) / (end_s - begin_s)
