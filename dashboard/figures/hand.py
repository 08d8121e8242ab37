"""What was entered by hand, as points with their values beside the trends: one lane a quantity.

No line joins them: between two readings nobody looked.
"""

from dashboard.figures.frame import Look, Panel
from dashboard.figures.parts import Trace, named_points, words_that_fit
from dashboard.formats import number
from dashboard.frames import NightFrame
from dashboard.texts import Words
from ingest.analysis.hand import ENTRIES, HandPoint, by_entry

AXIS = "y9"
LANE, LANE_NARROW = 22, 36


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
        times = [one.at_ms for one in mine]
        texts = words_that_fit(times, [_bare(one, look.words) for one in mine], pixel)
        ink, name = look.colours["ink"], _name(what, look)
        out.append(named_points(times, lifted, texts, AXIS, ink, "diamond-open", name))
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


def _bare(one: HandPoint, words: Words) -> str:
    return words("entry.bare", value=number(one.value, ENTRIES[one.what].decimals))


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
