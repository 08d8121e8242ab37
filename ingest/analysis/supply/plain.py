"""Take half-cycle rms the plain way: one window after another, no state, for steady waves.

This is the reference that faster loops are compared with: readable first, a thousand times slower.
"""

import math
from collections.abc import Sequence


def crossings(wave: Sequence[float], half_period: int) -> list[float]:
    """Find the zero crossings of the fundamental in samples, after the filter `windows` describes."""
    steps = range(4 * half_period, len(wave))

    def boxed(i: int) -> float:
        return sum(wave[i - j - k] for j in range(half_period) for k in range(half_period))

    def filtered(i: int) -> float:
        return 2 * boxed(i - half_period) - boxed(i) - boxed(i - 2 * half_period)

    values = [filtered(i) for i in steps]
    late = 2 * half_period - 1
    return [
        steps[n - 1] + values[n - 1] / (values[n - 1] - values[n]) - late
        for n in range(1, len(values))
        if (values[n - 1] < 0) != (values[n] < 0)
    ]


def square_at(wave: Sequence[float], position: float) -> float:
    """Give the square of the wave between samples, linear in the square."""
    i = int(position)
    part = position - i
    if part == 0.0:
        return wave[i] ** 2
    return (1.0 - part) * wave[i] ** 2 + part * wave[i + 1] ** 2


def rms_between(wave: Sequence[float], begin: float, end: float) -> float:
    """Give the rms between two points in samples, trapezoid by trapezoid with the edge samples in part."""
    points = [begin, *range(int(begin) + 1, math.ceil(end)), end]
    area = sum(
        (b - a) * (square_at(wave, a) + square_at(wave, b)) / 2.0
        for a, b in zip(points, points[1:], strict=False)
    )
    return math.sqrt(area / (end - begin))


def half_cycle_rms(wave: Sequence[float], rate_hz: float, nominal_hz: float) -> list[tuple[float, float]]:
    """Give (end of window in seconds, Urms(1/2)) for each half cycle of a steady wave."""
    edges = crossings(wave, round(rate_hz / nominal_hz / 2.0))
    return [
        (end / rate_hz, rms_between(wave, begin, end)) for begin, end in zip(edges, edges[2:], strict=False)
    ]
