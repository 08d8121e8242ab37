"""What the clock model leaves over, fit by fit: pure, from fits to a figure."""

from collections.abc import Sequence
from typing import Any

from dashboard.figures.frame import Look, Panel, layout

HEIGHT = 120
LEAST_MS = 20


def residual_figure(fits: Sequence[tuple[int, int, bool]], look: Look) -> dict[str, Any]:
    """Return the residuals over time, from (UTC ms, residual in ms, whether the host's clock was set).

    Where it was set there is a cross.
    """
    start, end = fits[0][0], max(fits[-1][0], fits[0][0] + 60_000)
    reach = max(LEAST_MS, *(abs(residual) for _, residual, _ in fits)) * 1.15
    caption = f"<b>{look.words('bench.residual')}</b><br>{look.words('bench.ms')}"
    panel = Panel(axis="y2", height=HEIGHT, low=-reach, high=reach, caption=caption)
    figure = layout([panel], start, end, look)
    colour = look.colours["ink"]
    trace = {
        "type": "scatter", "mode": "lines+markers", "x": [t for t, _, _ in fits],
        "y": [residual for _, residual, _ in fits], "xaxis": "x", "yaxis": "y2", "hoverinfo": "none",
        "line": {"color": colour, "width": 1},
        "marker": {"color": colour, "size": [9 if step else 4 for _, _, step in fits],
                   "symbol": ["x" if step else "circle" for _, _, step in fits]},
        "name": look.words("bench.residual"),
    }  # fmt: skip
    return {"data": [trace], "layout": figure}
