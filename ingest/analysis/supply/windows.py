"""Cut a waveform into windows locked to the zero crossings of its fundamental, and take their rms.

Urms(1/2) is the rms over one cycle, renewed every half cycle (IEC 61000-4-30, from memory). The crossings are
those of the fundamental, found in a linear-phase filtered copy and interpolated between samples; a window's
integral weighs its edge samples by that fraction. When crossings vanish, windows keep the last period.
"""

from dataclasses import dataclass

import numpy as np

from ingest.analysis.supply.compiled import Bools, Codes, Floats, Ints, compiled

HELD, UNEVEN, CLIPPED, RISING = 1, 2, 4, 8

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
    # filtered value before, peaks -1 and -2
    lock = np.array([-1.0, nominal_half, nominal_half, 0.0, 0.0, 0.0, -1e18, -2e18, 0.0, 0.0, 0.0])
    return WindowState(first_index=0, tail=np.empty(0), lock=lock)


def half_cycles(state: WindowState, codes: Codes, tap: Tap, start_s: float) -> tuple[WindowState, HalfCycles]:
    """Cut the next block of codes. start_s is the time of the record's first sample, not of the block's.

    The result does not depend on how the record is cut into blocks.
    """
    taps = half_taps(tap)
    fresh = len(state.tail)
    wave = np.concatenate((state.tail, np.asarray(codes, dtype=np.float64)))
    lock = state.lock.copy()
    rows = 2 * (len(wave) // max(1, taps // 2) + 4)
    at, window, half = np.empty(rows), np.empty((rows, 2)), np.empty((rows, 2))
    flags = np.empty(rows, dtype=np.int64)
    rails = (-1e18 if tap.code_min is None else tap.code_min, 1e18 if tap.code_max is None else tap.code_max)
    offset = tap.offset_v / tap.gain_v
    count = _cut(
        wave, state.first_index, fresh, taps, offset, _limits(tap), rails, lock, at, window, half, flags
    )
    keep = min(len(wave), 16 * taps)
    after = WindowState(
        first_index=state.first_index + len(wave) - keep, tail=wave[len(wave) - keep :].copy(), lock=lock
    )
    return after, _rows(tap, start_s, at[:count], window[:count], half[:count], flags[:count])


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


def _rows(tap: Tap, start_s: float, at: Floats, window: Floats, half: Floats, flags: Ints) -> HalfCycles:
    """Turn samples and codes into seconds and volts."""
    period = 1.0 / tap.rate_hz
    end_s = start_s + at * period
    return HalfCycles(
        start_s=end_s - window[:, 0] * period,
        end_s=end_s,
        rms_v=abs(tap.gain_v) * np.sqrt(window[:, 1] / window[:, 0]),
        half_s=half[:, 0] * period,
        half_v2s=tap.gain_v * tap.gain_v * half[:, 1] * period,
        held=(flags & HELD) != 0,
        clipped=(flags & CLIPPED) != 0,
        rising=(flags & RISING) != 0,
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
def _filtered(wave: Floats, taps: int) -> Floats:
    """Pick out the fundamental: two boxcars, then 2 x(n-D) - x(n) - x(n-2D). Linear phase, 2D - 1 samples
    late.

    Boxcars and differences of half a period remove offset and even harmonics; a third keeps 11 %.
    """
    count = len(wave)
    once, twice, out = np.zeros(count), np.zeros(count), np.zeros(count)
    sum_1 = sum_2 = 0.0
    for i in range(count):
        sum_1 += wave[i] - (wave[i - taps] if i >= taps else 0.0)
        once[i] = sum_1
        sum_2 += sum_1 - (once[i - taps] if i >= taps else 0.0)
        twice[i] = sum_2
        if i >= 2 * taps:
            out[i] = 2.0 * twice[i - taps] - sum_2 - twice[i - 2 * taps]
    return out


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
def _next_edge(lock: Floats, now: float, crossing: float, limits: Floats) -> tuple[float, bool]:
    """Give the edge that is due at `now`, or -1: a believed crossing, or the last period's when none came."""
    due = lock[0] + lock[1]
    if crossing >= 0.0:
        belief = _believe(lock, crossing, limits)
        if lock[3] == 0.0:
            return (crossing, False) if belief else (-1.0, False)
        if abs(crossing - due) <= limits[4] * lock[1]:
            return (crossing if belief else due + NUDGE * (crossing - due)), False
        if belief and crossing - lock[0] >= 0.6 * lock[1]:
            return crossing, False
        if belief:
            lock[4] = 1.0
    if lock[3] == 0.0:
        # nothing to lock to from the start: windows of nominal length
        return (now, True) if now > 8.0 * lock[1] else (-1.0, False)
    patience = 1.65 if lock[4] > 0.0 else 1.0 + limits[4]
    if now - lock[0] > patience * lock[1]:
        return due, True
    return -1.0, False


@compiled
def _cut(
    wave: Floats, first_index: int, fresh: int, taps: int, offset: float, limits: Floats,
    rails: tuple[float, float], lock: Floats, at: Floats, window: Floats, half: Floats, flags: Ints,
) -> int:  # fmt: skip
    """Walk the new samples and write a row an edge. Returns the rows. One loop on purpose."""
    filtered = _filtered(wave, taps)
    delay = 2 * taps - 1
    rows = 0
    for i in range(max(fresh, 4 * taps), len(wave)):
        value, before = filtered[i], lock[8]
        lock[8] = value
        turned = (value < 0.0) != (before < 0.0)
        crossing = -1.0
        if turned and lock[5] >= limits[2]:
            crossing = first_index + i - 1 - delay + before / (before - value)
        edge, held = _next_edge(lock, float(first_index + i - delay), crossing, limits)
        lock[5] = abs(value) if turned else max(lock[5], abs(value))
        if edge < 0.0:
            continue
        length, previous = edge - lock[0], lock[2]
        if lock[3] > 0.0:
            lock[2] = length
        seen, lock[0], lock[4] = lock[3], edge, 0.0
        lock[3] = seen + 1.0
        if seen < 2.0:
            continue
        band = limits[3] * lock[1]
        even = abs(length - lock[1]) <= band and abs(previous - lock[1]) <= band
        span = length + previous if even else 2.0 * lock[1]
        local = edge - first_index
        at[rows] = edge
        window[rows, 0], window[rows, 1] = span, _integral(wave, local - span, local, offset)
        half[rows, 0], half[rows, 1] = length, _integral(wave, local - length, local, offset)
        flags[rows] = (
            (HELD if held else 0)
            | (0 if even else UNEVEN)
            | (CLIPPED if _clips(wave, local - span, local, rails[0], rails[1]) else 0)
            | (RISING if not held and value >= 0.0 else 0)
        )
        rows += 1
    return rows
