"""What the reader hands out: frozen rows and numpy arrays, times in UTC milliseconds (int64)."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.int64]
Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Module:
    """Describe one module. `id` is its 32-bit number; `emulated` data is SIMULATED wherever it is shown."""

    id: int
    emulated: bool
    profile: int
    firmware: str
    nominal_v: int
    nominal_hz: int
    site: str
    bed: str
    first_utc: int
    last_utc: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Boot:
    """Describe one run of a module between two power-ups; ticks in ms since power-up."""

    id: int
    module: int
    boot_id: int
    firmware: str
    emulated: bool
    last_seq: int
    last_tick: int
    utc0: int
    rate_ppb: int

    def utc(self, tick: int) -> int:
        """Return the estimated UTC in ms of a tick."""
        return self.utc0 + tick + tick * self.rate_ppb // 1_000_000_000

    def utc_array(self, ticks: Times) -> Times:
        """Return the estimated UTC in ms of many ticks."""
        return self.utc0 + ticks + ticks * self.rate_ppb // 1_000_000_000

    def tick(self, utc_ms: int) -> int:
        """Return the tick nearest to a UTC time in ms; negative before power-up."""
        elapsed = utc_ms - self.utc0
        return round(elapsed / (1 + self.rate_ppb / 1e9))


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """Mark a stretch of time in UTC ms; `reason` says why it stands out."""

    start: int
    end: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """Summarise noon to noon without loading its data; `monitored_ms` is time with trends."""

    module: int
    start: int
    end: int
    first: int
    last: int
    monitored_ms: int
    alarms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Trends:
    """Hold trends reduced to bins of `width_ms`; `t` is the middle of each bin.

    Each of `minimum`, `maximum`, `mean` maps a quantity to one value a bin in its unit, NaN where nothing
    was measured. `count` is how many seconds of the bin were recorded.
    """

    t: Times
    width_ms: int
    minimum: Mapping[str, Floats]
    maximum: Mapping[str, Floats]
    mean: Mapping[str, Floats]
    count: Codes


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockIntervals:
    """Hold minutes put together by equal intervals of the clock; `index` counts them from 1970-01-01 UTC.

    Each map gives a quantity one value an interval in its unit, NaN where nothing was measured: the least and
    greatest second's extremes, the mean of the minutes' means, and the mean of their squares.
    """

    index: Times
    minimum: Mapping[str, Floats]
    maximum: Mapping[str, Floats]
    mean: Mapping[str, Floats]
    mean_square: Mapping[str, Floats]


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Hold one sampled quantity; NaN where it was not available. A jump in `t` is a gap."""

    t: Times
    value: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Records:
    """Hold all records of one kind: `t`, and a column for each field of the message.

    Fields with a unit are scaled to it (float64, NaN missing); codes and counts stay integers.
    `id` is boot << 32 | sequence.
    """

    t: Times
    id: Codes
    tick: Times
    columns: Mapping[str, NDArray[np.generic]]

    def __len__(self) -> int:
        return len(self.t)

    def __getitem__(self, name: str) -> NDArray[np.generic]:
        return self.columns[name]


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Say that a code held from `start` to `end`; `open` when it still holds at the end of the data."""

    start: int
    end: int
    code: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmTransition:
    """One change of one alarm row: `value` and `limit` in wire steps, None where the row has none."""

    t: int
    id: int
    tick: int
    row: int
    transition: int
    priority: int
    flags: int
    value: int | None
    limit: int | None
    cause: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmInterval:
    """One standing of an alarm row, from activation to clearing; `end` None while it stands.

    `cut` tells that its end was not seen: the module lost power, or the data ends. `transitions` holds all
    of it, oldest first. `gone` is when the condition ended though the row stays latched, None otherwise.
    """

    row: int
    priority: int
    start: int
    end: int | None
    cut: bool
    acknowledged: int | None
    cause: int | None
    transitions: tuple[AlarmTransition, ...]
    gone: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyEvent:
    """One dip, swell or interruption; `duration_ms` None while it lasts or when its end was not seen."""

    id: int
    boot: int
    event_id: int
    tap: int
    kind: int
    start: int
    duration_ms: int | None
    extreme_v: float
    flags: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture:
    """A stretch of raw waveform of one tap at 3.2 kS/s; `start` in UTC ms with fraction.

    volts = (codes - offset) * gain * volts a code; `complete` False when parts are missing (zeros there).
    `missing`: first and one past the last sample of each missing part.
    """

    id: int
    boot: int
    capture_id: int
    event_id: int | None
    kind: int
    tap: int
    start: float
    gain: float
    offset: int
    codes: NDArray[np.int16]
    volts: Floats
    complete: bool
    missing: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfCycles:
    """Half-cycle rms values of one tap around an event, in V; one each `period_us`."""

    boot: int
    capture_id: int
    tap: int
    start: int
    period_us: int
    rms: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycles:
    """Ten- or twelve-cycle rms values of one tap in V, spread evenly over the second that reported them."""

    t: Times
    rms: Floats
    flagged: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsInForce:
    """The settings that a module reported, as wire integers in order of the settings table."""

    since: int
    version: int
    digest: int
    values: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkSession:
    """One opening of one link and what it counted; times in UTC ms, `closed` None while open or killed."""

    link: str
    boot: int | None
    opened: int
    seen: int
    closed: int | None
    reason: str
    counters: Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class HostCommand:
    """One command sent to a module, by whom, why, and what the module answered (None not yet)."""

    id: int
    boot: int
    command_seq: int
    utc: int
    command: int
    body: bytes
    operator: str
    reason: str
    from_page: bool
    answered: int | None
    result: int | None
    detail: int | None
    answer: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One version of a person's mark; the newest version counts, the others are its history."""

    mark: int
    version: int
    module: int
    utc: int
    utc_end: int | None
    kind: str
    author: str
    text: str
    data: Mapping[str, object]
    recorded: int
    removed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Latest:
    """The newest trend of a module for the page Now: readings in their units, None where not available.

    `codes` holds supply_state, oxygen_state, mode, preset, sensors, flags, pause_left. `standing` are the
    alarms whose condition or latch stands. `link` is the newest session, None before the first.
    """

    module: Module
    t: int
    tick: int
    boot: int
    readings: Mapping[str, float | None]
    codes: Mapping[str, int]
    standing: tuple[AlarmInterval, ...]
    link: LinkSession | None
