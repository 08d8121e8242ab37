"""What the clock model leaves over, fit by fit: pure, from fits to a figure."""

from collections.abc import Sequence
from typing import Any

from dashboard.figures.frame import Look, Panel, layout
from ingest.store.reader.bench import ClockFit

HEIGHT = 120
LEAST_MS = 20


def residual_figure(fits: Sequence[ClockFit], look: Look) -> dict[str, Any]:
    """Return the residuals in ms over time; steps of the host's clock are drawn as crosses."""
    start, end = fits[0].t, max(fits[-1].t, fits[0].t + 60_000)
    reach = max(LEAST_MS, *(abs(one.residual_ms) for one in fits)) * 1.15
    caption = f"<b>{look.words('bench.residual')}</b><br>{look.words('bench.ms')}"
    panel = Panel(axis="y2", height=HEIGHT, low=-reach, high=reach, caption=caption)
    figure = layout([panel], start, end, look)
    colour = look.colours["ink"]
    trace = {
        "type": "scatter", "mode": "lines+markers", "x": [one.t for one in fits],
        "y": [one.residual_ms for one in fits], "xaxis": "x", "yaxis": "y2", "hoverinfo": "none",
        "line": {"color": colour, "width": 1},
        "marker": {"color": colour, "size": [9 if one.step else 4 for one in fits],
                   "symbol": ["x" if one.step else "circle" for one in fits]},
        "name": look.words("bench.residual"),
    }  # fmt: skip
    return {"data": [trace], "layout": figure}
