"""Aggregate by root mean square of the parts: 10/12 and 150/180 cycles, 10 min, 2 h; frequency over 10 s.

IEC 61000-4-30: 10 cycles and 10 s published, the rest from memory. The 10/12-cycle windows follow one another
without a gap and are not cut at the 10-min tick (the class S way): a window belongs to the interval in which
it ends. A value that overlaps a dip, swell or interruption is kept and marked.
"""

from dataclasses import dataclass

import numpy as np

from ingest.analysis.supply.compiled import Bools, Floats, Ints
from ingest.analysis.supply.windows import HalfCycles

PARTS_OF_150 = 15
TEN_MINUTES_S, TWO_HOURS_S, TEN_SECONDS_S = 600.0, 7200.0, 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Values:
    """Hold aggregated values in columns.

    start_s, end_s: the interval. rms_v: root mean square of the parts, nan where there were none. low_v,
    high_v: least and greatest Urms(1/2) inside. covered_s: the time really measured. flagged: an event lies
    inside.
    """

    start_s: Floats
    end_s: Floats
    rms_v: Floats
    low_v: Floats
    high_v: Floats
    covered_s: Floats
    flagged: Bools

    def __len__(self) -> int:
        return len(self.rms_v)

    @property
    def coverage(self) -> Floats:
        """Give the measured fraction of each interval."""
        return np.asarray(np.minimum(1.0, self.covered_s / (self.end_s - self.start_s)))


NO_VALUES = Values(
    start_s=np.empty(0), end_s=np.empty(0), rms_v=np.empty(0), low_v=np.empty(0), high_v=np.empty(0),
    covered_s=np.empty(0), flagged=np.empty(0, dtype=np.bool_),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class HalvesLeft:
    """Hold half cycles that do not yet fill a window: columns half_s, half_v2s, rms_v, end_s, in_event."""

    rows: Floats


def halves_start() -> HalvesLeft:
    """Begin a record, or begin again after a gap: a window never spans one."""
    return HalvesLeft(rows=np.empty((0, 5)))


def cycles_of_window(nominal_hz: float) -> int:
    """Give 10 cycles at 50 Hz, 12 at 60 Hz: about 200 ms."""
    return 12 if nominal_hz > 55.0 else 10


def ten_cycles(
    state: HalvesLeft, rows: HalfCycles, in_event: Bools, nominal_hz: float
) -> tuple[HalvesLeft, Values]:
    """Join half cycles to 10/12-cycle values."""
    size = 2 * cycles_of_window(nominal_hz)
    fresh = np.column_stack((rows.half_s, rows.half_v2s, rows.rms_v, rows.end_s, in_event))
    table = np.concatenate((state.rows, fresh))
    count = len(table) // size
    kept = table[count * size :].copy()
    parts = table[: count * size].reshape(count, size, 5)
    length = parts[:, :, 0].sum(axis=1)
    values = Values(
        start_s=parts[:, -1, 3] - length,
        end_s=parts[:, -1, 3].copy(),
        rms_v=np.sqrt(parts[:, :, 1].sum(axis=1) / length),
        low_v=parts[:, :, 2].min(axis=1),
        high_v=parts[:, :, 2].max(axis=1),
        covered_s=length,
        flagged=np.asarray(parts[:, :, 4].any(axis=1)),
    )
    return HalvesLeft(rows=kept), values


def join(first: Values, second: Values) -> Values:
    """Put two sets of values one after the other."""
    return Values(
        **{name: np.concatenate((getattr(first, name), getattr(second, name))) for name in Values.__slots__}
    )


def take(values: Values, rows: slice) -> Values:
    """Give some of the values."""
    return Values(**{name: getattr(values, name)[rows].copy() for name in Values.__slots__})


def fifteen(left: Values, values: Values) -> tuple[Values, Values]:
    """Join 10/12-cycle values by fifteen to 150/180-cycle values. Returns the rest, and the values."""
    table = join(left, values)
    count = len(table) // PARTS_OF_150
    full = take(table, slice(0, count * PARTS_OF_150))
    starts = np.arange(count, dtype=np.int64) * PARTS_OF_150
    if not count:
        return table, NO_VALUES
    joined = _reduce(full, starts, full.start_s[starts], full.end_s[starts + PARTS_OF_150 - 1])
    return take(table, slice(count * PARTS_OF_150, None)), joined


def by_clock(left: Values, values: Values, interval_s: float, final: bool = False) -> tuple[Values, Values]:
    """Join values to intervals of the clock, such as 10 min or 2 h of UTC.

    An interval comes out when a later value was seen, or at the end when final. Intervals without any value
    do
    not come out: `without_gaps` puts them in as empty. Root mean square of the parts, each part with its
    weight in measured time.
    """
    table = join(left, values)
    if not len(table):
        return table, NO_VALUES
    number = np.ceil(table.end_s / interval_s - 1e-9).astype(np.int64) - 1
    starts = np.flatnonzero(np.diff(number, prepend=number[0] - 1))
    whole = len(table) if final else int(starts[-1])
    if not whole:
        return table, NO_VALUES
    starts = starts if final else starts[:-1]
    begin = number[starts] * interval_s
    done = _reduce(take(table, slice(0, whole)), starts, begin, begin + interval_s)
    return take(table, slice(whole, None)), done


def _reduce(table: Values, starts: Ints, start_s: Floats, end_s: Floats) -> Values:
    """Reduce runs of rows that begin at `starts`."""
    covered = np.add.reduceat(table.covered_s, starts)
    square = np.add.reduceat(table.rms_v**2 * table.covered_s, starts)
    return Values(
        start_s=np.asarray(start_s, dtype=np.float64),
        end_s=np.asarray(end_s, dtype=np.float64),
        rms_v=np.sqrt(square / covered),
        low_v=np.minimum.reduceat(table.low_v, starts),
        high_v=np.maximum.reduceat(table.high_v, starts),
        covered_s=covered,
        flagged=np.logical_or.reduceat(table.flagged, starts),
    )


def without_gaps(values: Values, begin_s: float, end_s: float, interval_s: float) -> Values:
    """Lay values on the full grid between two times; an interval without data is nan, covered 0."""
    first, last = int(np.floor(begin_s / interval_s)), int(np.ceil(end_s / interval_s))
    start = np.arange(first, last) * interval_s
    place = np.round(values.start_s / interval_s).astype(np.int64) - first
    here = (place >= 0) & (place < len(start))

    def laid(column: Floats, empty: float) -> Floats:
        out = np.full(len(start), empty)
        out[place[here]] = column[here]
        return out

    return Values(
        start_s=start,
        end_s=start + interval_s,
        rms_v=laid(values.rms_v, np.nan),
        low_v=laid(values.low_v, np.nan),
        high_v=laid(values.high_v, np.nan),
        covered_s=laid(values.covered_s, 0.0),
        flagged=laid(values.flagged.astype(np.float64), 0.0) > 0.0,
    )


def mean_of_squares(parts_v: Floats) -> float:
    """Give the root mean square of equally long parts."""
    return float(np.sqrt(np.mean(np.square(parts_v))))


@dataclass(frozen=True, slots=True, kw_only=True)
class CyclesLeft:
    """Hold the edges of the 10-s interval that is still open: columns end_s, rising, held."""

    rows: Floats


def cycles_start() -> CyclesLeft:
    """Begin a record, or begin again after a gap."""
    return CyclesLeft(rows=np.empty((0, 3)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Frequencies:
    """Hold 10-s frequencies in columns: start_s, hz (nan where fewer than two crossings), held marks a value
    in which crossings vanished, covered_s."""

    start_s: Floats
    hz: Floats
    held: Bools
    covered_s: Floats

    def __len__(self) -> int:
        return len(self.hz)


def ten_seconds(state: CyclesLeft, rows: HalfCycles, final: bool = False) -> tuple[CyclesLeft, Frequencies]:
    """Count whole cycles in each 10 s of the clock and divide by the time they took.

    Only true rising crossings count, from the first to the last in the interval. An interval with held edges
    is marked; with fewer than two crossings it is nan.
    """
    table = np.concatenate((state.rows, np.column_stack((rows.end_s, rows.rising, rows.held))))
    number = np.floor(table[:, 0] / TEN_SECONDS_S)
    starts = np.flatnonzero(np.diff(number, prepend=np.nan) != 0.0)
    if not final:
        kept, starts = (table[starts[-1] :].copy(), starts) if len(starts) else (table, starts)
    else:
        kept, starts = np.empty((0, 3)), np.append(starts, len(table))
    spans = list(zip(starts.tolist(), starts[1:].tolist(), strict=False))
    out = np.array([_frequency(table[a:b]) for a, b in spans]).reshape(-1, 4)
    return CyclesLeft(rows=kept), Frequencies(
        start_s=out[:, 0], hz=out[:, 1], held=out[:, 2] > 0.0, covered_s=out[:, 3]
    )


def _frequency(rows: Floats) -> tuple[float, float, float, float]:
    """Give start, frequency, whether an edge was held, and the time covered, of one 10-s interval."""
    start = float(np.floor(rows[0, 0] / TEN_SECONDS_S)) * TEN_SECONDS_S
    covered = float(rows[-1, 0] - rows[0, 0])
    held = float(rows[:, 2].any())
    rising = rows[rows[:, 1] > 0.0, 0]
    if len(rising) < 2:
        return start, float("nan"), held, covered
    if held:
        return start, float(1.0 / np.median(np.diff(rising))), held, covered
    return start, float((len(rising) - 1) / (rising[-1] - rising[0])), held, covered
