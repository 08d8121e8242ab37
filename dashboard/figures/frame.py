"""The frame of a stacked figure: panels one under another over one time axis, captions, ticks."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from dashboard.figures.axes import step_for, tick_labels, tick_times
from dashboard.formats import NARROW_SPACE, offset
from dashboard.texts import Words
from dashboard.theme import SANS, colours

Layout = dict[str, Any]

MARGIN_LEFT, MARGIN_LEFT_NARROW = 212, 44
MARGIN_RIGHT, MARGIN_TOP, MARGIN_BOTTOM = 14, 8, 64
GAP, GAP_NARROW = 12, 40
PIXELS_A_TICK = 84


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """Describe one panel: its axis ('y2' ...), height in px, range, caption, and whether it has ticks."""

    axis: str
    height: int
    low: float
    high: float
    caption: str
    ticks: Sequence[float] | None = None
    labels: Sequence[str] | None = None
    close: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Hold how a figure is drawn: words, zone, theme, width of the window in px, unit of pressure."""

    words: Words
    zone: ZoneInfo
    theme: str
    width: int
    narrow: bool
    unit: str = "cmH2O"

    @property
    def colours(self) -> dict[str, str]:
        """Return the palette."""
        return colours(self.theme)

    @property
    def plot_width(self) -> int:
        """Return the width of the plotting area in px."""
        left = MARGIN_LEFT_NARROW if self.narrow else MARGIN_LEFT
        return max(self.width - left - MARGIN_RIGHT, 120)


def layout(panels: Sequence[Panel], start: int, end: int, look: Look) -> Layout:
    """Return the layout of panels from top to bottom over [start, end] in UTC ms."""
    c = look.colours
    gap = GAP_NARROW if look.narrow else GAP
    inside = sum(panel.height for panel in panels)
    gaps = [2 if panel.close and not look.narrow else gap for panel in panels]
    inside += sum(gaps)
    out: Layout = {
        "height": inside + MARGIN_TOP + MARGIN_BOTTOM,
        "margin": {
            "l": MARGIN_LEFT_NARROW if look.narrow else MARGIN_LEFT,
            "r": MARGIN_RIGHT,
            "t": MARGIN_TOP,
            "b": MARGIN_BOTTOM,
            "pad": 0,
        },
        "separators": look.words.number(".") + NARROW_SPACE,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": SANS, "size": 12, "color": c["ink"]},
        "showlegend": False,
        "hovermode": "x",
        "hoverdistance": 20,
        "barmode": "overlay",
        "dragmode": False if look.narrow else "zoom",
        "xaxis": _time_axis(start, end, look, panels[-1].axis),
        # Under all panels: what was not recorded is hatched over the full height.
        "yaxis": {"domain": [0, 1], "range": [0, 1], "visible": False, "fixedrange": True, "anchor": "x"},
        "annotations": [],
        "shapes": [],
    }
    top = float(inside)
    for panel, above in zip(panels, gaps, strict=True):
        top -= above
        bottom = top - panel.height
        domain = [max(bottom / inside, 0.0), min(top / inside, 1.0)]
        out["yaxis" + panel.axis[1:]] = _value_axis(panel, domain, c)
        out["annotations"].append(_caption(panel, domain, look))
        top = bottom
    return out


def _time_axis(start: int, end: int, look: Look, lowest: str) -> Layout:
    c = look.colours
    step = step_for(end - start, max(look.plot_width // PIXELS_A_TICK, 2))
    times = tick_times(start, end, step, look.zone)
    title = look.words("axis.time", zone=look.zone.key, offset=offset(start, look.zone))
    return {
        "range": [start, end],
        "tickvals": times,
        "ticktext": tick_labels(times, step, look.zone),
        "tickangle": 0,
        "anchor": lowest,
        "gridcolor": c["rule"],
        "linecolor": c["edge"],
        "ticks": "outside",
        "tickcolor": c["edge"],
        "zeroline": False,
        "title": {"text": title, "font": {"size": 12, "color": c["soft"]}, "standoff": 4},
        "tickfont": {"color": c["soft"]},
        "showspikes": True,
        "spikemode": "across",
        "spikesnap": "cursor",
        "spikethickness": 1,
        "spikecolor": c["edge"],
        "spikedash": "solid",
    }


def _value_axis(panel: Panel, domain: list[float], c: dict[str, str]) -> Layout:
    axis: Layout = {
        "domain": domain,
        "range": [panel.low, panel.high],
        "fixedrange": True,
        "anchor": "x",
        "zeroline": False,
        "gridcolor": c["rule"],
        "tickfont": {"color": c["soft"], "size": 11},
        "linecolor": c["edge"],
        "showline": True,
    }
    if panel.ticks is None:
        axis["nticks"] = max(panel.height // 30, 2)
    else:
        axis.update(tickvals=list(panel.ticks), ticktext=list(panel.labels or ()), showgrid=False)
    return axis


def _caption(panel: Panel, domain: list[float], look: Look) -> Layout:
    place: Layout = {"xref": "paper", "yref": "paper", "x": 0, "y": domain[1], "showarrow": False}
    place |= {"text": panel.caption, "align": "left", "xanchor": "left", "font": {"size": 12}}
    if look.narrow:
        return place | {"yanchor": "bottom", "xshift": -40}
    return place | {"yanchor": "top", "xshift": -(MARGIN_LEFT - 6)}
