"""The three stations of Now: supply, oxygen, breathing; reading, unit, direction, age, limits."""

from dash import html
from dash.development.base_component import Component

from dashboard.components import attributes, since
from dashboard.formats import MISSING, number
from dashboard.frames import NowFrame
from dashboard.view import View

# A change over five minutes smaller than this reads as steady.
STEADY = {"supply_in": 3.0, "supply_out": 2.0, "oxygen": 0.7, "pressure": 1.0}
ARROWS = {"rising": "↗", "falling": "↘", "steady": "→"}
# With these the number itself means nothing and is not shown.
BLIND = ("stuck", "saturated", "open", "short")


def direction(change: float | None, quantity: str) -> str | None:
    """Return 'rising', 'falling', 'steady', or None when it isn't known."""
    if change is None:
        return None
    if abs(change) < STEADY[quantity]:
        return "steady"
    return "rising" if change > 0 else "falling"


def reading(
    value: float | None, digits: int, unit: str, role: str, note: str, view: View, *, large: bool = True,
    way: str | None = None, doubtful: bool = False,
) -> Component:  # fmt: skip
    """Return one number with its unit, its direction in words, and what it is."""
    words = view.words
    parts = [
        html.Span(words.number(number(value, digits)), className="value"),
        html.Span(words("data", text=unit), className="unit"),
    ]
    if way is not None and value is not None:
        parts.append(
            html.Span(
                [
                    html.Span(ARROWS[way], **attributes(aria_hidden="true")),
                    " ",
                    html.Span(words(f"now.{way}")),
                ],
                className="direction",
            )
        )
    return html.Div(
        [html.Div(parts, className="figure"), html.Div(note, className="note")],
        className=f"reading {'large' if large else 'small'} of-{role}{' doubtful' if doubtful else ''}",
    )


def station(title: str, said: str, parts: list[Component], frame: NowFrame, view: View) -> Component:
    """Return one station: title, a sentence on its state, readings, age."""
    words = view.words
    age = html.P(
        [since(frame.t, view, "now.age"), html.Span(words("now.stale"), className="old-word")],
        className="measured",
    )
    return html.Article(
        [html.H2(words(title)), html.P(said, className="said"), *parts, age], className="station"
    )


def _seen(frame: NowFrame, channel: str, value: float | None) -> float | None:
    return None if frame.conditions[channel] in BLIND else value


def _sensor(frame: NowFrame, channels: tuple[str, ...], view: View) -> str:
    found = [frame.conditions[name] for name in channels if frame.conditions[name] != "ok"]
    return " · ".join(view.words(f"sensor.{name}") for name in found)


def _limits(frame: NowFrame, low: str, high: str, view: View) -> str:
    if low not in frame.limits or high not in frame.limits:
        return ""
    return view.words("now.range", low=number(frame.limits[low], 0), high=number(frame.limits[high], 0))


def _notes(parts: list[str]) -> Component:
    return html.P(" · ".join(part for part in parts if part), className="limits")


def supply(frame: NowFrame, view: View) -> Component:
    """Return the station of the supply: both sides of the UPS and what its state is, in words."""
    words, read = view.words, frame.readings
    said = [words(f"now.state.{frame.supply_state}")]
    battery = read.get("battery")
    if frame.supply_state in ("stored_energy", "normal"):
        known = battery is not None and "battery_proven" in frame.flags
        said.append(
            words("now.battery_left", minutes=int((battery or 0) // 60))
            if known
            else words("now.battery_not_proven")
        )
    volts = [(_seen(frame, f"supply_{side}", read[f"{side}_rms"]), side) for side in ("in", "out")]
    parts = [
        reading(
            value, 0, words("unit.V"), role, words(f"now.{role}"), view,
            way=direction(frame.change[f"supply_{side}"], f"supply_{side}"),
        )
        for (value, side), role in zip(volts, ("before", "after"), strict=True)
    ]  # fmt: skip
    hertz = words(
        "now.frequency", hz=number(read["in_frequency"], 1), hz_out=number(read["out_frequency"], 1)
    )
    clipped = words("now.clipped") if {"clipped_in", "clipped_out"} & frame.flags else ""
    window = _limits(frame, "supply.window_low", "supply.window_high", view)
    notes = _notes([hertz, window, clipped, _sensor(frame, ("supply_in", "supply_out"), view)])
    return station("now.supply", " ".join(said), [*parts, notes], frame, view)


def oxygen(frame: NowFrame, view: View) -> Component:
    """Return the station of the oxygen source; a reading that isn't current is drawn as old."""
    words = view.words
    value = _seen(frame, "oxygen", frame.readings["oxygen"])
    part = reading(
        value, 1, words("unit.percent"), "oxygen", words("now.purity"), view,
        way=direction(frame.change["oxygen"], "oxygen"),
        doubtful=frame.oxygen_state in ("not_current", "fault", "implausible"),
    )  # fmt: skip
    low = frame.limits.get("oxygen.low")
    limit = "" if low is None else words("now.at_least", low=number(low, 0))
    notes = _notes([limit, _sensor(frame, ("oxygen",), view)])
    return station("now.oxygen", words(f"now.oxygen.{frame.oxygen_state}"), [part, notes], frame, view)


def breathing(frame: NowFrame, view: View) -> Component:
    """Return the station of the circuit: peak, end-expiratory, mean, rate of the last breath."""
    words, breath, unit = view.words, frame.breath, view.words(f"unit.{view.unit}")
    seen = None if breath is None else _seen(frame, "pressure", breath.peak)
    parts = [
        reading(
            seen, 1, unit, "pressure", words("now.peak"), view,
            way=direction(frame.change["pressure"], "pressure"),
        ),
    ]  # fmt: skip
    if breath is None or seen is None:
        said = words("now.no_breath")
    else:
        said = words("now.rate", value=number(breath.rate, 1) if breath.rate is not None else MISSING)
        parts.append(
            _notes(
                [
                    words("now.end", value=number(breath.end_expiratory, 1)),
                    words("now.mean", value=number(breath.mean, 1)),
                ]
            )
        )
        parts.append(html.P(since(breath.t, view, "now.breath_age"), className="limits"))
    if frame.mode == "spontaneous" and frame.preset != "adult":
        parts.append(html.P(words("now.small_draw_over"), className="limits"))
    limits = _limits(frame, "pressure.disconnect", "pressure.high", view)
    parts.append(_notes([limits, _sensor(frame, ("pressure",), view)]))
    return station("now.breathing", said, parts, frame, view)
