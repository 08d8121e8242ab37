"""Join spans of time and measure how much of each interval they take."""

from collections.abc import Sequence

import numpy as np

from ingest.analysis.supply.compiled import Floats


def merged(spans: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Join spans that overlap or touch, sorted by start."""
    out: list[tuple[float, float]] = []
    for start, end in sorted(spans):
        if out and start <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    return out


def taken_s(spans: Sequence[tuple[float, float]], edges_s: Floats) -> Floats:
    """Give the seconds that the union of spans takes between each edge and the next."""
    joined = np.array(merged(spans)).reshape(-1, 2)
    start, end = joined[:, 0], joined[:, 1]
    before = np.concatenate((np.zeros(1), np.cumsum(end - start)))
    at = np.searchsorted(start, edges_s, side="right")
    until = before[at]
    begun = at > 0
    until[begun] -= np.maximum(0.0, end[at[begun] - 1] - edges_s[begun])
    return np.diff(until)
