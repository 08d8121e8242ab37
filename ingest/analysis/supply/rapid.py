"""Find rapid voltage changes between two steady voltages (IEC 61000-4-30 Ed. 3, from memory).

Steady: each of the last 100 (50 Hz) or 120 (60 Hz) Urms(1/2) lies within the threshold of their mean. A
change begins with the first value farther from that mean, and ends where the voltage is steady again, with
half the threshold as hysteresis. A change that reaches a dip, swell or interruption threshold is that event
instead.

Where no half cycles were kept the same rule runs over least, mean and greatest Urms(1/2) of whole seconds:
then begin and end are known to a second, a change that begins within a second of the last one's end belongs
to it, and a wander that takes longer than a second to leave the threshold is no change.
"""

from dataclasses import dataclass

import numpy as np

from ingest.analysis.supply.compiled import Bools, Floats, Ints, compiled
from ingest.analysis.supply.records import SupplyEvent
from ingest.analysis.supply.windows import HalfCycles

THRESHOLD = 0.05
"""Fraction of the declared voltage; 1 to 6 % is usual (common practice)."""
HYSTERESIS = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class RapidState:
    """Hold the last second of values and the change that is open."""

    ring: Floats
    scalars: Floats


def rapid_start(nominal_hz: float) -> RapidState:
    """Begin a record, or begin again after a gap: one second must pass before a change can be seen."""
    # filled, next place, in change, mean before, extreme, start, start end, spoiled
    return RapidState(ring=np.zeros(round(2 * nominal_hz)), scalars=np.zeros(8))


def rapid_changes(
    state: RapidState, rows: HalfCycles, in_event: Bools, declared_v: float, threshold: float = THRESHOLD
) -> tuple[RapidState, list[SupplyEvent]]:
    """Find the changes that end in this block. in_event: rows in which a dip, swell or interruption stood."""
    ring, scalars = state.ring.copy(), state.scalars.copy()
    table = np.empty((len(rows) // len(ring) + 2, 6))
    limit = threshold * declared_v
    found = _scan(
        rows.rms_v, rows.start_s, rows.end_s, in_event.astype(np.int64), limit, ring, scalars, table
    )
    events = [
        SupplyEvent(
            kind="rapid change",
            start_s=start,
            start_end_s=start_end,
            back_s=back,
            back_end_s=back_end,
            extreme_v=extreme,
            reference_v=declared_v,
            steady_change_v=step,
        )
        for start, start_end, back, back_end, extreme, step in table[:found].tolist()
    ]
    return RapidState(ring=ring, scalars=scalars), events


@compiled
def _scan(
    rms: Floats, start: Floats, end: Floats, spoils: Ints, limit: float, ring: Floats, scalars: Floats,
    out: Floats,
) -> int:  # fmt: skip
    """Walk the values. One loop on purpose."""
    size = len(ring)
    found = 0
    for i in range(len(rms)):
        value = rms[i]
        if scalars[2] == 0.0 and scalars[0] >= size:
            mean = ring.mean()
            if abs(value - mean) > limit:
                steady = True
                for other in ring:
                    if abs(other - mean) > limit:
                        steady = False
                if steady:
                    scalars[2], scalars[3], scalars[4] = 1.0, mean, value
                    scalars[5], scalars[6], scalars[7] = start[i], end[i], 0.0
                    scalars[0] = 0.0
        ring[int(scalars[1])] = value
        scalars[1] = (scalars[1] + 1.0) % size
        scalars[0] = min(scalars[0] + 1.0, size)
        if scalars[2] == 0.0:
            continue
        if spoils[i] != 0:
            scalars[7] = 1.0
        if abs(value - scalars[3]) > abs(scalars[4] - scalars[3]):
            scalars[4] = value
        if scalars[0] < size:
            continue
        mean = ring.mean()
        steady = True
        for other in ring:
            if abs(other - mean) > limit * (1.0 - HYSTERESIS):
                steady = False
                break
        if not steady:
            continue
        if scalars[7] == 0.0:
            first = max(0, i - size + 1)
            age = (end[i] - start[i]) * 0.5 * (size - 1)
            back = start[first] if i - size + 1 >= 0 else start[i] - age
            out[found, 0], out[found, 1], out[found, 2] = scalars[5], scalars[6], back
            out[found, 3], out[found, 4], out[found, 5] = (
                back + end[i] - start[i],
                scalars[4],
                mean - scalars[3],
            )
            found += 1
        scalars[2] = 0.0
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Seconds:
    """Hold least, mean and greatest Urms(1/2) of whole seconds, V, nan where none, and when each began."""

    start_s: Floats
    low_v: Floats
    mean_v: Floats
    high_v: Floats


def rapid_from_seconds(
    rows: Seconds, declared_v: float, band: tuple[float, float] = (0.9, 1.1), threshold: float = THRESHOLD
) -> list[SupplyEvent]:
    """Find the changes that whole seconds show; `band`: fractions beyond which it is a dip or a swell."""
    limit = threshold * declared_v
    low, mean, high = rows.low_v, rows.mean_v, rows.high_v
    near = np.maximum(high - mean, mean - low)
    steady, settled = near <= limit, near <= limit * (1.0 - HYSTERESIS)
    joined = np.concatenate(([False], np.abs(np.diff(rows.start_s) - 1.0) < 0.5)) & ~np.isnan(mean)
    before = np.concatenate(([np.nan], np.where(steady, mean, np.nan)[:-1]))
    with np.errstate(invalid="ignore"):
        begins = joined & (np.maximum(np.abs(low - before), np.abs(high - before)) > limit)
    spoils = (low < band[0] * declared_v) | (high > band[1] * declared_v)
    found, free = [], 0
    for first in np.flatnonzero(begins).tolist():
        if first < free:
            continue
        reference, last = float(before[first]), first + 1
        while last < len(mean) and joined[last] and not settled[last]:
            last += 1
        free = last
        if last == len(mean) or not joined[last] or spoils[first : last + 1].any():
            continue
        ends = np.array([low[first : last + 1].min(), high[first : last + 1].max()])
        start, back = float(rows.start_s[first]), float(rows.start_s[last])
        found.append(
            SupplyEvent(
                kind="rapid change", start_s=start, start_end_s=start + 1.0, back_s=back,
                back_end_s=back + 1.0, extreme_v=float(ends[int(np.argmax(np.abs(ends - reference)))]),
                reference_v=declared_v, steady_change_v=float(mean[last]) - reference,
            )
        )  # fmt: skip
    return found
