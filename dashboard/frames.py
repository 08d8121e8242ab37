"""What queries hand to figures and pages: arrays and rows, names instead of codes. UTC ms, units said."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.analysis.hand import HandPoint
from ingest.analysis.upkeep import Entry

Floats = NDArray[np.float64]
Times = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope:
    """Hold one quantity reduced to bins: least, greatest, mean; NaN where nothing was measured."""

    low: Floats
    high: Floats
    mean: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class BreathBins:
    """Hold breaths reduced to bins at `t`: pressures in cmH2O, rate in breaths a minute."""

    t: Times
    peak: Envelope
    end: Envelope
    rate: Envelope


@dataclass(frozen=True, slots=True, kw_only=True)
class Wave:
    """Hold a sampled waveform in cmH2O; a jump in `t` is a gap."""

    t: Times
    value: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """Hold one limit in the unit of its plot, from a time on."""

    since: int
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Hold a stretch of time with a name: a state, or the reason why nothing was recorded."""

    start: int
    end: int
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """Hold one standing of a condition; `order` is its place in the alarm table, priority 1 low to 3 high.

    `end` None while it stands; `cut`: its end was not seen. `value` and `limit` in `unit`, None where the
    condition watches a code. `may_pause` and `from_page`: whether a page may silence it.
    """

    key: str
    name: str
    group: str
    order: int
    priority: int
    start: int
    end: int | None
    cut: bool
    acknowledged: int | None
    cause_key: str | None
    value: float | None
    limit: float | None
    unit: str
    may_pause: bool
    from_page: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NightFrame:
    """Hold what the Night figure draws between `start` and `end`.

    `t` is the middle of bins of `width_ms`. `breaths` None: the window is too long for single breaths.
    `wave` None: too long for the waveform. `limits`: values in force by setting, oldest first. `hand`: what
    was entered by hand, `upkeep`: what was done to the equipment, both by time.
    """

    nominal_v: float
    start: int
    end: int
    t: Times
    width_ms: int
    supply_in: Envelope
    supply_out: Envelope
    oxygen: Envelope
    pressure: Envelope
    breaths: BreathBins | None
    wave: Wave | None
    states: list[Stretch]
    alarms: list[Alarm]
    dark: list[Stretch]
    gaps: list[Stretch]
    limits: dict[str, list[Limit]]
    hand: tuple[HandPoint, ...] = ()
    upkeep: tuple[Entry, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Breath:
    """Hold the newest breath: pressures in cmH2O, rate a minute (None: not yet known), its end."""

    t: int
    peak: float
    end_expiratory: float
    mean: float
    rate: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """Hold the newest session of the link; `closed` None while it is open."""

    name: str
    seen: int
    closed: int | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NowFrame:
    """Hold what Now shows at time `t`, the end of the newest trend.

    `readings` by field of the trend in its unit, None not available. `conditions` by channel: 'ok' or what
    is wrong with its sensor. `change` is the change over five minutes by quantity, None not known.
    `pause_left` in s while sound is paused. `watched_since` and `dark_ms`: how far back, and how much of it
    was not recorded. `flags` are the names of the trend's flags that are set.
    """

    t: int
    readings: dict[str, float | None]
    supply_state: str
    oxygen_state: str
    mode: str
    preset: str
    conditions: dict[str, str]
    flags: frozenset[str]
    pause_left: int
    standing: list[Alarm]
    link: Link | None
    breath: Breath | None
    change: dict[str, float | None]
    dark_ms: int
    watched_since: int
    limits: dict[str, float]
    nominal_v: float
