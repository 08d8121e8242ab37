"""What was entered by hand, as points with their values beside the trends: one lane a quantity.

No line joins them: between two readings nobody looked.
"""

from dashboard.figures.frame import Look, Panel
from dashboard.figures.parts import Trace
from dashboard.formats import number
from dashboard.frames import NightFrame
from dashboard.texts import Words
from ingest.analysis.hand import ENTRIES, HandPoint, by_entry

AXIS = "y9"
LANE, LANE_NARROW = 22, 36
LETTER_PX, GLYPH_PX = 8, 12


def panels(frame: NightFrame, look: Look) -> list[Panel]:
    """Return the panel of what was entered by hand, none where nothing was."""
    rows = by_entry(frame.hand)
    if not rows:
        return []
    count = len(rows)
    return [
        Panel(
            axis=AXIS, height=(LANE_NARROW if look.narrow else LANE) * count, low=count - 0.5, high=-0.5,
            caption=f"<b>{look.words('figure.hand')}</b>" if look.narrow else "",
            ticks=[] if look.narrow else list(range(count)),
            labels=[] if look.narrow else [_name(what, look) for what in rows],
        )
    ]  # fmt: skip


def traces(frame: NightFrame, look: Look) -> list[Trace]:
    """Return the points; a value is written beside its point where the next one leaves room."""
    pixel = (frame.end - frame.start) / look.plot_width
    out = []
    for place, (what, mine) in enumerate(by_entry(frame.hand).items()):
        lifted = place + (0.18 if look.narrow else 0)
        texts = _texts(mine, pixel, look.words)
        out.append(
            {
                "type": "scatter",
                "mode": "markers+text",
                "x": [one.at_ms for one in mine],
                "y": [lifted] * len(mine),
                "text": texts,
                "textposition": "middle right",
                "textfont": {"size": 12, "color": look.colours["ink"]},
                "marker": {"color": look.colours["ink"], "symbol": "diamond-open", "size": 9},
                "xaxis": "x",
                "yaxis": AXIS,
                "hoverinfo": "none",
                "cliponaxis": False,
                "name": _name(what, look),
            }
        )
    if look.narrow and out:
        out.append(_names(frame, look))
    return out


def _name(what: str, look: Look) -> str:
    unit = look.words("data", text=ENTRIES[what].unit)
    return look.words("figure.hand_lane", what=look.words(f"entry.{what}"), unit=unit)


def value_words(one: HandPoint, words: Words) -> str:
    """Return a value with its unit."""
    entry = ENTRIES[one.what]
    unit = words("data", text=entry.unit)
    return words("entry.value", value=number(one.value, entry.decimals), unit=unit)


def _texts(mine: list[HandPoint], pixel_ms: float, words: Words) -> list[str]:
    """Return the values; where the next point comes too soon the later one is said, the newest always."""
    out = []
    for one, following in zip(mine, [*mine[1:], None], strict=True):
        value = words("entry.bare", value=number(one.value, ENTRIES[one.what].decimals))
        room = (len(value) * LETTER_PX + GLYPH_PX) * pixel_ms
        out.append(value if following is None or following.at_ms - one.at_ms > room else "")
    return out


def _names(frame: NightFrame, look: Look) -> Trace:
    rows = by_entry(frame.hand)
    return {
        "type": "scatter",
        "mode": "text",
        "x": [frame.start] * len(rows),
        "y": [place - 0.28 for place in range(len(rows))],
        "text": [_name(what, look) for what in rows],
        "textposition": "middle right",
        "textfont": {"size": 11, "color": look.colours["ink"]},
        "xaxis": "x",
        "yaxis": AXIS,
        "hoverinfo": "skip",
    }
