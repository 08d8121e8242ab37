"""Find breaths the slow, plain way: a reference to check the module's own finder with, never in its place.

Whole-record peaks by prominence (scipy), then edges by crossing levels between foot and peak. It looks ahead
and behind at will, which a module can't; so the two share neither method nor mistakes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from ingest.analysis.breathing.model import BreathTable, Floats, PressureTrace, breath_table

SMOOTH_S: Final = 0.05
PEAK_SMOOTH_S: Final = 0.2  # wider for finding: water rattles at 3–14 Hz, a child inspires for 0.4 s
PUSH_MIN_CMH2O: Final = 1.5  # house rule: smaller rises are not called breaths
PULL_MIN_CMH2O: Final = 0.4  # house rule: a small child pulls little through a draw-over circuit
NEIGHBOUR_SHARE: Final = 0.3  # house rule: a swing under 0.3 of its larger neighbours is a ripple
BREATH_S_MIN: Final = 0.5  # 120 /min
WINDOW_S: Final = 60.0  # prominence is judged within it; breaths of 4 /min and more fit twice
START_LEVEL: Final = 0.10  # share of foot-to-peak at which inspiration is taken to begin
TURN_LEVEL: Final = 0.30  # share of peak over the rest that follows, at which inspiration is taken to end
PLATEAU_S_MIN: Final = 0.12
PLATEAU_SLOPE_MAX: Final = 4.0  # cmH2O/s
RISE_CMH2O: Final = 0.15  # between halves of 0.15 s; three times what a noise of 0.1 cmH2O does
PLATEAU_DROP_MIN: Final = 0.5  # cmH2O below the peak, else no pause can be told


def peaks_of(signal: Floats, rate_hz: float, amplitude_min: float) -> NDArray[np.int64]:
    """Return the sample indices of breath peaks in a signal without gaps, whatever its unit.

    Peaks need `amplitude_min` of prominence, 0.5 s between them, and 0.3 of their neighbours' upper quartile.
    """
    # Here alone: a server that shows nights has no use for it, and it takes half a second to load.
    from scipy.signal import find_peaks

    smooth = smoothed(signal, rate_hz, PEAK_SMOOTH_S)
    found, properties = find_peaks(
        np.concatenate(([smooth.min()], smooth, [smooth.min()])),
        prominence=amplitude_min,
        distance=max(1, int(BREATH_S_MIN * rate_hz)),
        wlen=int(WINDOW_S * rate_hz),
    )
    peaks, prominence = np.asarray(found, dtype=np.int64) - 1, properties["prominences"]
    if peaks.size < 3:
        return peaks
    half = 5
    padded = np.pad(prominence, half, mode="reflect" if peaks.size > half else "edge")
    usual = np.percentile(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), 75, axis=1)
    return np.asarray(peaks[prominence >= NEIGHBOUR_SHARE * usual], dtype=np.int64)


def smoothed(signal: Floats, rate_hz: float, width_s: float) -> Floats:
    """Return a centred moving average of about `width_s`, ends held."""
    width = max(1, int(width_s * rate_hz)) | 1
    if signal.size < 2 or width == 1:
        return signal
    return np.asarray(uniform_filter1d(signal, width, mode="nearest"), dtype=np.float64)


def swing_sign(pressure_cmh2o: Floats) -> int:
    """Return +1 when breaths rise above the resting level, −1 when they dip below it (draw-over)."""
    low, middle, high = np.nanpercentile(pressure_cmh2o, (1, 50, 99))
    return 1 if high - middle >= middle - low else -1


def find_breaths(trace: PressureTrace, *, sign: int | None = None) -> BreathTable:
    """Return every breath of a trace; gaps (nan) split it. `sign` None: told from the trace itself.

    A breath cut off by the start or end of a stretch is left out unless its inspiration is whole.
    """
    rows: list[tuple[float, ...]] = []
    for first, last in _whole_stretches(trace.pressure_cmh2o):
        stretch = trace.pressure_cmh2o[first:last]
        if stretch.size < BREATH_S_MIN * trace.rate_hz:
            continue
        direction = swing_sign(stretch) if sign is None else sign
        start_ms = trace.at_ms(first)
        rows += _breaths_of_stretch(stretch, trace.rate_hz, start_ms, direction)
    return breath_table(rows)


def _whole_stretches(pressure: Floats) -> list[tuple[int, int]]:
    present = np.concatenate(([0], ~np.isnan(pressure), [0])).astype(np.int8)
    edges = np.flatnonzero(np.diff(present))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Edges:
    start: int
    peak: int
    turn: int


def _breaths_of_stretch(
    pressure: Floats, rate_hz: float, start_ms: int, sign: int
) -> list[tuple[float, ...]]:
    smooth = smoothed(sign * pressure, rate_hz, SMOOTH_S)
    peaks = peaks_of(sign * pressure, rate_hz, PUSH_MIN_CMH2O if sign > 0 else PULL_MIN_CMH2O)
    bounds = [0, *(int(peak) for peak in peaks), smooth.size - 1]
    rests = [_rest(smooth[a : b + 1]) for a, b in zip(bounds, bounds[1:-1], strict=False)]
    if len(rests) > 1:
        rests[0] = min(rests[0], rests[1])  # little or no expiration may come before the first
    after = [*rests[1:], *rests[-1:]]
    edges = [_edges(smooth, rests[i], after[i], bounds[i : i + 3]) for i in range(len(rests))]
    upright = smooth * sign
    rows = []
    for i, edge in enumerate(edges):
        end = edges[i + 1].start if i + 1 < len(edges) else pressure.size
        last = i + 1 == len(edges)
        if edge.start == 0 or edge.turn >= end - 1 or (last and not _fell(smooth, edge)):
            continue
        rows.append(_measured(pressure, upright, edge, end, rate_hz, start_ms))
    return rows


def _rest(lead: Floats) -> float:
    """Return the resting level before a breath: the middle of what lies in the lower half up to its peak."""
    return float(np.median(lead[lead <= (lead.min() + lead[-1]) / 2]))


def _edges(smooth: Floats, rest: float, rest_after: float, bounds: list[int]) -> _Edges:
    """Place start and turn of a breath between its neighbours' peaks; `bounds` are the three peaks."""
    before, peak, after = bounds
    level = rest + START_LEVEL * (smooth[peak] - rest)
    under = np.flatnonzero(smooth[before:peak] <= level)
    start = before + int(under[-1]) + 1 if under.size else before
    fall = rest_after + TURN_LEVEL * (smooth[peak] - rest_after)
    fallen = np.flatnonzero(smooth[peak : after + 1] <= fall)
    return _Edges(start=start, peak=peak, turn=peak + int(fallen[0]) if fallen.size else after)


def _fell(smooth: Floats, edge: _Edges) -> bool:
    """Say whether a last breath came half way down again, so that its inspiration is whole."""
    rise = smooth[edge.peak] - smooth[max(edge.start - 1, 0)]
    return bool(smooth[edge.peak] - smooth[edge.peak :].min() >= 0.5 * rise)


def _measured(
    pressure: Floats, smooth: Floats, edge: _Edges, end: int, rate_hz: float, start_ms: int
) -> tuple[float, ...]:
    whole = pressure[edge.start : end]
    # Median of three takes single-sample noise off the peak without rounding it.
    inspired = pressure[max(edge.start - 1, 0) : edge.turn + 2]
    three = np.median(np.lib.stride_tricks.sliding_window_view(inspired, 3), axis=1)
    return (
        start_ms + round(1000.0 * edge.start / rate_hz),
        (edge.turn - edge.start) / rate_hz,
        (end - edge.turn) / rate_hz,
        float(three.max()),
        _plateau(smooth, edge, rate_hz),
        _end_expiratory(pressure[edge.turn : end], rate_hz),
        float(whole.mean()),
        float(smooth[edge.start : end].min()),
    )


def _end_expiratory(expired: Floats, rate_hz: float) -> float:
    """Return the level of the last 0.3 s of an expiration, of the 0.3 s before where those rise already.

    A hand begins to push slowly, long before the start that a share of its peak marks.
    """
    rest = max(1, min(int(0.3 * rate_hz), expired.size // 4))
    last, half = expired[-rest:], rest // 2
    if half and np.median(last[half:]) - np.median(last[:half]) > RISE_CMH2O:
        last = expired[-2 * rest : -rest]
    return float(np.median(last))


def _plateau(smooth: Floats, edge: _Edges, rate_hz: float) -> float:
    """Return the level of an end-inspiratory pause below the peak, nan when none can be told."""
    span, guard = int(PLATEAU_S_MIN * rate_hz), int(0.06 * rate_hz)
    last = edge.turn - guard
    flat = smooth[last - span : last]
    if last - span <= edge.peak or flat.size < 3:
        return float("nan")
    slope = (flat[-1] - flat[0]) / ((flat.size - 1) / rate_hz)
    level = float(np.median(flat))
    told = abs(slope) <= PLATEAU_SLOPE_MAX and smooth[edge.peak] - level >= PLATEAU_DROP_MIN
    return level if told else float("nan")
