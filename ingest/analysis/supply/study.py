"""Join everything that one site's record says into one result, with what it rests on.

The record is 10-min values, events, gaps, calibrations and UPS states: half cycles and waveforms of a year
are never stored. Nothing is averaged over a change of calibration, and no time without data counts as quiet.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, tzinfo
from typing import Literal

import numpy as np

from ingest.analysis.supply import classify, equipment, failures, flicker_estimate, indices, limits
from ingest.analysis.supply.compiled import Bools, Floats
from ingest.analysis.supply.records import (
    Calibration,
    Figure,
    Gap,
    Note,
    SupplyEvent,
    TenMinutes,
    coverage_percent,
    watched_s,
)
from ingest.analysis.supply.ups import (
    BatteryTrend,
    SizingCurve,
    StateSpan,
    UpsSummary,
    battery_trend,
    sizing,
    ups_summary,
)

WEEK_S = 7 * 86400.0
SARFI = (90.0, 80.0, 70.0, 50.0, 10.0, 110.0, 120.0, 140.0)
BATTERY_MIN = np.concatenate((np.arange(0.0, 60.0, 1.0), np.arange(60.0, 481.0, 15.0)))
WINDOWS_PU = ((0.696, 1.304), (0.80, 1.15), (0.90, 1.10))
"""Input windows that the sizing tries: the field UPS's own, and two narrower ones (our own choice)."""
LOW_COVERAGE_PERCENT = 90.0
INTERVAL_S, PLT_S = 600.0, 7200.0
RapidFrom = Literal["half cycles", "seconds", ""]
"""What rapid changes were found in; '': they could not be looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Hold one site's record of a period. Times in seconds since 1970 UTC.

    nominal_v, nominal_hz: None when nobody set them. harmonics_percent: one row a snapshot, one column an
    order from 1, nan rows where none was taken. ten_second_hz: 10-s frequencies on the whole grid, nan where
    none is; None: the 10-min ones stand in. calibrations: those in force, the earliest first. proven_min,
    tests: minutes of proven discharges. trips, watched: which equipment tripped when, and when it was seen.
    pst: estimated flicker on the 10-min grid, nan where none; None: half cycles were not kept. rapid: changes
    between steady voltages, rapid_from: what they were found in.
    """

    begin_s: float
    end_s: float
    nominal_v: float | None
    nominal_hz: float | None
    ten_minutes: TenMinutes
    events: tuple[SupplyEvent, ...] = ()
    gaps: tuple[Gap, ...] = ()
    calibrations: tuple[Calibration, ...] = ()
    states: tuple[StateSpan, ...] = ()
    harmonics_percent: Floats | None = None
    ten_second_hz: Floats | None = None
    tests: tuple[tuple[float, float], ...] = ()
    needed_min: float = 20.0
    trips: tuple[tuple[str, float], ...] = ()
    watched: tuple[tuple[str, float, float], ...] = ()
    pst: Floats | None = None
    rapid: tuple[SupplyEvent, ...] = ()
    rapid_from: RapidFrom = ""
    zone: tzinfo = UTC
    island: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class VoltagePart:
    """Sum up the voltage of a time with one calibration."""

    begin_s: float
    end_s: float
    mean_v: float | None
    lowest_v: float | None
    highest_v: float | None
    outside: Figure
    histogram: indices.Histogram
    curve_percent: Floats
    curve_v: Floats
    limits: tuple[limits.Judgement, ...]
    coverage_percent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """Hold the whole result of one site and period."""

    begin_s: float
    end_s: float
    coverage_percent: float
    notes: tuple[Note, ...]
    outside: Figure
    voltage: tuple[VoltagePart, ...]
    frequency: tuple[limits.Judgement, ...]
    harmonics: tuple[limits.Judgement, ...]
    flicker: flicker_estimate.Flicker
    flicker_limits: tuple[limits.Judgement, ...]
    rates: tuple[Figure, ...]
    dips: dict[str, int]
    swells: dict[str, int]
    categories: dict[str, int]
    itic: dict[str, int]
    semi_f47_failed: int
    sarfi: dict[float, int]
    sag_energy_s: float
    worst_severity: float | None
    interruptions: indices.Interruptions
    between: failures.TimeBetweenFailures
    survival: tuple[Floats, Floats]
    availability: failures.Availability
    week: indices.WeekMap
    ups: UpsSummary | None
    battery: BatteryTrend
    sizing: tuple[SizingCurve, ...]
    ride_through: tuple[equipment.RideThrough, ...]
    trials: tuple[equipment.Trial, ...]
    unexplained_trips: tuple[tuple[str, float], ...]


def study(record: Record) -> Study:
    """Study a record. Raise ValueError when the period is empty or runs backwards."""
    begin, end, gaps = record.begin_s, record.end_s, record.gaps
    if not end > begin:
        raise ValueError(f"the period ends at {end:.0f} s, not after its begin at {begin:.0f} s")
    found = tuple(sorted((e for e in record.events if begin <= e.start_s < end), key=lambda e: e.start_s))
    dips = [e for e in found if e.kind == "dip"]
    outages = [(e.start_s, min(e.back_s, end)) for e in found if e.kind == "interruption"]
    coverage = coverage_percent(begin, end, gaps)
    parts = tuple(_voltage_parts(record))
    trials, curves, unexplained = equipment.all_equipment(found, record.trips, record.watched)
    tests = np.array(record.tests, dtype=np.float64).reshape(-1, 2)
    spells = failures.spells(outages, begin, end, gaps)
    return Study(
        begin_s=begin,
        end_s=end,
        coverage_percent=coverage,
        notes=tuple(_notes(record, found, coverage)),
        outside=_outside(parts),
        voltage=parts,
        frequency=_frequency(record),
        harmonics=_harmonics(record),
        flicker=flicker_estimate.summed(record.pst, int(begin // INTERVAL_S)),
        flicker_limits=_flicker_limits(record),
        rates=_rates(record, found, coverage),
        dips=classify.dip_table(found),
        swells=classify.swell_table(found),
        categories=_categories(record, found),
        itic=dict(Counter(classify.itic_position(e.extreme_pu, e.duration_s) for e in _whole(found))),
        semi_f47_failed=sum(not classify.semi_f47_passes(e.extreme_pu, e.duration_s) for e in dips),
        sarfi={x: indices.sarfi(found, x) for x in SARFI},
        sag_energy_s=sum(classify.sag_energy_s(e.extreme_pu, e.duration_s) for e in dips),
        worst_severity=max((classify.sag_severity(e.extreme_pu, e.duration_s) for e in dips), default=None),
        interruptions=indices.interruptions(found, begin, end, gaps),
        between=failures.time_between_failures(outages, begin, end, gaps),
        survival=failures.survival(spells),
        availability=failures.availability(outages, begin, end, gaps),
        week=indices.week_map(outages, begin, end, gaps, record.zone),
        ups=_ups(record),
        battery=battery_trend(tests[:, 0], tests[:, 1], record.needed_min),
        sizing=tuple(
            sizing(found, BATTERY_MIN, window_low_pu=low, window_high_pu=high) for low, high in WINDOWS_PU
        ),
        ride_through=tuple(curves),
        trials=tuple(trials),
        unexplained_trips=tuple(unexplained),
    )


def _whole(events: tuple[SupplyEvent, ...]) -> list[SupplyEvent]:
    """Give the events that stand on their own: an interruption is inside a dip."""
    return [e for e in events if e.kind in ("dip", "swell")]


def _categories(record: Record, events: tuple[SupplyEvent, ...]) -> dict[str, int]:
    """Count IEEE 1159 categories."""
    hertz = record.nominal_hz or 50.0
    return dict(Counter(classify.category(e.extreme_pu, e.duration_s, hertz) for e in _whole(events)))


def _bounds(record: Record) -> list[tuple[float, float]]:
    """Cut the period where a calibration came into force."""
    inside = [c.from_s for c in record.calibrations if record.begin_s < c.from_s < record.end_s]
    edges = [record.begin_s, *sorted(inside), record.end_s]
    return list(zip(edges, edges[1:], strict=False))


def _voltage_parts(record: Record) -> list[VoltagePart]:
    """Sum each calibration's time up by itself; an interval that holds a change belongs to neither."""
    table = record.ten_minutes
    parts = []
    for begin, end in _bounds(record):
        here = (table.start_s >= begin - 1e-6) & (table.start_s + table.interval_s <= end + 1e-6)
        parts.append(_voltage_part(record, begin, end, here))
    return parts


def _grid_begin(begin_s: float, step_s: float) -> float:
    """Give when the first whole interval of the clock begins."""
    return float(np.ceil((begin_s - 1e-6) / step_s) * step_s)


def _on_grid(table: TenMinutes, column: Floats, here: Bools, begin_s: float, end_s: float) -> Floats:
    """Lay values on the whole grid of a time, so that intervals that were never stored count as missing."""
    step = table.interval_s
    first = round(_grid_begin(begin_s, step) / step)
    grid = np.full(max(0, int(np.floor((end_s + 1e-6) / step)) - first), np.nan)
    place = np.round(table.start_s[here] / step).astype(np.int64) - first
    fits = (place >= 0) & (place < len(grid))
    grid[place[fits]] = column[here][fits]
    return grid


def _voltage_part(record: Record, begin_s: float, end_s: float, here: Bools) -> VoltagePart:
    """Sum up one time."""
    table, nominal = record.ten_minutes, record.nominal_v
    rms = _on_grid(table, table.rms_v, here, begin_s, end_s)
    covered = np.nan_to_num(_on_grid(table, table.coverage, here, begin_s, end_s)) * table.interval_s
    rms = np.where(covered > 0.0, rms, np.nan)
    known = ~np.isnan(rms)
    lows, highs = table.low_v[here], table.high_v[here]
    percent, level = indices.duration_curve(rms, covered)
    judged: list[limits.Judgement] = []
    for band in classify.VOLTAGE_BANDS if nominal else ():
        first_s = _grid_begin(begin_s, table.interval_s)
        judged += limits.judge_periods(rms, nominal or 1.0, band, table.interval_s, first_s)
    weight = covered[known]
    square = float(np.average(rms[known] ** 2, weights=weight)) if known.any() else None
    total = table.interval_s * len(rms)
    return VoltagePart(
        begin_s=begin_s,
        end_s=end_s,
        mean_v=None if square is None else float(np.sqrt(square)),
        lowest_v=float(np.nanmin(lows)) if known.any() else None,
        highest_v=float(np.nanmax(highs)) if known.any() else None,
        outside=indices.outside_band(rms, covered, table.interval_s, nominal),
        histogram=indices.histogram(rms, covered, table.interval_s),
        curve_percent=percent,
        curve_v=level,
        limits=tuple(judged),
        coverage_percent=100.0 * float(weight.sum()) / total if total else 0.0,
    )


def _outside(parts: tuple[VoltagePart, ...]) -> Figure:
    """Give the figure of the only part; over a change of calibration there is none."""
    if len(parts) == 1:
        return parts[0].outside
    whole = sum(p.end_s - p.begin_s for p in parts)
    covered = sum(p.coverage_percent * (p.end_s - p.begin_s) for p in parts) / whole
    first = parts[0].outside
    return Figure(
        name=first.name, value=None, unit=first.unit, coverage_percent=covered, reason="calibration changed"
    )


def _frequency(record: Record) -> tuple[limits.Judgement, ...]:
    """Judge the frequency, which no gain changes."""
    if record.nominal_hz is None:
        return ()
    table = record.ten_minutes
    bands = classify.ISLAND_FREQUENCY_BANDS if record.island else classify.FREQUENCY_BANDS
    every = np.ones(len(table), dtype=np.bool_)
    hertz, step_s = record.ten_second_hz, 10.0
    if hertz is None:
        hertz, step_s = _on_grid(table, table.frequency_hz, every, record.begin_s, record.end_s), INTERVAL_S
    first_s = _grid_begin(record.begin_s, step_s)
    return tuple(
        one
        for band in bands
        for one in limits.judge_periods(hertz, record.nominal_hz, band, step_s, first_s)
    )


def _harmonics(record: Record) -> tuple[limits.Judgement, ...]:
    """Judge harmonics where snapshots were taken; per cent of the fundamental, so no gain changes them."""
    if record.harmonics_percent is None:
        return ()
    first_s = record.begin_s // INTERVAL_S * INTERVAL_S
    return tuple(limits.judge_harmonics(record.harmonics_percent, INTERVAL_S, first_s))


def _flicker_limits(record: Record) -> tuple[limits.Judgement, ...]:
    """Judge Plt where flicker could be estimated; an estimate, so within its error nothing is decided."""
    if record.pst is None or np.isnan(record.pst).all():
        return ()
    long = flicker_estimate.plt_grid(record.pst, int(record.begin_s // INTERVAL_S))
    first_s = _grid_begin(record.begin_s // INTERVAL_S * INTERVAL_S, PLT_S)
    return tuple(limits.judge_periods(long, 1.0, classify.PLT_BAND, PLT_S, first_s)) if len(long) else ()


def _rates(record: Record, events: tuple[SupplyEvent, ...], coverage: float) -> tuple[Figure, ...]:
    """Give events a week of watched time, by kind."""
    seconds = watched_s(record.begin_s, record.end_s, record.gaps)
    count = Counter(e.kind for e in events)
    rates = [
        indices.rate_figure(kind, count[kind], seconds, WEEK_S, "/week", coverage)
        for kind in ("dip", "swell", "interruption")
    ]
    name = "rapid change"
    if record.rapid_from:
        changes = len(record.rapid)
        return (*rates, indices.rate_figure(name, changes, seconds, WEEK_S, "/week", coverage))
    missing = Figure(name=name, value=None, unit="/week", coverage_percent=0.0, reason="seconds not kept")
    return (*rates, missing)


def _ups(record: Record) -> UpsSummary | None:
    """Sum the UPS up; None without states."""
    if not record.states:
        return None
    proven = max(record.tests, default=None)
    return ups_summary(record.states, record.begin_s, record.end_s, proven_min=proven[1] if proven else None)


def _notes(record: Record, events: tuple[SupplyEvent, ...], coverage: float) -> list[Note]:
    """State what is wrong with the record."""
    notes = []
    table = record.ten_minutes

    def add(key: str, count: int, seconds: float = 0.0, at_s: float | None = None) -> None:
        if count:
            notes.append(Note(key=key, count=count, seconds=seconds, at_s=at_s))

    begin, end = record.begin_s, record.end_s
    inside = [g for g in record.gaps if g.end_s > begin and g.start_s < end]
    dark = tuple(g for g in inside if g.dark)
    span = end - begin
    add("no data", int(not len(table) or not (table.coverage > 0).any()), span)
    add("nominal unknown", int(record.nominal_v is None))
    for change in record.calibrations:
        add("calibration changed", int(begin < change.from_s < end), at_s=change.from_s)
    add("gap", len(inside), span - watched_s(begin, end, tuple(inside)))
    add("module dark", len(dark), span - watched_s(begin, end, dark))
    add("gap inside event", sum(e.unseen_s > 0 for e in events), sum(e.unseen_s for e in events))
    add("event may have begun in a gap", sum(e.before_s > 0 for e in events))
    add("event still open", sum(e.still_open for e in events))
    add("event clipped", sum(e.clipped for e in events))
    add("coverage low", int(coverage < LOW_COVERAGE_PERCENT), span * (1 - coverage / 100))
    flagged = int(np.asarray(table.flagged).sum())
    add("flagged values kept", flagged, flagged * table.interval_s)
    return notes
