"""Shapes shared by the breathing analyses: a pressure trace, a table of breaths, a finding."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Millis = NDArray[np.int64]

# What circuit pressure can't tell, whatever is computed from it (text keys). Sources: equation of motion
# P = V/C + R·flow + PEEP (Chatburn 2014, published): one equation, several unknowns. The last:
# measured against the simulated plant (hardware_notes/breathing.md).
CANNOT_TELL: Final = (
    "pressure_cannot_tell.volume",
    "pressure_cannot_tell.tube_position",
    "pressure_cannot_tell.gas_to_lung",
    "pressure_cannot_tell.intrinsic_peep",
    "pressure_cannot_tell.resistance_or_compliance",
    "pressure_cannot_tell.kink_behind_limit",
    "pressure_cannot_tell.small_draw_over",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureTrace:
    """Hold circuit pressure: first sample's UTC ms, samples a second, cmH2O (nan where missing)."""

    start_ms: int
    rate_hz: float
    pressure_cmh2o: Floats

    def at_ms(self, index: int | float) -> int:
        """Return the UTC ms of a sample index."""
        return self.start_ms + round(1000.0 * index / self.rate_hz)

    def index_at(self, at_ms: int) -> int:
        """Return the sample index of a UTC ms, kept inside the trace."""
        index = round((at_ms - self.start_ms) * self.rate_hz / 1000.0)
        return min(max(index, 0), self.pressure_cmh2o.size)

    def within(self, start_ms: int, end_ms: int) -> PressureTrace:
        """Return the samples in [start_ms, end_ms) as a trace of their own; they aren't copied."""
        first, last = self.index_at(start_ms), self.index_at(end_ms)
        return PressureTrace(
            start_ms=self.at_ms(first), rate_hz=self.rate_hz, pressure_cmh2o=self.pressure_cmh2o[first:last]
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BreathTable:
    """Hold breaths in time order, one array a column: UTC ms, seconds, cmH2O; plateau nan where none.

    `minimum` is the lowest pressure of the breath; `end_expiratory` belongs to its own expiration.
    """

    start_ms: Millis
    ti_s: Floats
    te_s: Floats
    peak: Floats
    plateau: Floats
    end_expiratory: Floats
    mean: Floats
    minimum: Floats

    def __len__(self) -> int:
        return int(self.start_ms.size)

    @property
    def period_s(self) -> Floats:
        """Return inspiratory plus expiratory time, s."""
        return self.ti_s + self.te_s

    @property
    def rate_min(self) -> Floats:
        """Return breaths a minute of each breath by its own period."""
        return 60.0 / self.period_s

    @property
    def ie_ratio(self) -> Floats:
        """Return inspiratory over expiratory time."""
        return self.ti_s / self.te_s

    @property
    def end_ms(self) -> Millis:
        """Return where each breath's expiration ends, UTC ms."""
        return self.start_ms + np.rint(1000.0 * self.period_s).astype(np.int64)

    def within(self, start_ms: int, end_ms: int) -> BreathTable:
        """Return the breaths that start in [start_ms, end_ms)."""
        first, last = np.searchsorted(self.start_ms, (start_ms, end_ms))
        return self.pick(slice(int(first), int(last)))

    def pick(self, rows: slice) -> BreathTable:
        """Return some rows as a table of their own."""
        return BreathTable(**{name: getattr(self, name)[rows] for name in COLUMNS})


COLUMNS: Final = ("start_ms", "ti_s", "te_s", "peak", "plateau", "end_expiratory", "mean", "minimum")


def breath_table(rows: Sequence[Sequence[float]]) -> BreathTable:
    """Build a table from rows in the order of COLUMNS."""
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(COLUMNS)
    arrays: dict[str, Floats] = {
        name: np.asarray(column, dtype=np.float64)
        for name, column in zip(COLUMNS[1:], columns[1:], strict=True)
    }
    return BreathTable(start_ms=np.asarray(columns[0], dtype=np.int64), **arrays)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Hold one finding: text key, span, confidence 0–1 (house scale), its evidence as numbers, and limits.

    `inference` marks what isn't seen but concluded. `cannot_tell` lists text keys of what stays open.
    `after` is the key of the finding that came before, None where there was none.
    """

    key: str
    start_ms: int
    end_ms: int
    confidence: float
    evidence: Mapping[str, float]
    inference: bool = False
    cannot_tell: tuple[str, ...] = ()
    after: str | None = None

    @property
    def seconds(self) -> float:
        """Return the length of the span, s."""
        return (self.end_ms - self.start_ms) / 1000.0


def rolling_median(values: Floats, width: int) -> Floats:
    """Return the centred running median over `width` values (odd), shorter at the ends; nan ignored."""
    if values.size == 0:
        return values
    half = width // 2
    padded = np.pad(values, half, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    whole = ~np.isnan(windows).all(axis=1)
    out = np.full(values.size, np.nan)
    out[whole] = np.nanmedian(windows[whole], axis=1)
    return out


def rolling_spread(values: Floats, width: int) -> Floats:
    """Return the running robust spread over `width` values relative to the running median.

    1.4826 × median absolute deviation estimates a standard deviation (definition for a normal law).
    """
    if values.size == 0:
        return values
    half = width // 2
    padded = np.pad(values, half, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    middle = np.nanmedian(windows, axis=1)
    deviation = np.nanmedian(np.abs(windows - middle[:, None]), axis=1)
    return np.asarray(1.4826 * deviation / np.maximum(np.abs(middle), 1e-9), dtype=np.float64)
