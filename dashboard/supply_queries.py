"""Ask the store what the page Supply shows: events, what was not watched, voltage by the minute, captures."""

from dataclasses import dataclass
from datetime import tzinfo

import numpy as np

from dashboard.frames import Floats
from dashboard.reports.study_data import RATE_HZ, events_of, gaps_of
from dashboard.reports.study_waveforms import name_of
from ingest.analysis.supply import failures, indices
from ingest.analysis.supply.records import Figure, Gap, SupplyEvent, coverage_percent, watched_s
from ingest.analysis.supply.short_wave import short_snapshot
from ingest.store.reader import Capture, Module, Reader, tables

MINUTE_MS, DAY_MS = 60_000, 86_400_000
WEEK_S = 7 * 86400.0
# The usual period: the newest four weeks of what there is.
USUAL_MS = 28 * DAY_MS
SEARCH_MS = 3000  # a capture begins this long before its event at most
BEFORE_S = 0.2  # of a capture lies before its event


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyFrame:
    """Hold one module and period, UTC ms: events by start, gaps, figures each with coverage, maps."""

    module: Module
    start: int
    end: int
    nominal_v: float | None
    events: tuple[SupplyEvent, ...]
    gaps: tuple[Gap, ...]
    coverage_percent: float
    figures: tuple[Figure, ...]
    week: indices.WeekMap
    days: indices.DayMap


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureFrame:
    """Hold one captured waveform in V against ms from its event, rms under it, harmonics beside it.

    `before`, `after`: subgroups in per cent of the fundamental, order 1 on, of the first and last 0.2 s;
    None where they could not be had. `rms_ms` are the ends of the one-cycle windows. `disturbance`: the name
    that the rules give it, None where they can't.
    """

    event: SupplyEvent
    ms: Floats
    volts: Floats
    rms_ms: Floats
    rms_v: Floats
    before: Floats | None
    after: Floats | None
    complete: bool
    disturbance: str | None


def usual_period(reader: Reader, module: int) -> tuple[int, int] | None:
    """Return the newest four weeks of a module's data, None without data."""
    span = reader.span(module)
    return None if span is None else (max(span[0], span[1] - USUAL_MS), span[1])


def supply_frame(reader: Reader, module: Module, start: int, end: int, zone: tzinfo) -> SupplyFrame:
    """Read one period before the UPS, start <= t < end."""
    nominal = float(module.nominal_v) if module.nominal_v else None
    gaps = gaps_of(reader, module.id, start, end)
    events = events_of(reader, module, start, end, 0, nominal, gaps)
    begin_s, end_s = start / 1000, end / 1000
    outages = [(e.start_s, min(e.back_s, end_s)) for e in events if e.kind == "interruption"]
    return SupplyFrame(
        module=module,
        start=start,
        end=end,
        nominal_v=nominal,
        events=events,
        gaps=gaps,
        coverage_percent=coverage_percent(begin_s, end_s, gaps),
        figures=_figures(reader, module.id, start, end, nominal, events, gaps),
        week=indices.week_map(outages, begin_s, end_s, gaps, zone),
        days=indices.day_map(outages, begin_s, end_s, gaps, zone),
    )


def _figures(
    reader: Reader, module: int, start: int, end: int, nominal: float | None,
    events: tuple[SupplyEvent, ...], gaps: tuple[Gap, ...],
) -> tuple[Figure, ...]:  # fmt: skip
    """Return the site at a glance."""
    inside = _in_band(reader, module, start, end, nominal)
    if nominal is None:
        return (inside,)
    begin_s, end_s = start / 1000, end / 1000
    outages = [(e.start_s, min(e.back_s, end_s)) for e in events if e.kind == "interruption"]
    away = failures.availability(outages, begin_s, end_s, gaps)
    seconds, cover = watched_s(begin_s, end_s, gaps), coverage_percent(begin_s, end_s, gaps)
    rates = [
        indices.rate_figure(kind, sum(e.kind == kind for e in events), seconds, WEEK_S, "/week", cover)
        for kind in ("dip", "swell", "interruption")
    ]
    first = Figure(
        name="availability", value=away.percent, unit="%", coverage_percent=cover, low=away.low_percent,
        high=away.high_percent, reason="" if away.percent is not None else "nothing measured",
    )  # fmt: skip
    return (first, inside, *rates)


def _in_band(reader: Reader, module: int, start: int, end: int, nominal: float | None) -> Figure:
    """Return the part of measured time within 10 % of nominal, by 1-min means, with bounds."""
    found = reader.trends(module, start, end, ("supply_in",), pixels=max(1, (end - start) // MINUTE_MS))
    covered = np.minimum(found.count.astype(np.float64), found.width_ms / 1000)
    off = indices.outside_band(found.mean["supply_in"], covered, found.width_ms / 1000, nominal)
    if off.value is None:
        return Figure(
            name="inside", value=None, unit="%", coverage_percent=off.coverage_percent, reason=off.reason
        )
    known_s = float(covered[~np.isnan(found.mean["supply_in"])].sum())
    part = min(1.0, known_s * 1000 / (end - start))
    inside = 100.0 - off.value
    return Figure(
        name="inside", value=inside, unit="%", coverage_percent=100.0 * part, low=inside * part,
        high=inside * part + 100.0 * (1.0 - part),
    )  # fmt: skip


def capture_frame(reader: Reader, module: Module, event: SupplyEvent, tap: int = 0) -> CaptureFrame | None:
    """Return the waveform captured around an event, None where none was kept."""
    at = round(event.start_s * 1000)
    kind = tables.CAPTURE_KINDS.index("event")
    found = [
        one
        for one in reader.captures(module.id, at - SEARCH_MS, at + SEARCH_MS, kind)
        if one.tap == tap and one.start <= at < one.start + len(one.codes) * 1000 / RATE_HZ
    ]
    if not found:
        return None
    one = found[-1]
    runs = [
        run
        for run in reader.half_cycles(module.id, round(one.start) - 100, round(one.start) + 100)
        if (run.boot, run.capture_id, run.tap) == (one.boot, one.capture_id, tap)
    ]
    ms = one.start - at + np.arange(len(one.codes)) * 1000 / RATE_HZ
    period_s = 2e-6 * runs[0].period_us if runs else 1.0 / (module.nominal_hz or 50)
    steps = np.arange(len(runs[0].rms) if runs else 0) * (500.0 * period_s)
    rms_ms: Floats = np.asarray(steps + (runs[0].start - at if runs else 0), np.float64)
    return CaptureFrame(
        event=event,
        ms=ms,
        volts=_unknown(one),
        rms_ms=rms_ms,
        rms_v=runs[0].rms if runs else np.empty(0),
        before=_percent(one, module, period_s, first=True),
        after=_percent(one, module, period_s, first=False),
        complete=one.complete,
        disturbance=_name(one, module),
    )


def _name(one: Capture, module: Module) -> str | None:
    known = module.nominal_v and module.nominal_hz
    return name_of(one, float(module.nominal_v), float(module.nominal_hz)) if known else None


def _unknown(one: Capture) -> Floats:
    """Return volts, NaN where parts were lost."""
    volts = np.asarray(one.volts, np.float64).copy()
    for low, high in one.missing:
        volts[low:high] = np.nan
    return volts


def _percent(one: Capture, module: Module, period_s: float, first: bool) -> Floats | None:
    """Return harmonic subgroups of the first or last 10/12 cycles; None for a dead or lost stretch."""
    cycles = 12 if module.nominal_hz == 60 else 10
    count = int(np.ceil(cycles * period_s * RATE_HZ))
    wave = _unknown(one)
    wave = wave[:count] if first else wave[-count:]
    if np.isnan(wave).any() or float(np.sqrt(np.mean(wave**2))) < 20.0:
        return None
    found = short_snapshot(wave, RATE_HZ, float(module.nominal_hz or 50), period_s)
    return None if found is None else np.asarray(100.0 * found.subgroup[0] / found.subgroup[0, 0])
