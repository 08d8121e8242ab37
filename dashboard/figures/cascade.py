"""The cascade as one picture: battery, cylinder, hands; what holds at least, what may, what isn't proven."""

from dataclasses import replace
from typing import Any

from dashboard.figures import frame
from dashboard.figures.frame import Look, Panel
from dashboard.figures.parts import Trace, bars
from dashboard.formats import MINUTE, clock
from dashboard.theme import with_alpha
from ingest.analysis.reserves.cascade import Cascade, Rung

ROW_PX = 62
MARGIN_PX = 8
SPAN_MINUTES_MIN = 30
ROOM = 1.3  # of the lower bounds, so that hands have their place
REACH = 3.0  # upper bounds are drawn up to so many times the lower ones
BAR, TEXT_ABOVE = 0.42, 0.3
AXIS = "y2"
ROLES = {"rung.battery": "after", "rung.cylinder": "oxygen", "rung.hand_room_air": "pressure"}


def cascade_figure(found: Cascade, look: Look) -> dict[str, Any]:
    """Return traces and layout of a cascade; each rung's words stand above its bar."""
    start, end = _window(found)
    look = replace(look, narrow=True)  # words stand above the bars at every width, none beside
    count = len(found.rungs)
    panel = Panel(
        axis=AXIS, height=ROW_PX * count, low=count - 0.5, high=-0.5, caption="", ticks=(), labels=()
    )
    out = frame.layout([panel], start, end, look)
    out |= {"hovermode": False, "dragmode": False}
    out["margin"]["l"] = MARGIN_PX
    out["xaxis"] |= {"fixedrange": True, "showspikes": False}
    out["annotations"] = [_words(place, rung, look) for place, rung in enumerate(found.rungs)]
    data = [trace for place, rung in enumerate(found.rungs) for trace in _rung(place, rung, end, look)]
    return {"data": data, "layout": out}


def _window(found: Cascade) -> tuple[int, int]:
    start = found.rungs[0].from_ms
    low = max(found.minutes_low, SPAN_MINUTES_MIN)
    highs = [(one.from_ms - start) / MINUTE + one.minutes_high for one in found.rungs if one.minutes_high]
    minutes = max(low * ROOM, min(max(highs, default=0), low * REACH))
    return start, start + round(minutes * MINUTE)


def _rung(place: int, rung: Rung, end: int, look: Look) -> list[Trace]:
    c, middle = look.colours, place + 0.18
    colour = c[ROLES[rung.key]]

    def bar(first: int, last: int, pattern: str, fill: str) -> Trace:
        return bars(
            [(first, last)], [middle], AXIS, colour=fill, edge=colour, height=BAR, pattern=pattern,
            ground=c["page"],
        )  # fmt: skip

    if rung.until_ms is None:
        return [bar(rung.from_ms, end, "" if rung.proven else "/", with_alpha(colour, 0.55))]
    doubted = rung.key == "rung.battery" and not rung.proven
    out = []
    if rung.minutes_low:
        out.append(bar(rung.from_ms, rung.until_ms, "/" if doubted else "", colour))
    if rung.minutes_high is not None and rung.minutes_low is not None:
        high = min(rung.from_ms + rung.minutes_high * MINUTE, end)
        if high > rung.until_ms:
            out.append(bar(rung.until_ms, high, ".", colour))
    elif rung.minutes_low:
        out.append(_open_end(rung.until_ms, end, middle, colour))
    return out


def _open_end(first: int, last: int, middle: float, colour: str) -> Trace:
    """Return a dotted line: how much longer is not known."""
    return {
        "type": "scatter", "mode": "lines", "x": [first, last], "y": [middle, middle], "xaxis": "x",
        "yaxis": AXIS, "line": {"color": colour, "width": 2, "dash": "dot"}, "hoverinfo": "none",
    }  # fmt: skip


def _words(place: int, rung: Rung, look: Look) -> dict[str, Any]:
    words = look.words
    name = words(rung.key)
    if rung.minutes_low is None or rung.until_ms is None:
        text = words("reserves.hand", name=name, clock=clock(rung.from_ms, look.zone))
    else:
        until = clock(rung.until_ms, look.zone)
        text = words("reserves.rung", name=name, minutes=rung.minutes_low, clock=until)
    return {
        "xref": "paper", "yref": AXIS, "x": 0, "y": place - TEXT_ABOVE, "xanchor": "left",
        "yanchor": "middle", "showarrow": False, "align": "left", "text": text,
        "font": {"size": 14, "color": look.colours["ink"]},
    }  # fmt: skip
