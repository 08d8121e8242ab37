"""Cut a waveform into windows locked to the zero crossings of its fundamental, and take their rms.

Urms(1/2) is the rms over one cycle, renewed every half cycle (IEC 61000-4-30, from memory). The crossings are
those of the fundamental, found in a linear-phase filtered copy and interpolated between samples; a window's
integral weighs its edge samples by that fraction. When crossings vanish, windows keep the last period.
"""

from dataclasses import dataclass

import numpy as np

from ingest.analysis.supply.compiled import Bools, Codes, Floats, compiled

SLOWEST, FASTEST = 0.72, 1.32
"""Frequencies that can be locked to, as fractions of the nominal: 36 to 66 Hz at 50, 43 to 79 Hz at 60."""
EVEN_TOLERANCE = 0.03
"""Two spacings of crossings agree, and a window is taken edge to edge, within this part of a half period."""
FLYWHEEL_TOLERANCE = 0.06
"""A crossing this far from its expected place is believed only when the ones after it agree."""
CALM_TOLERANCE = 0.006
"""Change of the filtered amplitude over three half waves that still counts as steady."""
JUMP_TOLERANCE, SLOW_PART, NUDGE = 0.003, 0.25, 0.03
"""Change of period below which it is averaged, how fast, and how fast while the amplitude is unsteady."""
FLOOR_V = 4.0
"""A filtered half wave below this peak is noise, not a crossing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tap:
    """Say how the codes of one supply channel become volts: V = gain_v * code + offset_v.

    code_min and code_max are the rails of the converter; None where nothing clips.
    """

    rate_hz: float
    gain_v: float = 1.0
    offset_v: float = 0.0
    code_min: int | None = None
    code_max: int | None = None
    nominal_hz: float = 50.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowState:
    """Hold what the next block needs: the tail of samples and the lock. Start with `window_start`."""

    first_index: int
    tail: Floats
    lock: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfCycles:
    """Give one row a half cycle: the one-cycle window that ends at an edge, and the half cycle before the
    edge.

    start_s, end_s: the window. rms_v: Urms(1/2). half_s, half_v2s: length and integral of squares of the last
    half cycle alone, for aggregation. held: the edge is the last period's, not a crossing. clipped: a sample
    stood at a rail, so the value is 'at least'. rising: the edge is a rising crossing.
    """

    start_s: Floats
    end_s: Floats
    rms_v: Floats
    half_s: Floats
    half_v2s: Floats
    held: Bools
    clipped: Bools
    rising: Bools

    def __len__(self) -> int:
        return len(self.rms_v)


def half_taps(tap: Tap) -> int:
    """Give the samples in half a nominal period, the length of the filter's boxcars."""
    return max(2, round(tap.rate_hz / tap.nominal_hz / 2.0))


def window_start(tap: Tap) -> WindowState:
    """Begin a record, or begin again after a gap."""
    nominal_half = tap.rate_hz / tap.nominal_hz / 2.0
    # last edge, half period, last half length, edges seen, early crossing waits, peak, crossings -1 and -2,
    # filtered value before, peaks -1 and -2, square integral and clipping of the last half
    lock = np.array([-1.0, nominal_half, nominal_half, 0, 0, 0, -1e18, -2e18, 0, 0, 0, 0, 0])
    return WindowState(first_index=0, tail=np.empty(0), lock=lock)


def half_cycles(state: WindowState, codes: Codes, tap: Tap, start_s: float) -> tuple[WindowState, HalfCycles]:
    """Cut the next block of codes. start_s is the time of the record's first sample, not of the block's.

    The result does not depend on how the record is cut into blocks.
    """
    taps = half_taps(tap)
    fresh = len(state.tail)
    wave = np.concatenate((state.tail, np.asarray(codes, dtype=np.float64)))
    lock = state.lock.copy()
    rows = np.empty((2 * (len(wave) // max(1, taps // 2) + 4), 8))
    rails = (-1e18 if tap.code_min is None else tap.code_min, 1e18 if tap.code_max is None else tap.code_max)
    offset = tap.offset_v / tap.gain_v
    count = _cut(wave, state.first_index, fresh, taps, offset, _limits(tap), rails, lock, rows)
    keep = min(len(wave), 16 * taps)
    after = WindowState(
        first_index=state.first_index + len(wave) - keep, tail=wave[len(wave) - keep :].copy(), lock=lock
    )
    return after, _rows(tap, start_s, rows[:count])


def _limits(tap: Tap) -> Floats:
    """Give the lock's limits in samples and filter units."""
    taps = half_taps(tap)
    filter_gain = 4.0 * (2.0 * taps / np.pi) ** 2
    return np.array(
        [
            tap.rate_hz / (2.0 * tap.nominal_hz * FASTEST),
            tap.rate_hz / (2.0 * tap.nominal_hz * SLOWEST),
            FLOOR_V / abs(tap.gain_v) * filter_gain,
            EVEN_TOLERANCE,
            FLYWHEEL_TOLERANCE,
        ]
    )


def _rows(tap: Tap, start_s: float, table: Floats) -> HalfCycles:
    """Turn samples and codes into seconds and volts."""
    period = 1.0 / tap.rate_hz
    edge, span, window, length, half, held, clipped, rising = table.T
    end_s = start_s + edge * period
    return HalfCycles(
        start_s=end_s - span * period,
        end_s=end_s,
        rms_v=abs(tap.gain_v) * np.sqrt(window / span),
        half_s=length * period,
        half_v2s=tap.gain_v * tap.gain_v * half * period,
        held=held > 0.0,
        clipped=clipped > 0.0,
        rising=rising > 0.0,
    )


@compiled
def _integral(wave: Floats, begin: float, end: float, offset: float) -> float:
    """Integrate the square of the wave between two points given in samples, trapezoid by trapezoid."""
    first, last = int(begin), int(end)
    total = 0.0
    for i in range(first, last):
        a, b = wave[i] + offset, wave[i + 1] + offset
        total += 0.5 * (a * a + b * b)
    for i, sign in ((first, -1.0), (last, 1.0)):
        part = (begin if sign < 0 else end) - i
        if part > 0.0:
            a, b = (wave[i] + offset) ** 2, (wave[i + 1] + offset) ** 2
            total += sign * part * (a + 0.5 * part * (b - a))
    return total


@compiled
def _clips(wave: Floats, begin: float, end: float, low: float, high: float) -> bool:
    """Tell whether a sample of the window stands at a rail."""
    for i in range(int(begin), int(end) + 1):
        if wave[i] <= low or wave[i] >= high:
            return True
    return False


@compiled
def _believe(lock: Floats, crossing: float, limits: Floats) -> bool:
    """Take note of a crossing, learn the half period from its spacings, and tell whether it can be believed.

    While the filtered amplitude changes, an event smears into its neighbours and moves their crossings; three
    half waves must be alike. Until then the crossing only nudges the period, so that noise can't unlock it.
    """
    change = max(abs(lock[5] - lock[9]), abs(lock[5] - lock[10]))
    near, far = crossing - lock[6], lock[6] - lock[7]
    lock[7], lock[6], lock[10], lock[9] = lock[6], crossing, lock[9], lock[5]
    mean = 0.5 * (near + far)
    if mean < limits[0] or mean > limits[1] or abs(near - far) > limits[3] * mean:
        return False
    if change > CALM_TOLERANCE * lock[5]:
        if abs(mean - lock[1]) < limits[4] * lock[1]:
            lock[1] += NUDGE * (mean - lock[1])
        return False
    if abs(mean - lock[1]) < JUMP_TOLERANCE * lock[1]:
        lock[1] += SLOW_PART * (mean - lock[1])
    else:
        lock[1] = mean
    return True


@compiled
def _next_edge(lock: Floats, now: float, crossing: float, limits: Floats) -> float:
    """Give the edge due at `now`: a believed crossing, minus the last period's when none came, or 0."""
    due = lock[0] + lock[1]
    if crossing > 0.0:
        belief = _believe(lock, crossing, limits)
        if lock[3] == 0.0:
            return crossing if belief else 0.0
        if abs(crossing - due) <= limits[4] * lock[1]:
            return crossing if belief else due + NUDGE * (crossing - due)
        if belief and crossing - lock[0] >= 0.6 * lock[1]:
            return crossing
        if belief:
            lock[4] = 1.0
    return -due if now > _deadline(lock, limits) else 0.0


@compiled
def _deadline(lock: Floats, limits: Floats) -> float:
    """Give the time at which the last period decides; at the start, when nominal windows begin."""
    if lock[3] == 0.0:
        return float(8.0 * lock[1])
    return float(lock[0] + (1.65 if lock[4] > 0.0 else 1.0 + limits[4]) * lock[1])


@compiled
def _write(
    wave: Floats, first_index: int, offset: float, limits: Floats, rails: tuple[float, float], lock: Floats,
    edge: float, held: bool, rising: bool, row: Floats,
) -> bool:  # fmt: skip
    """Close a half cycle at an edge and fill its row. Tell whether there is one: the first only begins."""
    length, previous, seen = edge - lock[0], lock[2], lock[3]
    lock[0], lock[3], lock[4] = edge, seen + 1.0, 0.0
    if seen == 0.0:
        return False
    local = edge - first_index
    area = _integral(wave, local - length, local, offset)
    clips = _clips(wave, local - length, local, rails[0], rails[1])
    area_before, clips_before = lock[11], lock[12] > 0.0
    lock[2], lock[11], lock[12] = length, area, 1.0 if clips else 0.0
    if seen == 1.0:
        return False
    band = limits[3] * lock[1]
    even = abs(length - lock[1]) <= band and abs(previous - lock[1]) <= band
    span = length + previous if even else 2.0 * lock[1]
    row[0], row[1] = edge, span
    row[2] = area + area_before if even else _integral(wave, local - span, local, offset)
    row[3], row[4] = length, area
    row[5], row[6], row[7] = held, clips or clips_before, rising and not held
    return True


@compiled
def _cut(
    wave: Floats, first_index: int, fresh: int, taps: int, offset: float, limits: Floats,
    rails: tuple[float, float], lock: Floats, rows: Floats,
) -> int:  # fmt: skip
    """Filter the new samples and write a row an edge. Returns the rows. One loop on purpose.

    The filter picks out the fundamental: two boxcars of half a period, then 2 x(n-D) - x(n) - x(n-2D). It is
    linear in phase and 2D - 1 samples late; offset and even harmonics vanish, a third keeps 11 %.
    """
    delay, begin = 2 * taps - 1, max(fresh, 4 * taps)
    once, twice = np.zeros(len(wave)), np.zeros(len(wave))
    sum_1 = sum_2 = 0.0
    before, peak, floor, found = lock[8], lock[5], limits[2], 0
    deadline = _deadline(lock, limits)
    start = begin - 4 * taps
    for i in range(start, len(wave)):
        oldest = i - taps
        sum_1 += wave[i] - (wave[oldest] if oldest >= start else 0.0)
        once[i] = sum_1
        sum_2 += sum_1 - (once[oldest] if oldest >= start else 0.0)
        twice[i] = sum_2
        if i < begin:
            continue
        value = 2.0 * twice[oldest] - sum_2 - twice[oldest - taps]
        turned = (value < 0.0) != (before < 0.0)
        if turned or first_index + i - delay > deadline:
            good = turned and peak >= floor
            crossing = first_index + i - 1 - delay + before / (before - value) if good else 0.0
            lock[5] = peak
            edge = _next_edge(lock, float(first_index + i - delay), crossing, limits)
            if edge != 0.0 and _write(
                wave,
                first_index,
                offset,
                limits,
                rails,
                lock,
                abs(edge),
                edge < 0.0,
                value >= 0.0,
                rows[found],
            ):
                found += 1
            deadline = _deadline(lock, limits)
            peak = 0.0 if turned else peak
        before, peak = value, max(peak, abs(value))
    lock[8], lock[5] = before, peak
    return found
