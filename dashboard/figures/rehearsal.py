"""Figure of the page Rehearsal: alarms of no true event against the delay added to detection. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from dashboard.figures.frame import Look
from dashboard.figures.parts import packed
from dashboard.formats import NARROW_SPACE
from dashboard.theme import SANS

Figure = dict[str, Any]
HEIGHT = 340


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """Hold one setting of a sweep: its value in words, delay added (median, s), nuisance, missed, late.

    `added_s` None: nothing was detected that could be late.
    """

    text: str
    added_s: float | None
    nuisance: int
    missed: int
    late: int


def sweep_figure(tried: Sequence[Tried], current: Tried, look: Look) -> Figure:
    """Return the plot; the setting in force is marked, those that miss a true event are crosses."""
    c = look.colours
    shown = [one for one in tried if one.added_s is not None]
    traces = [
        _points([one for one in shown if not one.missed], "circle", c["before"], look),
        _points([one for one in shown if one.missed], "x", c["ink"], look),
        _points([current], "diamond-open", c["ink"], look, 14),
    ]
    top = max([1, current.nuisance, *(one.nuisance for one in shown)]) * 1.15
    return {"data": traces, "layout": _layout(look, top)}


def _points(tried: Sequence[Tried], symbol: str, colour: str, look: Look, size: int = 9) -> dict[str, Any]:
    said = [
        look.words("rehearsal.point", value=one.text, nuisance=one.nuisance, missed=one.missed, late=one.late)
        for one in tried
    ]
    return {
        "type": "scatter",
        "mode": "markers",
        "x": packed(np.array([one.added_s or 0.0 for one in tried]), "f8"),
        "y": packed(np.array([one.nuisance for one in tried], dtype=float), "f4"),
        "text": said,
        "hoverinfo": "text",
        "marker": {"symbol": symbol, "color": colour, "size": size, "line": {"width": 2, "color": colour}},
    }


def _layout(look: Look, top: float) -> Figure:
    c = look.colours
    axis = {"gridcolor": c["rule"], "linecolor": c["edge"], "zeroline": False, "fixedrange": True,
            "tickfont": {"color": c["soft"], "size": 11}, "showline": True}  # fmt: skip
    title = {"font": {"size": 12, "color": c["soft"]}, "standoff": 6}
    return {
        "height": HEIGHT,
        "margin": {"l": 52, "r": 12, "t": 10, "b": 44},
        "showlegend": False,
        "separators": look.words.number(".") + NARROW_SPACE,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "hovermode": "closest",
        "dragmode": False,
        "font": {"family": SANS, "size": 12, "color": c["ink"]},
        "xaxis": axis | {"title": title | {"text": look.words("rehearsal.axis.added")}},
        "yaxis": axis | {"range": [0, top], "title": title | {"text": look.words("rehearsal.axis.nuisance")}},
        "hoverlabel": {"bgcolor": c["panel"], "bordercolor": c["edge"], "font": {"color": c["ink"]}},
    }
