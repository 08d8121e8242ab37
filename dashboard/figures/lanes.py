"""The lanes under the curves: supply state, alarms by condition, sound paused, what was not recorded."""

from dataclasses import dataclass, replace

from dashboard.figures.frame import Look, Panel
from dashboard.figures.parts import Trace, bars, merged
from dashboard.frames import NightFrame, Stretch
from dashboard.theme import PRIORITY_ROLES

LANE, LANE_NARROW = 20, 34
PIXELS_MIN = 3
GLYPH_PX = 16
GLYPHS = ("", "●", "◆", "▲")
LETTER_PX = 7

# How a supply state is drawn: colour role, hatching. Undetermined is never drawn as normal.
STATE_LOOKS = {
    "undetermined": ("gap", "."),
    "normal": ("panel", ""),
    "stored_energy": ("after", ""),
    "bypass": ("before", "/"),
    "dead": ("ink", ""),
}
# Of several states inside one pixel the one that matters most is drawn.
STATE_WEIGHT = ("normal", "stored_energy", "undetermined", "bypass", "dead")


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """Hold one condition's bars: (start, end, priority) in UTC ms, oldest first."""

    text_key: str
    bars: tuple[tuple[int, int, int], ...]


def lanes_of(frame: NightFrame) -> list[Lane]:
    """Return a lane for each condition that stood in the window, in the order of the alarm table."""
    by_row: dict[tuple[int, str], list[tuple[int, int, int]]] = {}
    for alarm in frame.alarms:
        end = frame.end if alarm.end is None else alarm.end
        by_row.setdefault((alarm.order, alarm.key), []).append((alarm.start, end, alarm.priority))
    return [Lane(text_key=row[1], bars=tuple(sorted(by_row[row]))) for row in sorted(by_row)]


def panels(rows: list[Lane], look: Look) -> list[Panel]:
    """Return the panels of the alarm lanes and of what was not recorded."""
    height = LANE_NARROW if look.narrow else LANE
    count = max(len(rows), 1)
    labels = [look.words(row.text_key) for row in rows]
    caption = f"<b>{look.words('figure.alarms')}</b>" if look.narrow or not rows else ""
    if not rows:
        caption += "<br>" + look.words("figure.no_alarms")
    ticks = [] if look.narrow else list(range(count))[: len(rows)]
    return [
        Panel(
            axis="y7",
            height=height * count,
            low=count - 0.5,
            high=-0.5,
            caption=caption,
            ticks=ticks,
            labels=[] if look.narrow else labels,
        ),
        Panel(axis="y8", height=16, low=0, high=1, caption=look.words("figure.unrecorded"), ticks=()),
    ]


def alarms(rows: list[Lane], frame: NightFrame, look: Look) -> list[Trace]:
    """Return bars and their shapes; each bar carries the window that a click on it opens."""
    pixel = (frame.end - frame.start) / look.plot_width
    out = []
    for priority in (1, 2, 3):
        spans, places, targets = [], [], []
        for place, row in enumerate(rows):
            mine = [(start, end) for start, end, level in row.bars if level == priority]
            for start, end in merged(mine, pixel):
                spans.append((start, round(max(end, start + PIXELS_MIN * pixel))))
                places.append(float(place))
                targets.append([start, end])
        if spans:
            out.append(_bars(spans, places, targets, priority, look))
            room = GLYPH_PX * pixel
            out.append(_glyphs(spans, places, targets, priority, look, frame.start + room, room))
    if look.narrow and rows:
        out.append(_names(rows, frame, look))
    return out


def _bars(
    spans: list[tuple[int, int]], places: list[float], targets: list[list[int]], priority: int, look: Look
) -> Trace:
    c = look.colours
    height = 0.4 if look.narrow else 0.62
    lifted = [place + 0.2 for place in places] if look.narrow else places
    drawn = bars(spans, lifted, "y7", colour=c[PRIORITY_ROLES[priority]], edge=c["ink"], height=height)
    return drawn | {"customdata": targets, "name": look.words(f"priority.{PRIORITY_ROLES[priority]}")}


def _glyphs(
    spans: list[tuple[int, int]],
    places: list[float],
    targets: list[list[int]],
    priority: int,
    look: Look,
    edge: float,
    room: float,
) -> Trace:
    """Return the shapes of a priority, left of their bars; behind a bar that begins before `edge`.

    Where bars follow closer than a shape is wide, the first one's stands for them.
    """
    kept = [row for row in range(len(spans)) if not _crowded(spans, places, row, room)]
    spans, places = [spans[row] for row in kept], [places[row] for row in kept]
    targets = [targets[row] for row in kept]
    return {
        "type": "scatter",
        "mode": "text",
        "x": [start if start >= edge else end for start, end in spans],
        "y": [place + 0.2 for place in places] if look.narrow else places,
        "text": [GLYPHS[priority]] * len(spans),
        "textposition": ["middle left" if start >= edge else "middle right" for start, _ in spans],
        "textfont": {"size": 11, "color": look.colours["ink"]},
        "customdata": targets,
        "xaxis": "x",
        "yaxis": "y7",
        "hoverinfo": "none",
        "cliponaxis": False,
    }


def _crowded(spans: list[tuple[int, int]], places: list[float], row: int, room: float) -> bool:
    """Tell whether the bar before this one in its lane ends too near for a shape between them."""
    return row > 0 and places[row - 1] == places[row] and spans[row][0] - spans[row - 1][1] < room


def _names(rows: list[Lane], frame: NightFrame, look: Look) -> Trace:
    return {
        "type": "scatter",
        "mode": "text",
        "x": [frame.start] * len(rows),
        "y": [place - 0.26 for place in range(len(rows))],
        "text": [look.words(row.text_key) for row in rows],
        "textposition": "middle right",
        "textfont": {"size": 11, "color": look.colours["ink"]},
        "xaxis": "x",
        "yaxis": "y7",
        "hoverinfo": "skip",
    }


def squeezed(bands: list[Stretch], pixel_ms: float) -> list[Stretch]:
    """Make every state at least a pixel wide; of what a pixel holds, the state that matters most is kept."""
    out: list[Stretch] = []
    for band in bands:
        last = out[-1] if out else None
        if last is not None and band.start < last.end:
            # Inside the pixel that a short one before it took.
            if STATE_WEIGHT.index(band.name) > STATE_WEIGHT.index(last.name):
                out[-1] = last = replace(last, name=band.name)
            if band.end <= last.end:
                continue
            band = replace(band, start=last.end)
        if last is not None and last.name == band.name and last.end == band.start:
            out[-1] = replace(last, end=band.end)
        else:
            out.append(replace(band, end=max(band.end, round(band.start + pixel_ms))))
    return out


def states(frame: NightFrame, look: Look) -> list[Trace]:
    """Return the band of supply states, in words where there is room."""
    pixel = (frame.end - frame.start) / look.plot_width
    found = squeezed(frame.states, pixel)
    out = []
    for name, (role, pattern) in STATE_LOOKS.items():
        mine = [(band.start, band.end) for band in found if band.name == name]
        if mine:
            out.append(_state(mine, name, role, pattern, look, pixel))
    return out


def _state(
    spans: list[tuple[int, int]], name: str, role: str, pattern: str, look: Look, pixel: float
) -> Trace:
    c = look.colours
    word = look.words(f"state.short.{name}")
    room = len(word) * LETTER_PX * pixel
    drawn = bars(
        spans, [0.5] * len(spans), "y3", colour=c[role], edge=c["edge"], height=1.0, pattern=pattern,
        ground=c["page"],
    )  # fmt: skip
    solid = role in ("ink", "after") and not pattern
    drawn |= {
        "text": [word if end - start > room else "" for start, end in spans],
        "textposition": "inside",
        "insidetextanchor": "middle",
        "textangle": 0,
        "textfont": {"size": 12, "color": c["page"] if solid else c["ink"]},
        "name": word,
    }
    return drawn


def unrecorded(frame: NightFrame, look: Look) -> list[Trace]:
    """Return the lane of stretches without any record, and of records lost for good."""
    pixel = (frame.end - frame.start) / look.plot_width
    c = look.colours
    out = []
    kinds = ((frame.dark, "/", "figure.unmonitored"), (frame.gaps, "x", "figure.lost"))
    for found, pattern, key in kinds:
        spans = merged([(one.start, max(one.end, one.start + 1)) for one in found], pixel)
        wide = [(start, round(max(end, start + PIXELS_MIN * pixel))) for start, end in spans]
        if wide:
            drawn = bars(
                wide, [0.5] * len(wide), "y8", colour=c["ink"], edge=c["edge"], height=1.0, pattern=pattern,
                ground=c["page"],
            )  # fmt: skip
            out.append(drawn | {"customdata": [list(span) for span in spans], "name": look.words(key)})
    return out
