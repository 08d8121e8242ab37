"""The trend figure of the handover: five panels over one time axis, told apart without any colour."""

import io
from typing import Any

import matplotlib.dates as mdates
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from dashboard.figures.lanes import GLYPHS
from dashboard.frames import Envelope, NightFrame, Times
from dashboard.reports.decimals import mark_decimals
from dashboard.texts import Words
from dashboard.theme import PRIORITY_ROLES
from dashboard.units import unit_word
from dashboard.view import View

SIZE_IN = (7.6, 3.75)
HEIGHTS = (1.25, 0.9, 1.25, 0.7, 0.75)
INK, SOFT, SHADE = "#000000", "#666666", "#bbbbbb"
FONT_PT = 7.0


def trend_svg(frame: NightFrame, view: View) -> str:
    """Return the figure as SVG text; `frame` holds pressure in the view's unit."""
    figure = Figure(figsize=SIZE_IN)
    axes = figure.subplots(
        len(HEIGHTS), 1, sharex=True, gridspec_kw={"height_ratios": HEIGHTS, "hspace": 0.16}
    )
    for draw, one in zip((_supply, _oxygen, _pressure, _rate, _lanes), axes, strict=True):
        draw(one, frame, view)
        _dress(one, frame)
    _time_axis(axes[-1], frame, view)
    mark_decimals(figure, view.words)
    figure.subplots_adjust(left=0.185, right=0.975, top=0.99, bottom=0.06)
    out = io.StringIO()
    # No date and a fixed salt: the same night gives the same bytes.
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    return text[text.index("<svg") :]


def _days(t: Times) -> Any:
    return t / 86_400_000.0


def _dress(axes: Axes, frame: NightFrame) -> None:
    axes.set_xlim(_days(np.array(frame.start)), _days(np.array(frame.end)))
    axes.tick_params(labelsize=FONT_PT, length=2, width=0.5, pad=2)
    axes.grid(visible=True, axis="x", color="#dddddd", linewidth=0.4)
    for side in axes.spines.values():
        side.set_linewidth(0.5)
    for dark in frame.dark:
        axes.axvspan(
            float(_days(np.array(dark.start))), float(_days(np.array(dark.end))),
            facecolor="none", edgecolor=SOFT, hatch="/////", linewidth=0,
        )  # fmt: skip


def _label(axes: Axes, title: str, *keys: str) -> None:
    text = "\n".join([title, *keys])
    axes.set_ylabel(
        text, fontsize=FONT_PT - 0.5, rotation=0, ha="left", va="center", labelpad=4, linespacing=1.25
    )
    axes.yaxis.set_label_coords(-0.232, 0.5)


def _curve(axes: Axes, t: Times, values: Envelope, style: str, *, band: bool = True) -> None:
    if not len(t):
        return
    # A hole is no line: NaN between points further apart than the usual bin.
    steps = np.diff(t)
    holes = np.flatnonzero(steps > 3 * max(float(np.median(steps)) if len(steps) else 0.0, 1000.0)) + 1
    days = np.insert(_days(t).astype(float), holes, np.nan)
    low, high, mean = (np.insert(v, holes, np.nan) for v in (values.low, values.high, values.mean))
    if band:
        axes.fill_between(days, low, high, color=SHADE, linewidth=0)
    axes.plot(days, mean, style, color=INK, linewidth=0.8)


def _supply(axes: Axes, frame: NightFrame, view: View) -> None:
    words = view.words
    _curve(axes, frame.t, frame.supply_in, "-")
    _curve(axes, frame.t, frame.supply_out, "--", band=False)
    before, after = words("figure.before"), words("figure.after")
    _label(axes, words("figure.supply"), f"— {before}", f"- - {after}")


def _oxygen(axes: Axes, frame: NightFrame, view: View) -> None:
    _curve(axes, frame.t, frame.oxygen, "-")
    _limits(axes, frame, "oxygen.low")
    _label(axes, view.words("figure.oxygen"))


def _pressure(axes: Axes, frame: NightFrame, view: View) -> None:
    words = view.words
    if frame.breaths is not None:
        _curve(axes, frame.breaths.t, frame.breaths.peak, "-")
        _curve(axes, frame.breaths.t, frame.breaths.end, "--", band=False)
    _limits(axes, frame, "pressure.high", "pressure.disconnect")
    title = words("figure.pressure", unit=unit_word(view.unit, words))
    _label(axes, title, f"— {words('handover.peak')}", f"- - {words('handover.end')}")


def _rate(axes: Axes, frame: NightFrame, view: View) -> None:
    if frame.breaths is not None:
        _curve(axes, frame.breaths.t, frame.breaths.rate, "-")
    _label(axes, view.words("figure.rate"))


def _limits(axes: Axes, frame: NightFrame, *names: str) -> None:
    for name in names:
        kept = frame.limits.get(name, [])
        t = np.array([one.since for one in kept] + [frame.end], np.int64)
        if kept:
            values = [one.value for one in kept]
            axes.step(_days(t), [*values, values[-1]], ":", where="post", color=SOFT, linewidth=0.8)


def _lanes(axes: Axes, frame: NightFrame, view: View) -> None:
    """Draw alarms as bars in one lane a priority; the shape is named beside the lane."""
    for alarm in frame.alarms:
        end = frame.end if alarm.end is None else alarm.end
        start = max(alarm.start, frame.start)
        least = (frame.end - frame.start) // 400
        width = _days(np.array(max(end - start, least)))
        axes.barh(
            alarm.priority, width, left=_days(np.array(start)), height=0.6,
            color=(SHADE, SHADE, SOFT, INK)[alarm.priority], linewidth=0,
        )  # fmt: skip
    axes.set_ylim(0.4, 3.6)
    axes.set_yticks([1, 2, 3], [_lane(level, view.words) for level in (1, 2, 3)])
    _label(axes, view.words("figure.alarms"))


def _lane(level: int, words: Words) -> str:
    return f"{GLYPHS[level]} {words(f'handover.lane_{PRIORITY_ROLES[level]}')}"


def _time_axis(axes: Axes, frame: NightFrame, view: View) -> None:
    hours = (frame.end - frame.start) / 3_600_000
    dates: Any = mdates
    axes.xaxis.set_major_locator(dates.AutoDateLocator(tz=view.zone, maxticks=14))
    form = "%H:%M" if hours > 0.2 else "%H:%M:%S"
    axes.xaxis.set_major_formatter(dates.DateFormatter(form, tz=view.zone))
