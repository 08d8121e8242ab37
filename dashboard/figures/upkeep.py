"""What was done to the equipment, as one lane of marks on the time axis of the trends."""

from dashboard.figures.frame import Look, Panel
from dashboard.figures.parts import Trace
from dashboard.frames import NightFrame

AXIS = "y10"
HEIGHT = 22
LETTER_PX = 8


def panels(frame: NightFrame, look: Look) -> list[Panel]:
    """Return the lane, none where nothing was done in the window."""
    if not frame.upkeep:
        return []
    caption = look.words("figure.upkeep")
    return [Panel(axis=AXIS, height=HEIGHT, low=0, high=1, caption=caption, ticks=(), close=True)]


def traces(frame: NightFrame, look: Look) -> list[Trace]:
    """Return a mark for each entry; its words stand beside it where the next one leaves room."""
    if not frame.upkeep:
        return []
    pixel = (frame.end - frame.start) / look.plot_width
    texts, words = [], look.words
    for one, following in zip(frame.upkeep, (*frame.upkeep[1:], None), strict=True):
        said = " ".join((words(f"part.{one.part}"), words(f"deed.{one.deed}")))
        until = frame.end if following is None else following.at_ms
        texts.append(said if until - one.at_ms > (len(said) * LETTER_PX + LETTER_PX) * pixel else "")
    return [
        {
            "type": "scatter",
            "mode": "markers+text",
            "x": [one.at_ms for one in frame.upkeep],
            "y": [0.5] * len(frame.upkeep),
            "text": texts,
            "textposition": "middle right",
            "textfont": {"size": 12, "color": look.colours["ink"]},
            "marker": {"color": look.colours["ink"], "symbol": "square-open", "size": 9},
            "xaxis": "x",
            "yaxis": AXIS,
            "hoverinfo": "none",
            "cliponaxis": False,
            "name": words("figure.upkeep"),
        }
    ]
