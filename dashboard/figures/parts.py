"""Small parts of figures as plain dictionaries: lines that break at gaps, ribbons, bars. Times in UTC ms.

Only scatter and bar traces: the reduced bundle in assets/vendor draws no others.
"""

import base64
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Trace = dict[str, Any]
LETTER_PX, GLYPH_PX = 8, 12


def packed(values: NDArray[Any], code: str) -> dict[str, str]:
    """Return an array in the form that plotly.js reads without parsing numbers; `code` is a dtype."""
    return {"dtype": code, "bdata": base64.b64encode(values.astype("<" + code).tobytes()).decode("ascii")}


def runs(t: Times, known: NDArray[np.bool_], step_ms: float) -> list[slice]:
    """Return the stretches of points that are known and not further apart than `step_ms`."""
    if not len(t):
        return []
    places = np.flatnonzero(known)
    if not len(places):
        return []
    breaks = (np.diff(places) > 1) | (np.diff(t[places]) > step_ms)
    ends = np.r_[np.flatnonzero(breaks), len(places) - 1]
    starts = np.r_[0, ends[:-1] + 1]
    return [slice(places[a], places[b] + 1) for a, b in zip(starts, ends, strict=True)]


def broken(t: Times, values: Floats, step_ms: float) -> tuple[Floats, Floats]:
    """Return a line with a NaN wherever two points are further apart than `step_ms`."""
    if not len(t):
        return np.empty(0), np.empty(0)
    holes = np.flatnonzero(np.diff(t) > step_ms) + 1
    return np.insert(t.astype(np.float64), holes, np.nan), np.insert(values, holes, np.nan)


def line(
    t: Times,
    values: Floats,
    axis: str,
    colour: str,
    step_ms: float,
    *,
    width: float = 1.4,
    dash: str = "solid",
) -> Trace:
    """Return a line that is cut at gaps."""
    x, y = broken(t, values, step_ms)
    return {
        "type": "scatter",
        "mode": "lines",
        "x": packed(x, "f8"),
        "y": packed(y, "f4"),
        "xaxis": "x",
        "yaxis": axis,
        "line": {"color": colour, "width": width, "dash": dash},
        "hoverinfo": "none",
    }


def points(t: Times, values: Floats, axis: str, colour: str, symbol: str) -> Trace:
    """Return markers."""
    return {
        "type": "scatter",
        "mode": "markers",
        "x": packed(t, "f8"),
        "y": packed(values, "f4"),
        "xaxis": "x",
        "yaxis": axis,
        "marker": {"color": colour, "symbol": symbol, "size": 7},
        "hoverinfo": "none",
    }


def named_points(
    t: Sequence[int], height: float, texts: Sequence[str], axis: str, colour: str, symbol: str, name: str
) -> Trace:
    """Return open markers at one height with their words to the right."""
    return {
        "type": "scatter",
        "mode": "markers+text",
        "x": list(t),
        "y": [height] * len(t),
        "text": list(texts),
        "textposition": "middle right",
        "textfont": {"size": 12, "color": colour},
        "marker": {"color": colour, "symbol": symbol, "size": 9},
        "xaxis": "x",
        "yaxis": axis,
        "hoverinfo": "none",
        "cliponaxis": False,
        "name": name,
    }


def words_that_fit(
    t: Sequence[int], texts: Sequence[str], pixel_ms: float, end: int | None = None
) -> list[str]:
    """Return the texts; where the next point, or `end`, comes too soon a text is left out."""
    fitting = []
    for at, text, following in zip(t, texts, [*t[1:], end], strict=True):
        room = (len(text) * LETTER_PX + GLYPH_PX) * pixel_ms
        fitting.append(text if following is None or following - at > room else "")
    return fitting


def ribbon(t: Times, low: Floats, high: Floats, axis: str, fill: str, step_ms: float) -> Trace:
    """Return the area between two lines, cut at gaps: one polygon a stretch."""
    xs: list[Floats] = []
    ys: list[Floats] = []
    for run in runs(t, ~(np.isnan(low) | np.isnan(high)), step_ms):
        x = t[run].astype(np.float64)
        xs += [x, x[::-1], x[:1], np.array([np.nan])]
        ys += [low[run], high[run][::-1], low[run][:1], np.array([np.nan])]
    return {
        "type": "scatter",
        "mode": "lines",
        "x": packed(np.concatenate(xs) if xs else np.empty(0), "f8"),
        "y": packed(np.concatenate(ys) if ys else np.empty(0), "f4"),
        "xaxis": "x",
        "yaxis": axis,
        "fill": "toself",
        "fillcolor": fill,
        "line": {"width": 0.6, "color": fill},
        "hoverinfo": "skip",
    }


def bars(
    spans: Sequence[tuple[int, int]],
    places: Sequence[float],
    axis: str,
    *,
    colour: str,
    edge: str,
    height: float = 0.8,
    pattern: str = "",
    ground: str = "",
) -> Trace:
    """Return horizontal bars from start to end at heights `places`; `pattern` hatches them in `colour`."""
    marker: Trace = {"color": colour, "line": {"color": edge, "width": 1}}
    if pattern:
        marker["pattern"] = {"shape": pattern, "fgcolor": colour, "bgcolor": ground, "size": 6}
        marker["pattern"]["solidity"] = 0.35
    return {
        "type": "bar",
        "orientation": "h",
        "base": [start for start, _ in spans],
        "x": [end - start for start, end in spans],
        "y": list(places),
        "width": height,
        "xaxis": "x",
        "yaxis": axis,
        "marker": marker,
        "hoverinfo": "none",
        "cliponaxis": True,
    }


def merged(spans: Sequence[tuple[int, int]], reach_ms: float) -> list[tuple[int, int]]:
    """Join spans that lie closer than `reach_ms`: what one pixel can't tell apart is drawn once."""
    out: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if out and start - out[-1][1] <= reach_ms:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    return out
