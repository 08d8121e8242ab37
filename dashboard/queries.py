"""Ask the store what a page shows, reduced to the pixels; nothing here draws, nothing there reads."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from dashboard.frames import (
    Alarm,
    Breath,
    BreathBins,
    Envelope,
    Floats,
    Limit,
    Link,
    NightFrame,
    NowFrame,
    Stretch,
    Wave,
)
from dashboard.links import Place
from ingest.analysis.hand import hand_points
from ingest.analysis.upkeep import entries, log_marks
from ingest.store.reader import AlarmInterval, Latest, Module, Night, Reader, Trends, open_reader, tables

QUANTITIES = ("supply_in", "supply_out", "oxygen", "pressure")
# Breath rows are read one by one up to this window; beyond it the rolled-up trends stand in.
BREATHS_MS_MAX = 4 * 86_400_000
# The true waveform is read up to this window.
WAVE_MS_MAX = 600_000
# What Now looks back on for its arrows, for the newest breath, and for the wave.
RECENT_MS, WAVE_NOW_MS, BREATH_NOW_MS = 600_000, 300_000, 60_000
TREND_NOW_MS, TREND_APART_MS = 60_000, 300_000
# A trend comes each second and is committed with the next ones.
USUAL_DELAY_MS = 3000

# Limits that the plots draw; those of the supply are per cent of nominal in the settings, volts in the plots.
PLOTTED_LIMITS = (
    "supply.window_low",
    "supply.window_high",
    "oxygen.low",
    "pressure.high",
    "pressure.disconnect",
    "rate.low",
    "rate.high",
)


@contextmanager
def reading(store: Path) -> Iterator[Reader]:
    """Open the store for one answer; a reader never locks out the writer."""
    with open_reader(store) as reader:
        yield reader


def choose_module(reader: Reader, wanted: int | None) -> Module | None:
    """Return the module asked for, else the one heard last; None for an empty store."""
    modules = reader.modules()
    for module in modules:
        if module.id == wanted:
            return module
    return max(modules, key=lambda module: module.last_utc, default=None)


def nights(reader: Reader, module: int, offset_ms: int) -> list[Night]:
    """Return the nights of a module, newest first, none of their data loaded."""
    return reader.nights(module, offset_ms)[::-1]


def chosen_night(found: Sequence[Night], place: Place) -> Night:
    """Return the night asked for, else the one that holds the window, else the newest; newest come first."""
    for night in found:
        if place.night == night.start:
            return night
    for night in found:
        if place.window is not None and night.start <= place.window[0] < night.end:
            return night
    return found[0]


def night_at(reader: Reader, place: Place, offset_ms: int) -> Night | None:
    """Return the night that an address asks for, None for an empty store."""
    module = choose_module(reader, place.module)
    found = [] if module is None else nights(reader, module.id, offset_ms)
    return chosen_night(found, place) if found else None


def night_frame(reader: Reader, module: Module, start: int, end: int, pixels: int) -> NightFrame:
    """Read one window, start <= t < end in UTC ms, reduced to `pixels` columns."""
    length = end - start
    found = reader.trends(module.id, start, end, QUANTITIES, pixels)
    wave = reader.wave(module.id, start, end) if length <= WAVE_MS_MAX else None
    return NightFrame(
        nominal_v=module.nominal_v,
        start=start,
        end=end,
        t=found.t,
        width_ms=found.width_ms,
        supply_in=_envelope(found, "supply_in"),
        supply_out=_envelope(found, "supply_out"),
        oxygen=_envelope(found, "oxygen"),
        pressure=_envelope(found, "pressure"),
        breaths=breath_bins(reader, module.id, start, end, pixels) if length <= BREATHS_MS_MAX else None,
        wave=None if wave is None else Wave(t=wave.t, value=wave.value),
        states=[
            Stretch(start=band.start, end=band.end, name=tables.SUPPLY_STATES[band.code])
            for band in reader.bands(module.id, start, end, "supply_state")
        ],
        alarms=[alarm_of(one) for one in reader.alarms(module.id, start, end)],
        dark=[
            Stretch(start=one.start, end=one.end, name=one.reason)
            for one in reader.unmonitored(module.id, start, end)
        ],
        gaps=[
            Stretch(start=one.start, end=one.end, name=one.reason)
            for one in reader.gaps(module.id, start, end)
        ],
        limits=_limits(reader, module, start, end),
        hand=hand_points(reader.marks(module.id, start, end)),
        upkeep=tuple(entries(log_marks(reader, module.id, start, end))),
    )


def _envelope(found: Trends, name: str) -> Envelope:
    return Envelope(low=found.minimum[name], high=found.maximum[name], mean=found.mean[name])


def alarm_of(one: AlarmInterval) -> Alarm:
    """Return an alarm with the names and units of its row; value and limit as they were when it began."""
    row, first = tables.ALARMS[one.row], one.transitions[0]
    scaled = row.limit is not None
    return Alarm(
        key=row.key,
        name=row.name,
        group=row.group,
        order=row.id,
        priority=one.priority,
        start=one.start,
        end=one.end,
        cut=one.cut,
        acknowledged=one.acknowledged,
        cause_key=None if one.cause is None else tables.ALARMS[one.cause].key,
        value=first.value / row.scale if scaled and first.value is not None else None,
        limit=first.limit / row.scale if scaled and first.limit is not None else None,
        unit=row.unit,
        may_pause=row.may_pause,
        from_page=row.from_page,
    )


def breath_bins(reader: Reader, module: int, start: int, end: int, pixels: int) -> BreathBins:
    """Read breaths and reduce them to at most `pixels` bins, keeping minimum and maximum."""
    rows = reader.breaths(module, start, end)
    width = max(1, -(-(end - start) // pixels))
    order = np.argsort(rows.t, kind="stable")
    t = rows.t[order]
    bins = (t - start) // width
    heads = np.flatnonzero(np.r_[True, bins[1:] != bins[:-1]]) if len(t) else np.empty(0, np.int64)
    # A bin with a single breath stands at that breath, so that zooming in ends on the truth.
    single = np.diff(np.r_[heads, len(t)]) == 1
    return BreathBins(
        t=np.where(single, t[heads], start + bins[heads] * width + width // 2),
        peak=_spread(rows["peak"].astype(np.float64)[order], heads),
        end=_spread(rows["end_expiratory"].astype(np.float64)[order], heads),
        rate=_spread(rows["rate"].astype(np.float64)[order], heads),
    )


def _spread(values: Floats, heads: NDArray[np.int64]) -> Envelope:
    """Return minimum, maximum and mean of each run that begins at a head; NaN is left out."""
    if not len(heads):
        return Envelope(low=values[:0], high=values[:0], mean=values[:0])
    known = ~np.isnan(values)
    count = np.add.reduceat(known.astype(np.float64), heads)
    total = np.add.reduceat(np.where(known, values, 0.0), heads)
    mean = np.divide(total, count, out=np.full_like(total, np.nan), where=count > 0)
    return Envelope(
        low=np.fmin.reduceat(values, heads), high=np.fmax.reduceat(values, heads), mean=mean
    )


def _limits(reader: Reader, module: Module, start: int, end: int) -> dict[str, list[Limit]]:
    history = [one for one in reader.settings_history(module.id) if one.since < end]
    first = max((place for place, one in enumerate(history) if one.since <= start), default=0)
    limits: dict[str, list[Limit]] = {name: [] for name in PLOTTED_LIMITS}
    for one in history[first:]:
        for name, kept in limits.items():
            value = _in_plot_units(one.values, name)
            if not kept or kept[-1].value != value:
                kept.append(Limit(since=max(one.since, start), value=value))
    return limits


def _in_plot_units(values: tuple[int, ...], name: str) -> float:
    value = tables.setting_value(values, name)
    if name.startswith("supply."):
        return value * tables.setting_value(values, "supply.nominal_voltage") / 100
    return value


def now_frame(reader: Reader, module: Module, now: int, back_ms: int) -> NowFrame | None:
    """Read the newest state of a module; `back_ms` is how far back unmonitored time is counted."""
    latest = reader.latest(module.id)
    span = reader.span(module.id)
    if latest is None or span is None:
        return None
    since = max(span[0], now - back_ms)
    dark = reader.unmonitored(module.id, since, max(latest.t, since))
    in_force = reader.settings_at(module.id, now)
    codes = latest.codes
    late = now - latest.t
    # What went unrecorded since the newest trend, inside the window only.
    silent = min(late, now - since)
    return NowFrame(
        t=latest.t,
        readings=dict(latest.readings),
        supply_state=tables.SUPPLY_STATES[codes["supply_state"]],
        oxygen_state=tables.OXYGEN_STATES[codes["oxygen_state"]],
        mode=tables.MODES[codes["mode"]],
        preset=tables.PRESETS[codes["preset"]],
        conditions={
            name: tables.sensor_condition(codes["sensors"], name) for name in tables.CHANNEL_NAMES[:5]
        },
        flags=frozenset(name for name, bit in tables.TREND_FLAGS.items() if codes["flags"] & bit),
        pause_left=codes["pause_left"],
        standing=[alarm_of(one) for one in latest.standing],
        link=_link(latest),
        breath=_newest_breath(reader, module.id, latest.t),
        change=_change(reader, module.id, latest.t),
        dark_ms=sum(one.end - one.start for one in dark) + (silent if late > USUAL_DELAY_MS else 0),
        watched_since=since,
        limits={} if in_force is None else {n: _in_plot_units(in_force.values, n) for n in PLOTTED_LIMITS},
        nominal_v=module.nominal_v,
    )


def _link(latest: Latest) -> Link | None:
    link = latest.link
    if link is None:
        return None
    return Link(name=link.link, seen=link.seen, closed=link.closed, reason=link.reason)


def _newest_breath(reader: Reader, module: int, t: int) -> Breath | None:
    rows = reader.breaths(module, t - BREATH_NOW_MS, t + 1)
    if not len(rows):
        return None
    last = {name: float(rows[name][-1]) for name in ("peak", "end_expiratory", "mean", "rate")}
    return Breath(
        t=int(rows.t[-1]),
        peak=last["peak"],
        end_expiratory=last["end_expiratory"],
        mean=last["mean"],
        rate=None if np.isnan(last["rate"]) else last["rate"],
    )


def _change(reader: Reader, module: int, t: int) -> dict[str, float | None]:
    found = reader.trends(module, t - RECENT_MS, t, QUANTITIES)
    new = found.t >= t - TREND_NOW_MS
    old = (found.t >= t - TREND_APART_MS - TREND_NOW_MS) & (found.t < t - TREND_APART_MS)
    change: dict[str, float | None] = {}
    for name in QUANTITIES:
        values = found.maximum[name] if name == "pressure" else found.mean[name]
        change[name] = _difference(values[new], values[old])
    return change


def _difference(new: Floats, old: Floats) -> float | None:
    """Return the change of the mean; None when either minute was mostly not measured."""
    new, old = new[~np.isnan(new)], old[~np.isnan(old)]
    if len(new) < 30 or len(old) < 30:
        return None
    return float(new.mean() - old.mean())


def wave_since(reader: Reader, module: int, since: int, now: int) -> Wave:
    """Return the waveform after `since`, at most the last five minutes before `now`."""
    found = reader.wave(module, max(since + 1, now - WAVE_NOW_MS), now + USUAL_DELAY_MS)
    return Wave(t=found.t, value=found.value)
