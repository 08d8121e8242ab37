"""Draw the figures of a study for print: matplotlib without a display, every word from the catalogue."""

import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
import matplotlib.dates as mdates
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import NullFormatter

from dashboard.formats import number
from dashboard.reports.decimals import mark_decimals
from dashboard.reports.study_tables import Case, harmonics, times
from dashboard.texts import Number, Words
from dashboard.theme import PALETTE
from ingest.analysis.supply import classify

COLOURS = PALETTE["paper"]
INK, SOFT, RULE = COLOURS["ink"], COLOURS["soft"], COLOURS["rule"]
WIDTH_IN = 7.0
STYLE: Any = {
    "font.family": "DejaVu Sans", "font.size": 8.5, "axes.edgecolor": SOFT, "axes.labelcolor": INK,
    "xtick.color": SOFT, "ytick.color": SOFT, "axes.spines.top": False, "axes.spines.right": False,
    "axes.linewidth": 0.7, "text.color": INK, "svg.hashsalt": "nightkeel", "svg.fonttype": "path",
    "legend.frameon": False, "legend.fontsize": 8, "hatch.linewidth": 0.5, "hatch.color": COLOURS["gap"],
}  # fmt: skip
SHORTEST_S, LONGEST_S = 0.01, 1000.0
SHAPES_MAX = 2000
"""More marks than this become pixels inside the drawing: a page of 20 000 shapes takes a minute to set."""
Axes = Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """Hold one figure: its name, its caption, and the same picture as SVG and PNG."""

    name: str
    caption: str
    svg: bytes
    png: bytes


Draw = Callable[[Case, Words, Axes], str | None]


def draw_all(case: Case, words: Words, zone: str) -> list[Drawn]:
    """Draw each figure for which there is something to draw."""
    out = []
    with mpl.rc_context(STYLE):
        for name, (make, height_in) in FIGURES.items():
            figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
            FigureCanvasAgg(figure)
            caption = make(case, words, figure.subplots())
            if caption is None:
                continue
            mark_decimals(figure, words)
            if case.site.module.emulated:
                title = words("study.simulated").split(".")[0]
                figure.axes[0].set_title(title, loc="right", fontsize=8, fontweight="bold", color=SOFT)
            out.append(
                Drawn(
                    name=name, caption=caption.replace("{zone}", zone), svg=_saved(figure, "svg"),
                    png=_saved(figure, "png"),
                )
            )  # fmt: skip
    return out


def _saved(figure: Figure, form: str) -> bytes:
    out = io.BytesIO()
    # Without a date the same data give the same bytes.
    plain: dict[str, Any] = {"Date": None} if form == "svg" else {"Software": None}
    figure.savefig(out, format=form, dpi=160, metadata=plain)
    return out.getvalue()


def _percent(value: float) -> Number:
    return number(value, 1)


def voltage(case: Case, words: Words, axes: Axes) -> str | None:
    """Draw the 10-min voltage over time, gaps hatched."""
    table, record = case.site.record.ten_minutes, case.site.record
    if np.isnan(table.rms_v).all():
        return None
    middle = times(table.start_s + table.interval_s / 2).tz_localize(None)
    colour = COLOURS["after" if case.site.tap else "before"]
    many = len(table) > SHAPES_MAX
    axes.fill_between(middle, table.low_v, table.high_v, color=colour, alpha=0.22, linewidth=0,
                      rasterized=many)  # fmt: skip
    axes.plot(middle, table.rms_v, color=colour, linewidth=0.4 if many else 1.1, marker="" if many else ".",
              markersize=2, rasterized=many, label=words("study.key.rms"))  # fmt: skip
    if record.nominal_v:
        for part in (0.9, 1.1):
            axes.axhline(record.nominal_v * part, color=SOFT, linewidth=0.8, linestyle=(0, (2, 3)))
        axes.plot([], [], color=SOFT, linewidth=0.8, linestyle=(0, (2, 3)), label=words("study.key.limits"))
    for gap in record.gaps:
        low, high = times([gap.start_s, gap.end_s]).tz_localize(None)
        axes.axvspan(low, high, facecolor="none", hatch="////", edgecolor=COLOURS["gap"], linewidth=0)
    axes.set_xlim(*times([record.begin_s, record.end_s]).tz_localize(None))
    dates: Any = mdates
    axes.xaxis.set_major_formatter(dates.ConciseDateFormatter(axes.xaxis.get_major_locator()))
    axes.set(ylabel=words("study.axis.volts"), xlabel=words("study.axis.time", zone="UTC"))
    axes.legend(loc="lower left", ncols=2)
    return words("study.figure.voltage", percent=_percent(case.study.coverage_percent))


def itic(case: Case, words: Words, axes: Axes) -> str | None:
    """Draw magnitude against duration with the ITIC envelope."""
    found = [e for e in case.site.record.events if e.kind in ("dip", "swell")]
    if case.site.record.nominal_v is None:
        return None
    at = np.geomspace(SHORTEST_S, LONGEST_S, 600)
    many = len(found) > SHAPES_MAX
    # A cloud must not hide the curves.
    above = {"zorder": 4}
    lower = [100 * classify.lower_limit("ITIC", t) for t in at]
    axes.plot(at, lower, color=INK, linewidth=1.2, label=words("study.key.itic"), **above)
    axes.plot(at, [100 * classify.itic_upper_limit(t) for t in at], color=INK, linewidth=1.2, **above)
    axes.plot(at, [100 * classify.lower_limit("SEMI F47", t) for t in at], color=SOFT, linewidth=0.9,
              linestyle="--", label=words("study.key.semi"), **above)  # fmt: skip
    for kind, marker, colour in (("dip", "o", "before"), ("swell", "^", "after")):
        for open_, face in ((False, COLOURS[colour]), (True, "none")):
            here = [e for e in found if e.kind == kind and (e.still_open or e.clipped) is open_]
            length = [min(max(e.duration_s, SHORTEST_S), LONGEST_S) for e in here]
            axes.scatter(length, [100 * e.extreme_pu for e in here], s=3 if many else 20, marker=marker,
                         facecolors=face, edgecolors=COLOURS[colour], linewidths=0.5 if many else None,
                         alpha=0.5 if many else 0.85, zorder=3, clip_on=False, rasterized=many,
                         label=words(f"study.kind.{kind}") if here and not open_ else None)  # fmt: skip
    axes.set_xscale("log")
    top = max([130.0, *(100 * e.extreme_pu + 5 for e in found)])
    axes.set(xlim=(SHORTEST_S, LONGEST_S), ylim=(0, top), xlabel=words("study.axis.seconds"),
             ylabel=words("study.axis.percent"))  # fmt: skip
    axes.grid(color=RULE, linewidth=0.5)
    axes.legend(loc="lower right", ncols=2)
    return words("study.figure.itic", n=len(found), percent=_percent(case.study.coverage_percent))


def curve(case: Case, words: Words, axes: Axes) -> str | None:
    """Draw the duration curve, one line a calibration."""
    parts = [p for p in case.study.voltage if len(p.curve_v)]
    if not parts:
        return None
    for number_, part in enumerate(parts):
        axes.step(part.curve_percent, part.curve_v, color=COLOURS["before"], linewidth=1.2,
                  linestyle=("-", "--", ":")[number_ % 3])  # fmt: skip
    nominal = case.site.record.nominal_v
    for part_of in (0.9, 1.1) if nominal else ():
        axes.axhline((nominal or 0) * part_of, color=SOFT, linewidth=0.8, linestyle=(0, (2, 3)))
    axes.set(xlim=(0, 100), xlabel=words("study.axis.share"), ylabel=words("study.axis.volts"))
    return words("study.figure.curve", percent=_percent(case.study.coverage_percent))


def histogram(case: Case, words: Words, axes: Axes) -> str | None:
    """Draw the hours in each class of voltage, one outline a calibration."""
    parts = [p for p in case.study.voltage if p.histogram.hours.any()]
    if not parts:
        return None
    for number_, part in enumerate(parts):
        axes.stairs(part.histogram.hours, part.histogram.edges_v, fill=len(parts) == 1,
                    color=COLOURS["before"], linestyle=("-", "--", ":")[number_ % 3])  # fmt: skip
    nominal = case.site.record.nominal_v
    for part_of in (0.9, 1.1) if nominal else ():
        axes.axvline((nominal or 0) * part_of, color=SOFT, linewidth=0.8, linestyle=(0, (2, 3)))
    # Rare classes matter most: the axis begins just below one interval of ten minutes.
    axes.set_yscale("log")
    axes.set(ylim=(0.1, None), xlabel=words("study.axis.volts"), ylabel=words("study.axis.measured"))
    axes.yaxis.set_major_formatter(lambda hours, _: f"{hours:g}")
    axes.yaxis.set_minor_formatter(NullFormatter())
    return words("study.figure.histogram", percent=_percent(case.study.coverage_percent))


def week(case: Case, words: Words, axes: Axes) -> str | None:
    """Draw the hour-by-weekday map of interruptions; what was never watched is hatched."""
    found = case.study.week
    begun = np.where(found.watched_h > 0, found.begun, np.nan)
    top = max(1.0, float(found.begun.max()))
    shades = mpl.colors.LinearSegmentedColormap.from_list("outages", [COLOURS["panel"], COLOURS["after"]])
    axes.pcolormesh(np.arange(25), np.arange(8), np.ma.masked_invalid(begun), cmap=shades, vmin=0, vmax=top,
                    edgecolors="white", linewidth=1)  # fmt: skip
    for day in range(7):
        for hour in range(24):
            if found.watched_h[day, hour] <= 0:
                axes.add_patch(Rectangle((hour, day), 1, 1, fill=False, hatch="////", linewidth=0,
                                         edgecolor=COLOURS["gap"]))  # fmt: skip
            elif found.minutes[day, hour] >= 0.05:
                minutes = float(found.minutes[day, hour])
                text = words.number(number(minutes, 0 if minutes >= 10 else 1))
                axes.text(hour + 0.5, day + 0.5, text, ha="center", va="center", fontsize=6.5)
    axes.set(xlim=(0, 24), ylim=(7, 0), xticks=range(0, 25, 3), xlabel=words("study.axis.hour"))
    axes.set_yticks(np.arange(7) + 0.5, [words(f"study.day.{day}") for day in range(7)])
    return words("study.figure.week", zone="{zone}", percent=_percent(case.study.coverage_percent))


def spectrum(case: Case, words: Words, axes: Axes) -> str | None:
    """Draw harmonics beside their limits."""
    table, percent = harmonics(case), case.site.record.harmonics_percent
    if percent is None or table.empty:
        return None
    axes.bar(table["order"], table["p95_percent"], color=COLOURS["before"], width=0.62,
             label=words("study.key.measured"))  # fmt: skip
    axes.scatter(table["order"], table["limit_percent"], marker="_", s=90, color=INK, zorder=3,
                 label=words("study.key.limit"))  # fmt: skip
    axes.set(xticks=range(2, int(table["order"].max()) + 1), xlabel=words("study.axis.order"),
             ylabel=words("study.axis.of_fundamental"))  # fmt: skip
    axes.legend(loc="upper right")
    share = 100.0 * float((~np.isnan(percent[:, 0])).mean())
    return words("study.figure.harmonics", n=case.site.snapshots, percent=_percent(share))


def sizing(case: Case, words: Words, axes: Axes) -> str | None:
    """Draw how many interruptions a battery of so many minutes would have carried."""
    if not any(c.outages for c in case.study.sizing):
        return None
    for line, c in zip(("-", "--", ":"), case.study.sizing, strict=False):
        label = words("study.key.window", low=number(100 * c.window_low_pu, 1),
                      high=number(100 * c.window_high_pu, 1))  # fmt: skip
        axes.step(c.battery_min, c.ridden, where="post", color=COLOURS["before"], linestyle=line, label=label)
        if not np.array_equal(c.ridden, c.ridden_sure):
            axes.step(c.battery_min, c.ridden_sure, where="post", color=SOFT, linestyle=line, linewidth=0.8)
    top = max(c.outages for c in case.study.sizing)
    axes.set(xlim=(0, 120), ylim=(0, top * 1.05 + 0.5), xlabel=words("study.axis.battery"),
             ylabel=words("study.axis.ridden"))  # fmt: skip
    axes.legend(loc="lower right")
    return words("study.figure.sizing", percent=_percent(case.study.coverage_percent))


def survival(case: Case, words: Words, axes: Axes) -> str | None:
    """Draw the Kaplan-Meier curve of good supply."""
    at, part = case.study.survival
    if len(at) < 2:
        return None
    axes.step(np.r_[0, at / 3600], np.r_[1, part], where="post", color=COLOURS["before"])
    axes.set(ylim=(0, 1.02), xlim=(0, None), xlabel=words("study.axis.hours"),
             ylabel=words("study.axis.lasting"))  # fmt: skip
    return words("study.figure.survival", percent=_percent(case.study.coverage_percent))


def ride(case: Case, words: Words, axes: Axes) -> str | None:
    """Draw each dip that equipment was watched through, and the limits that its trips leave."""
    known = [t for t in case.study.trials if t.tripped is not None]
    if not known:
        return None
    for tripped, marker, colour, key in (
        (False, "o", "before", "study.key.survived"), (True, "X", "after", "study.key.tripped"),
    ):  # fmt: skip
        here = [t for t in known if t.tripped is tripped]
        length = [min(max(t.duration_s, SHORTEST_S), LONGEST_S) for t in here]
        axes.scatter(length, [100 * t.residual_pu for t in here], marker=marker, s=30, alpha=0.85,
                     color=COLOURS[colour], rasterized=len(known) > SHAPES_MAX,
                     label=words(key) if here else None)  # fmt: skip
    for number_, name in enumerate(sorted({t.equipment for t in known})):
        rows = [r for r in case.study.ride_through if r.equipment == name and r.tripped_up_to_pu is not None]
        for n, row in enumerate(rows):
            ends = (max(row.longer_than_s, SHORTEST_S), min(row.up_to_s, LONGEST_S))
            axes.plot(ends, [100 * (row.tripped_up_to_pu or 0)] * 2, color=COLOURS["after"], linewidth=1.1,
                      linestyle=("-", "--", ":", "-.")[number_ % 4],
                      label=None if n else words("study.key.trip_limit", name=name))  # fmt: skip
    axes.set_xscale("log")
    axes.set(xlim=(SHORTEST_S, LONGEST_S), ylim=(0, 100), xlabel=words("study.axis.seconds"),
             ylabel=words("study.axis.percent"))  # fmt: skip
    axes.legend(loc="lower right")
    return words("study.figure.ride", percent=_percent(case.study.coverage_percent))


FIGURES: dict[str, tuple[Draw, float]] = {
    "voltage": (voltage, 2.5),
    "magnitude_duration": (itic, 3.6),
    "duration_curve": (curve, 2.3),
    "histogram": (histogram, 2.3),
    "week": (week, 2.4),
    "harmonics": (spectrum, 2.5),
    "sizing": (sizing, 2.5),
    "survival": (survival, 2.2),
    "ride_through": (ride, 2.6),
}
