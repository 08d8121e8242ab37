"""Sum a record up to the indices of a paper, each with the coverage it rests on."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import TYPE_CHECKING

import numpy as np

from ingest.analysis.supply.classify import SHORT_INTERRUPTION_S
from ingest.analysis.supply.compiled import Floats
from ingest.analysis.supply.records import Figure, Gap, SupplyEvent, watched_s
from ingest.analysis.supply.spans import taken_s

if TYPE_CHECKING:
    from ingest.analysis.supply.windows import HalfCycles

DAY_S, HOUR_S = 86400.0, 3600.0


def event_energy_s(rows: "HalfCycles", event: SupplyEvent) -> float:
    """Sum (1 - u^2) dt over the windows of a dip, half cycle by half cycle (IEEE 1564)."""
    here = (rows.start_s >= event.start_s - 1e-9) & (rows.start_s < event.back_s - 1e-9)
    level = rows.rms_v[here] / event.reference_v
    return float(((1.0 - level**2) * rows.half_s[here]).sum())


def sarfi(events: Sequence[SupplyEvent], percent: float) -> int:
    """Count events with a residual below X %, or above it for X over 100 (IEEE 1564).

    An interruption is not counted beside the dip that carries it.
    """
    if percent > 100.0:
        return sum(e.kind == "swell" and e.extreme_pu * 100.0 > percent for e in events)
    return sum(e.kind == "dip" and e.extreme_pu * 100.0 < percent for e in events)


def rate_figure(name: str, count: int, seconds: float, per_s: float, unit: str, coverage: float) -> Figure:
    """Give a count as a rate of the time watched."""
    if seconds <= 0.0:
        return Figure(name=name, value=None, unit=unit, coverage_percent=coverage, reason="nothing measured")
    return Figure(name=name, value=count * per_s / seconds, unit=unit, coverage_percent=coverage)


@dataclass(frozen=True, slots=True, kw_only=True)
class Interruptions:
    """Sum interruptions of one site up. frequency and minutes are per year of watched time (like SAIFI,
    SAIDI).

    longest_minutes counts what may have been missed. open: interruptions whose end was not seen.
    """

    short: int
    long: int
    undecided: int
    per_year: float | None
    minutes_per_year: float | None
    minutes_seen: float
    minutes_at_most: float
    coverage_percent: float


def interruptions(
    events: Sequence[SupplyEvent], begin_s: float, end_s: float, gaps: tuple[Gap, ...]
) -> Interruptions:
    """Count short (up to 3 min) and long interruptions; undecided where a gap leaves both possible."""
    short = long = undecided = 0
    seen = most = 0.0
    for event in (e for e in events if e.kind == "interruption"):
        least, greatest = event.duration_bounds_s
        greatest = min(greatest, end_s - event.start_s) if event.still_open else greatest
        seen, most = seen + least, most + greatest
        if least > SHORT_INTERRUPTION_S:
            long += 1
        elif event.duration_bounds_s[1] <= SHORT_INTERRUPTION_S:
            short += 1
        else:
            undecided += 1
    watched = watched_s(begin_s, end_s, gaps)
    year = 365.25 * DAY_S
    return Interruptions(
        short=short, long=long, undecided=undecided,
        per_year=(short + long + undecided) * year / watched if watched > 0 else None,
        minutes_per_year=seen / 60.0 * year / watched if watched > 0 else None,
        minutes_seen=seen / 60.0, minutes_at_most=most / 60.0,
        coverage_percent=100.0 * watched / (end_s - begin_s) if end_s > begin_s else 0.0,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Histogram:
    """Hold the hours spent in each voltage class; edges_v has one more entry. missing_h: no value."""

    edges_v: Floats
    hours: Floats
    missing_h: float


def histogram(rms_v: Floats, covered_s: Floats, interval_s: float, step_v: float = 2.0) -> Histogram:
    """Sum measured time by voltage class."""
    here = ~np.isnan(rms_v)
    total_s = interval_s * len(rms_v)
    known, weight = rms_v[here], covered_s[here]
    if not len(known):
        return Histogram(edges_v=np.array([0.0, step_v]), hours=np.zeros(1), missing_h=total_s / HOUR_S)
    first, last = np.floor(known.min() / step_v), np.floor(known.max() / step_v) + 1
    edges = np.arange(first, last + 1) * step_v
    hours, _ = np.histogram(known, bins=edges, weights=weight / HOUR_S)
    return Histogram(edges_v=edges, hours=hours, missing_h=(total_s - weight.sum()) / HOUR_S)


def duration_curve(rms_v: Floats, covered_s: Floats) -> tuple[Floats, Floats]:
    """Give (per cent of measured time, voltage reached or exceeded for that time), from high to low."""
    here = ~np.isnan(rms_v)
    order = np.argsort(rms_v[here])[::-1]
    weight = covered_s[here][order]
    return 100.0 * np.cumsum(weight) / weight.sum() if len(order) else weight, rms_v[here][order]


def outside_band(
    rms_v: Floats, covered_s: Floats, interval_s: float, nominal_v: float | None, part: float = 0.10
) -> Figure:
    """Give the per cent of measured time outside nominal +-10 %, with bounds for the whole period."""
    name, coverage = f"time outside +-{100 * part:.0f} %", _coverage(rms_v, covered_s, interval_s)
    if nominal_v is None:
        return Figure(name=name, value=None, unit="%", coverage_percent=coverage, reason="nominal unknown")
    here = ~np.isnan(rms_v)
    known = float(covered_s[here].sum())
    if known <= 0.0:
        return Figure(name=name, value=None, unit="%", coverage_percent=0.0, reason="nothing measured")
    off = np.abs(rms_v[here] / nominal_v - 1.0) > part + 1e-9
    outside, total = float(covered_s[here][off].sum()), interval_s * len(rms_v)
    return Figure(
        name=name, value=100.0 * outside / known, unit="%", coverage_percent=coverage,
        low=100.0 * outside / total, high=100.0 * (outside + total - known) / total,
    )  # fmt: skip


def _coverage(rms_v: Floats, covered_s: Floats, interval_s: float) -> float:
    """Give measured time in per cent of the period."""
    total = interval_s * len(rms_v)
    return 100.0 * float(covered_s[~np.isnan(rms_v)].sum()) / total if total else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekMap:
    """Hold a 7 x 24 map, Monday first, hours of local time: outages begun, minutes out, hours watched."""

    begun: Floats
    minutes: Floats
    watched_h: Floats

    @property
    def per_hour_watched(self) -> Floats:
        """Give outages begun an hour watched; nan where the cell was never watched."""
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(np.where(self.watched_h > 0, self.begun / self.watched_h, np.nan))


def week_map(
    outages: Sequence[tuple[float, float]],
    begin_s: float,
    end_s: float,
    gaps: tuple[Gap, ...],
    zone: tzinfo = UTC,
) -> WeekMap:
    """Lay outages, given as (start, end), and watched time on hour and weekday of a time zone."""
    begun, minutes, watched = np.zeros((7, 24)), np.zeros((7, 24)), np.zeros((7, 24))
    edges = np.arange(np.floor(begin_s / 900.0), np.ceil(end_s / 900.0) + 1) * 900.0
    cells = [_cell(float(at), zone) for at in edges[:-1]]
    days, hours = np.array([c[0] for c in cells]), np.array([c[1] for c in cells])
    inside = np.clip(edges, begin_s, end_s)
    dark = [(g.start_s, g.end_s) for g in gaps]
    np.add.at(watched, (days, hours), (np.diff(inside) - taken_s(dark, inside)) / HOUR_S)
    np.add.at(minutes, (days, hours), taken_s(outages, inside) / 60.0)
    for start, _ in outages:
        if begin_s <= start < end_s:
            begun[_cell(start, zone)] += 1
    return WeekMap(begun=begun, minutes=minutes, watched_h=watched)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayMap:
    """Hold local days, a Monday first and no day left out, and of each what WeekMap holds of a cell."""

    days: tuple[date, ...]
    begun: Floats
    minutes: Floats
    watched_h: Floats


def day_map(
    outages: Sequence[tuple[float, float]],
    begin_s: float,
    end_s: float,
    gaps: tuple[Gap, ...],
    zone: tzinfo = UTC,
) -> DayMap:
    """Lay outages, given as (start, end), and watched time on the days of a time zone."""
    # The end doesn't belong to the period: at midnight its day doesn't either.
    first, last = (datetime.fromtimestamp(at, zone).date() for at in (begin_s, end_s - 0.001))
    first -= timedelta(days=first.weekday())
    days = [first + timedelta(days=n) for n in range((last - first).days + 2)]
    edges = np.array([datetime.combine(day, time.min, zone).timestamp() for day in days])
    inside = np.clip(edges, begin_s, end_s)
    watched = np.diff(inside) - taken_s([(g.start_s, g.end_s) for g in gaps], inside)
    begun, _ = np.histogram([start for start, _ in outages if begin_s <= start < end_s], edges)
    return DayMap(
        days=tuple(days[:-1]), begun=begun.astype(np.float64), minutes=taken_s(outages, inside) / 60.0,
        watched_h=watched / HOUR_S,
    )  # fmt: skip


def _cell(at_s: float, zone: tzinfo) -> tuple[int, int]:
    """Give weekday and hour in a time zone."""
    local = datetime.fromtimestamp(at_s, zone)
    return local.weekday(), local.hour
