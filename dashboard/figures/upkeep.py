"""What was done to the equipment, as one lane of marks on the time axis of the trends."""

from dashboard.figures.frame import Look, Panel
from dashboard.figures.parts import Trace, named_points, words_that_fit
from dashboard.frames import NightFrame

AXIS = "y10"
HEIGHT = 22


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
    words, times = look.words, [one.at_ms for one in frame.upkeep]
    said = [" ".join((words(f"part.{one.part}"), words(f"deed.{one.deed}"))) for one in frame.upkeep]
    texts = words_that_fit(times, said, pixel, frame.end)
    name = words("figure.upkeep")
    return [named_points(times, 0.5, texts, AXIS, look.colours["ink"], "square-open", name)]
