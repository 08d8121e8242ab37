"""The night on one screen, along the way of the gas: supply, its state, oxygen, pressure, rate, alarms.

Pure: a NightFrame in, a figure dictionary out. Everything shares one time axis in UTC ms.
"""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from tsdownsample import MinMaxDownsampler

from dashboard.figures import hand, lanes, upkeep
from dashboard.figures.frame import Look, Panel, layout
from dashboard.figures.parts import Trace, line, merged, points, ribbon
from dashboard.frames import Envelope, Floats, Limit, NightFrame, Times
from dashboard.theme import with_alpha

Figure = dict[str, Any]

ENVELOPE = 0.30
# Breaths further apart than this are not joined by a line: a stretch without breaths must show.
BREATH_JOIN_MS = 30_000
WAVE_JOIN_MS = 25


def night_figure(frame: NightFrame, look: Look) -> Figure:
    """Return the figure of one window as a dictionary for plotly.js."""
    step = frame.width_ms * 1.6
    rows = lanes.lanes_of(frame)
    panels = [
        _supply_panel(frame, look),
        Panel(axis="y3", height=22, low=0, high=1, caption=look.words("figure.state"), ticks=(), close=True),
        _oxygen_panel(frame, look),
        _pressure_panel(frame, look),
        _rate_panel(frame, look),
        *hand.panels(frame, look),
        *upkeep.panels(frame, look),
        *lanes.panels(rows, look),
    ]
    traces = [
        *_supply(frame, look, step),
        *lanes.states(frame, look),
        *_oxygen(frame, look, step),
        *_pressure(frame, look, step),
        *_rate(frame, look),
        *hand.traces(frame, look),
        *upkeep.traces(frame, look),
        *lanes.alarms(rows, frame, look),
        *lanes.unrecorded(frame, look),
        *(_nothing(panel.axis, frame.start) for panel in panels),
    ]
    drawn = layout(panels, frame.start, frame.end, look)
    drawn["shapes"] = _dark(frame, look)
    return {"data": traces, "layout": drawn}


def _nothing(axis: str, start: int) -> Trace:
    """Return a trace without points: a panel that holds no trace would lose its place."""
    return {"type": "scatter", "x": [start], "y": [None], "xaxis": "x", "yaxis": axis, "hoverinfo": "skip"}


def _key(look: Look, role: str, text: str) -> str:
    return f'<span style="color:{look.colours[role]}">{text}</span>'


def _unit(look: Look) -> str:
    return look.words(f"unit.{look.unit}")


def _caption(look: Look, title: str, *keys: tuple[str, str]) -> str:
    """Return a panel's title with its curves named in their colours; a phone has one line for them."""
    head = f"<b>{look.words(title, unit=_unit(look))}</b>"
    if look.narrow:
        named = [_key(look, role, look.words(text)) for role, text in keys if role != "soft"]
        return head + "<br>" + " · ".join(named)
    return "<br>".join([head, *(_key(look, role, look.words(text)) for role, text in keys)])


def _bounds(
    values: Iterable[Envelope], low: float, high: float, limits: Sequence[float] = ()
) -> tuple[float, float]:
    """Return a range that holds [low, high], all values and the limits, with room above and below."""
    low, high = min(low, *limits, low), max(high, *limits, high)
    for one in values:
        known = ~np.isnan(one.low) & ~np.isnan(one.high)
        if known.any():
            low, high = min(low, float(one.low[known].min())), max(high, float(one.high[known].max()))
    pad = (high - low) * 0.06
    return low - pad, high + pad


def _limit_values(frame: NightFrame, *names: str) -> list[float]:
    return [one.value for name in names for one in frame.limits.get(name, [])]


def _supply_panel(frame: NightFrame, look: Look) -> Panel:
    nominal = frame.nominal_v
    limits = _limit_values(frame, "supply.window_low", "supply.window_high")
    low, high = _bounds((frame.supply_in, frame.supply_out), nominal * 0.9, nominal * 1.1, limits)
    keys = (("before", "figure.before"), ("after", "figure.after"), ("soft", "figure.window"))
    caption = _caption(look, "figure.supply", *keys)
    return Panel(axis="y2", height=150, low=low, high=high, caption=caption)


def _supply(frame: NightFrame, look: Look, step: float) -> list[Trace]:
    c, out = look.colours, []
    for values, role, dash in ((frame.supply_in, "before", "solid"), (frame.supply_out, "after", "4px,1px")):
        out.append(ribbon(frame.t, values.low, values.high, "y2", with_alpha(c[role], ENVELOPE), step))
        drawn = line(frame.t, values.mean, "y2", c[role], step, dash=dash)
        out.append(drawn | {"meta": [look.words(f"figure.{role}"), look.words("unit.V"), 0]})
    return out + _limit_lines(frame, look, "y2", "supply.window_low", "supply.window_high")


def _oxygen_panel(frame: NightFrame, look: Look) -> Panel:
    low, high = _bounds((frame.oxygen,), 80, 97, _limit_values(frame, "oxygen.low"))
    caption = _caption(look, "figure.oxygen", ("oxygen", "figure.purity"), ("soft", "figure.limit_low"))
    return Panel(axis="y4", height=96, low=max(low, 0), high=min(high, 105), caption=caption)


def _oxygen(frame: NightFrame, look: Look, step: float) -> list[Trace]:
    values, colour = frame.oxygen, look.colours["oxygen"]
    drawn = line(frame.t, values.mean, "y4", colour, step)
    return [
        ribbon(frame.t, values.low, values.high, "y4", with_alpha(colour, ENVELOPE), step),
        drawn | {"meta": [look.words("figure.purity"), look.words("unit.percent"), 1]},
        *_limit_lines(frame, look, "y4", "oxygen.low"),
    ]


def _pressure_panel(frame: NightFrame, look: Look) -> Panel:
    low, high = _bounds((frame.pressure,), 0, 25, _limit_values(frame, "pressure.high"))
    if frame.wave is not None:
        keys = [("pressure", "figure.wave")]
    elif frame.breaths is not None:
        keys = [("pressure", "figure.peak"), ("pressure", "figure.mean"), ("pressure", "figure.end")]
    else:
        keys = [("pressure", "figure.greatest"), ("pressure", "figure.mean")]
    caption = _caption(look, "figure.pressure", *keys, ("soft", "figure.limits"))
    return Panel(axis="y5", height=150, low=low, high=high, caption=caption)


def _pressure(frame: NightFrame, look: Look, step: float) -> list[Trace]:
    limits = _limit_lines(frame, look, "y5", "pressure.high", "pressure.disconnect")
    if frame.wave is not None:
        return [*_wave(frame, look), *limits]
    values, colour = frame.pressure, look.colours["pressure"]
    mean = line(frame.t, values.mean, "y5", colour, step, width=1, dash="1px,2px")
    out = [
        ribbon(frame.t, values.low, values.high, "y5", with_alpha(colour, ENVELOPE / 2), step),
        mean | {"meta": [look.words("figure.mean"), _unit(look), 1]},
    ]
    return out + _peaks(frame, look, step) + limits


def _peaks(frame: NightFrame, look: Look, step: float) -> list[Trace]:
    colour, unit = look.colours["pressure"], _unit(look)
    if frame.breaths is None:
        drawn = line(frame.t, frame.pressure.high, "y5", colour, step)
        return [drawn | {"meta": [look.words("figure.greatest"), unit, 1]}]
    b = frame.breaths
    join = max(step, BREATH_JOIN_MS)
    peak = line(b.t, b.peak.mean, "y5", colour, join, width=1.8)
    end = line(b.t, b.end.mean, "y5", colour, join, width=1.4, dash="6px,2px")
    return [
        peak | {"meta": [look.words("figure.peak"), unit, 1]},
        end | {"meta": [look.words("figure.end"), unit, 1]},
    ]


def _wave(frame: NightFrame, look: Look) -> list[Trace]:
    assert frame.wave is not None, "only asked for where there is a waveform"
    colour, unit = look.colours["pressure"], _unit(look)
    t, value = thinned(frame.wave.t, frame.wave.value, look.plot_width)
    drawn = line(t, value, "y5", colour, max(WAVE_JOIN_MS, _widest(t)), width=1.4)
    out = [drawn | {"meta": [look.words("figure.wave"), unit, 1]}]
    if frame.breaths is not None and frame.end - frame.start <= 120_000:
        ends = frame.breaths.end.mean
        out.append(points(frame.breaths.t, ends, "y5", look.colours["soft"], "line-ns-open"))
    return out


def _widest(t: Times) -> float:
    """Return the distance that thinned points of an unbroken second may have."""
    return 0.0 if len(t) < 3 else float(np.median(np.diff(t))) * 6


def thinned(t: Times, value: Floats, pixels: int) -> tuple[Times, Floats]:
    """Return the points that hold the least and the greatest value of each pixel column, in order of time."""
    if len(t) <= 4 * pixels:
        return t, value
    places = MinMaxDownsampler().downsample(  # type: ignore[no-untyped-call]
        t, value, n_out=2 * pixels)
    return t[places], value[places]


def _rate_panel(frame: NightFrame, look: Look) -> Panel:
    known = () if frame.breaths is None else (frame.breaths.rate,)
    _, high = _bounds(known, 0, 20, _limit_values(frame, "rate.low", "rate.high"))
    key = "figure.rate_one" if frame.breaths is not None else "figure.rate_too_long"
    caption = _caption(look, "figure.rate", ("rate", key), ("soft", "figure.limits"))
    return Panel(axis="y6", height=78, low=0, high=high, caption=caption)


def _rate(frame: NightFrame, look: Look) -> list[Trace]:
    colour, b = look.colours["rate"], frame.breaths
    limits = _limit_lines(frame, look, "y6", "rate.low", "rate.high")
    if b is None:
        return limits
    join = max(frame.width_ms * 1.6, BREATH_JOIN_MS)
    drawn = line(b.t, b.rate.mean, "y6", colour, join)
    return [
        ribbon(b.t, b.rate.low, b.rate.high, "y6", with_alpha(colour, ENVELOPE), join),
        drawn | {"meta": [look.words("figure.rate_one"), look.words("unit.per_minute"), 1]},
        *limits,
    ]


def _limit_lines(frame: NightFrame, look: Look, axis: str, *names: str) -> list[Trace]:
    out = []
    for name in names:
        kept = frame.limits.get(name, [])
        if kept:
            t, values = _steps(kept, frame.end)
            out.append(line(t, values, axis, look.colours["soft"], np.inf, width=1, dash="2px,3px"))
    return out


def _steps(kept: Sequence[Limit], end: int) -> tuple[Times, Floats]:
    times = [one.since for one in kept] + [end]
    t = np.repeat(np.array(times, np.int64), 2)[1:-1]
    return t, np.repeat(np.array([one.value for one in kept], np.float64), 2)


def _dark(frame: NightFrame, look: Look) -> list[Trace]:
    """Return a wash over every stretch without a record; its lane below hatches it and says so."""
    pixel = (frame.end - frame.start) / look.plot_width
    spans = merged([(one.start, one.end) for one in frame.dark], pixel)
    return [
        {
            "type": "rect",
            "xref": "x",
            "yref": "paper",
            "x0": start,
            "x1": max(end, start + pixel),
            "y0": 0,
            "y1": 1,
            "layer": "below",
            "line": {"width": 0},
            "fillcolor": with_alpha(look.colours["gap"], 0.28),
        }
        for start, end in spans
    ]


