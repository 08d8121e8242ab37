"""Figures of the page Supply: magnitude against duration, calendar of outages, one captured waveform.

Pure: rows in, figure dictionaries out; scatter and bar traces only, the reduced bundle draws no others.
"""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from dashboard.figures.frame import Look
from dashboard.figures.parts import Trace, packed
from dashboard.formats import NARROW_SPACE
from dashboard.theme import SANS, with_alpha
from ingest.analysis.supply import classify
from ingest.analysis.supply.compiled import Floats
from ingest.analysis.supply.indices import DayMap, WeekMap
from ingest.analysis.supply.records import SupplyEvent

Figure = dict[str, Any]
SHORTEST_S, LONGEST_S = 0.01, 100_000.0
KINDS = (("dip", "circle", "before"), ("swell", "triangle-up", "after"))
WEEKS_NAMED, WEEKS_MIN = 4, 6  # dates on the axis of a calendar at most; columns at least
MARKS_MAX = 500  # more events than these are drawn small
DECADES = tuple(10.0**n for n in range(-2, 6))


def _layout(look: Look, height: int, x: dict[str, Any], y: dict[str, Any]) -> dict[str, Any]:
    c = look.colours
    axis = {"gridcolor": c["rule"], "linecolor": c["edge"], "zeroline": False, "fixedrange": True,
            "tickfont": {"color": c["soft"], "size": 11}, "showline": True}  # fmt: skip
    title = {"font": {"size": 12, "color": c["soft"]}, "standoff": 6}
    return {
        "height": height, "margin": {"l": 52, "r": 12, "t": 10, "b": 44}, "showlegend": False,
        "separators": look.words.number(".") + NARROW_SPACE,
        "paper_bgcolor": "rgba(0,0,0,0)", "plot_bgcolor": "rgba(0,0,0,0)", "hovermode": "closest",
        "font": {"family": SANS, "size": 12, "color": c["ink"]}, "dragmode": False, "barmode": "overlay",
        "xaxis": axis | x | {"title": title | {"text": x["title"]}},
        "yaxis": axis | y | {"title": title | {"text": y["title"]}},
        "hoverlabel": {"bgcolor": c["panel"], "bordercolor": c["edge"], "font": {"color": c["ink"]}},
    }  # fmt: skip


def _curve(x: Sequence[float], y: Sequence[float], colour: str, dash: str, width: float = 1.4) -> Trace:
    return {
        "type": "scatter", "mode": "lines", "x": packed(np.array(x), "f8"), "y": packed(np.array(y), "f4"),
        "line": {"color": colour, "width": width, "dash": dash, "shape": "linear"}, "hoverinfo": "skip",
    }  # fmt: skip


def magnitude_duration(
    events: Sequence[SupplyEvent], other: Sequence[SupplyEvent], look: Look,
    said: Callable[[SupplyEvent], str],
) -> Figure:  # fmt: skip
    """Return dips and swells against the ITIC envelope; `other` events, to compare with, in grey rings.

    `said` gives the words for a point under the pointer. Points carry the start in ms as `customdata`.
    """
    c = look.colours
    at = np.geomspace(SHORTEST_S, LONGEST_S, 700).tolist()
    size = 9 if len(events) + len(other) <= MARKS_MAX else 4
    rest = [e for e in other if e.kind != "interruption"]
    traces = [_points(rest, "circle-open", c["soft"], size, said)]
    for kind, symbol, role in KINDS:
        traces.append(_points([e for e in events if e.kind == kind], symbol, c[role], size, said))
    # Last, so that a cloud of a year's events doesn't hide them.
    traces += [
        _curve(at, [100 * classify.lower_limit("ITIC", t) for t in at], c["ink"], "solid"),
        _curve(at, [100 * classify.itic_upper_limit(t) for t in at], c["ink"], "solid"),
        _curve(at, [100 * classify.lower_limit("SEMI F47", t) for t in at], c["soft"], "5px,3px", 1.0),
    ]
    top = max([130.0, *(100 * e.extreme_pu + 5 for e in (*events, *other))])
    x = {"type": "log", "range": [-2, 5], "title": look.words("study.axis.seconds"), "tickvals": DECADES,
         "ticktext": [look.words.number(f"{d:g}") for d in DECADES]}  # fmt: skip
    y = {"range": [0, top], "title": look.words("study.axis.percent")}
    return {"data": traces, "layout": _layout(look, 360, x, y)}


def _points(
    events: Sequence[SupplyEvent], symbol: str, colour: str, size: int, said: Callable[[SupplyEvent], str]
) -> Trace:
    length = np.clip([e.duration_s for e in events] or np.empty(0), SHORTEST_S, LONGEST_S)
    return {
        "type": "scatter", "mode": "markers", "x": packed(length, "f8"),
        "y": packed(np.array([100 * e.extreme_pu for e in events]), "f4"),
        "customdata": [round(e.start_s * 1000) for e in events], "text": [said(e) for e in events],
        "hoverinfo": "text",
        "marker": {
            "size": size, "color": with_alpha(colour, 0.75), "line": {"color": colour, "width": 1},
            # Hollow: the data end or the tap clips first, so the point is 'at least'.
            "symbol": [symbol + "-open" * (e.still_open or e.clipped) if "open" not in symbol else symbol
                       for e in events],
        },
    }  # fmt: skip


def calendar(week: WeekMap, look: Look, said: Callable[[int, int], str]) -> Figure:
    """Return the hour-by-weekday map of interruptions: shade by number begun, hatched where never watched."""
    cells = [(day, hour) for day in range(7) for hour in range(24)]
    traces = _cells(cells, week.begun.ravel(), week.watched_h.ravel(), [said(*at) for at in cells], look)
    x = {"range": [0, 24], "tickvals": list(range(0, 25, 3)), "title": look.words("study.axis.hour"),
         "showgrid": False}  # fmt: skip
    return {"data": traces, "layout": _layout(look, 300, x, _weekdays(look))}


def days(found: DayMap, look: Look, said: Callable[[int], str]) -> Figure:
    """Return a calendar of interruptions, a column a week; `said` gives the words for the day of a number."""
    count = len(found.days)
    cells = [(n % 7, n // 7) for n in range(count)]
    traces = _cells(cells, found.begun, found.watched_h, [said(n) for n in range(count)], look)
    weeks = -(-count // 7)
    mondays = range(0, weeks, max(1, -(-weeks // WEEKS_NAMED)))
    x = {"range": [0, max(weeks, WEEKS_MIN)], "tickvals": [week + 0.5 for week in mondays], "title": "",
         "ticktext": [f"{found.days[7 * week]:%Y-%m-%d}" for week in mondays], "showgrid": False}  # fmt: skip
    return {"data": traces, "layout": _layout(look, 230, x, _weekdays(look))}


def _weekdays(look: Look) -> dict[str, Any]:
    return {"range": [6.5, -0.5], "tickvals": list(range(7)), "title": "", "showgrid": False,
            "ticktext": [look.words(f"study.day.{day}") for day in range(7)]}  # fmt: skip


def _cells(
    cells: Sequence[tuple[int, int]], begun: Floats, watched_h: Floats, said: Sequence[str], look: Look
) -> list[Trace]:
    """Return cells (row, column): those watched by how many interruptions began, the others hatched."""
    c, top = look.colours, max(1.0, float(begun.max()))
    seen, dark = np.flatnonzero(watched_h > 0).tolist(), np.flatnonzero(watched_h <= 0).tolist()
    shades = [with_alpha(c["after"], float(begun[n] / top) * 0.9 + 0.06) for n in seen]
    quiet = {"color": c["gap"], "pattern": {
        "shape": "/", "fgcolor": c["gap"], "bgcolor": "rgba(0,0,0,0)", "size": 6, "solidity": 0.3,
    }, "line": {"width": 0}}  # fmt: skip
    watched = {"color": shades, "line": {"color": c["page"], "width": 1}}
    return [
        {
            "type": "bar", "orientation": "h", "base": [cells[n][1] for n in shown], "x": [1] * len(shown),
            "y": [cells[n][0] for n in shown], "width": 0.92, "marker": marker,
            "text": [f"{begun[n]:.0f}" if begun[n] else "" for n in shown],
            "textposition": "inside", "insidetextanchor": "middle", "textangle": 0,
            "hovertext": [said[n] for n in shown], "hoverinfo": "text",
        }
        for shown, marker in ((seen, watched), (dark, quiet))
    ]  # fmt: skip


def waveform(ms: Any, volts: Any, rms_ms: Any, rms_v: Any, look: Look) -> Figure:
    """Return the captured waveform with the half-cycle rms under it, over one time axis."""
    c = look.colours
    wave = _curve(ms, volts, c["before"], "solid", 1.0)
    steps = _curve(rms_ms, rms_v, c["ink"], "solid", 1.4) | {"yaxis": "y2", "mode": "lines+markers"}
    steps["marker"] = {"size": 4, "color": c["ink"]}
    x = {"title": look.words("study.axis.ms"), "range": [float(ms[0]), float(ms[-1])], "anchor": "y2"}
    y = {"title": look.words("study.axis.volts"), "domain": [0.42, 1]}
    drawn = _layout(look, 380, x, y)
    drawn["xaxis"]["fixedrange"] = False
    below = {"title": {"text": look.words("study.axis.half_cycle"), "standoff": 6,
                       "font": {"size": 12, "color": c["soft"]}}}  # fmt: skip
    top = float(np.nanmax(rms_v)) * 1.1 if len(rms_v) else 1.0
    drawn["yaxis2"] = drawn["yaxis"] | below | {"domain": [0, 0.34], "range": [0, top], "anchor": "x"}
    drawn["yaxis2"].pop("matches", None)
    drawn["shapes"] = [{"type": "line", "x0": 0, "x1": 0, "yref": "paper", "y0": 0, "y1": 1,
                        "line": {"color": c["soft"], "width": 1, "dash": "dot"}}]  # fmt: skip
    return {"data": [wave, steps], "layout": drawn}


def harmonics(before: Any, after: Any, look: Look) -> Figure:
    """Return harmonic subgroups before the event and at the end of the capture, side by side."""
    c = look.colours
    traces = []
    sides = ((before, "soft", -0.2, "supply.first"), (after, "before", 0.2, "supply.last"))
    for values, role, shift, key in sides:
        if values is None:
            continue
        orders, parts = np.arange(2, len(values) + 1), np.round(values[1:], 3).tolist()
        shares = [look.words.number(f"{v:.2f}") for v in parts]
        said = [f"{look.words(key)}: {o}, {v} %" for o, v in zip(orders, shares, strict=True)]
        traces.append({
            "type": "bar", "x": (orders + shift).tolist(), "y": parts, "width": 0.38,
            "marker": {"color": c[role]}, "hoverinfo": "text", "hovertext": said,
        })  # fmt: skip
    x = {"title": look.words("study.axis.order"), "tickvals": list(range(3, 26, 2)), "range": [1.4, 25.6],
         "showgrid": False}  # fmt: skip
    y = {"title": look.words("study.axis.of_fundamental"), "rangemode": "tozero"}
    return {"data": traces, "layout": _layout(look, 380, x, y)}
