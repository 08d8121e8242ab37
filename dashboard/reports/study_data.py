"""Build the record that the supply study reads from a stretch of a store: nothing averaged, nothing guessed.

What people know and the module can't is taken from marks: `site` (data: phase, feeder, generator),
`supply label` (data: label, such as load-shedding or fault, over a stretch), `trip` (equipment tripped) and
`equipment watched` (it ran and somebody looked).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import tzinfo

import numpy as np

from dashboard.reports.study_flicker import fluctuation
from dashboard.reports.study_waveforms import Waveform, waveforms_of
from ingest.analysis.supply.compiled import Floats
from ingest.analysis.supply.harmonics import highest_order
from ingest.analysis.supply.records import Calibration, Gap, Kind, SupplyEvent, TenMinutes, watched_s
from ingest.analysis.supply.short_wave import short_snapshot
from ingest.analysis.supply.spans import taken_s
from ingest.analysis.supply.study import INTERVAL_S, Record
from ingest.analysis.supply.ups import STATES, StateSpan
from ingest.store.reader import Interval, Mark, Module, Reader, SettingsInForce, tables
from ingest.store.reader import SupplyEvent as StoredEvent

TAPS = ("before", "after")
CALIBRATED = ("supply_in", "supply_out")
DAY_MS, MINUTE_MS = 86_400_000, 60_000
KINDS: tuple[Kind, ...] = ("dip", "swell", "interruption")
CLIPPED = 1  # bit of a supply event's flags: its extreme is 'at least'
STARTUP_MS = 3000  # an event that begins this soon after a gap may have begun in it
RATE_HZ = 3200.0
TEN_SECONDS_MS_MAX = 62 * DAY_MS
"""Up to this period frequencies are read second by second."""
CLOCK_ERROR_S = 0.25
"""How far the time of an event may be off: modules of one host share its clock (our own assumption)."""
THRESHOLDS = ("study.dip", "study.swell", "study.interruption", "study.hysteresis")


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Hold one module's stretch of a store: the record, and what a report says beside it.

    `labels`: for each event of the record what people said of it, '' for nothing. `about`: site metadata.
    `thresholds`: the module's own, in per cent of its nominal, None where no settings were reported.
    `threshold_changes`: how often they changed inside. `means_only`: 10-min values from 1-min means, because
    the 10/12-cycle values were removed. `snapshots`: how many waveform snapshots the harmonics rest on.
    `waveforms`: those captured around events, named.
    """

    module: Module
    tap: int
    record: Record
    labels: tuple[str, ...]
    about: Mapping[str, str]
    thresholds: Mapping[str, float] | None
    threshold_changes: int
    means_only: int
    snapshots: int
    waveforms: tuple[Waveform, ...]


def site_of(
    reader: Reader,
    module: Module,
    start: int,
    end: int,
    *,
    zone: tzinfo,
    tap: int = 0,
    reference_v: float | None = None,
    island: bool = False,
    progress: Callable[[], None] = lambda: None,
) -> Site:
    """Read one module, start <= t < end in UTC ms. reference_v None: the nominal voltage that it reported.

    `progress` is called once a day of data, see `days_of`.
    """
    nominal_v = reference_v or module.nominal_v or None
    nominal_hz = float(module.nominal_hz) if module.nominal_hz else None
    history = [one for one in reader.settings_history(module.id) if one.since < end]
    gaps = gaps_of(reader, module.id, start, end)
    events = events_of(reader, module, start, end, tap, nominal_v, gaps)
    ten, means_only = _ten_minutes(reader, module.id, start, end, tap, gaps, progress)
    harmonics, snapshots = _harmonics(reader, module.id, start, end, tap, nominal_hz)
    marks = reader.marks(module.id, start, end)
    limits = _thresholds(history[-1]) if history else None
    band = (limits["study.dip"] / 100, limits["study.swell"] / 100) if limits else (0.9, 1.1)
    seen_s = watched_s(start / 1000, end / 1000, gaps)
    moved = fluctuation(reader, module.id, start, end, tap, nominal_v, band, seen_s)
    record = Record(
        begin_s=start / 1000,
        end_s=end / 1000,
        nominal_v=nominal_v,
        nominal_hz=nominal_hz,
        ten_minutes=ten,
        events=events,
        gaps=gaps,
        calibrations=_calibrations(history, tap),
        states=_states(reader, module.id, start, end),
        harmonics_percent=harmonics,
        ten_second_hz=_ten_seconds(reader, module.id, start, end, tap),
        tests=_battery_tests(history, end),
        trips=tuple((_equipment(mark), mark.utc / 1000) for mark in marks if mark.kind == "trip"),
        watched=tuple((_equipment(m), *_span(m)) for m in marks if m.kind == "equipment watched"),
        zone=zone,
        island=island,
        pst=moved.pst,
        rapid=moved.changes,
        rapid_from=moved.source,
    )
    inside = [one for one in history if one.since > start]
    return Site(
        module=module,
        tap=tap,
        record=record,
        labels=tuple(_label(event, marks) for event in events),
        about=_about(reader.marks(module.id, kind="site")),
        thresholds=limits,
        threshold_changes=_changes(history, inside),
        means_only=means_only,
        snapshots=snapshots,
        waveforms=waveforms_of(reader, module.id, start, end, tap, nominal_v, nominal_hz),
    )


def days_of(start: int, end: int) -> int:
    """Return how often `site_of` calls its progress."""
    return len(range(start // DAY_MS * DAY_MS, end, DAY_MS))


def gaps_of(reader: Reader, module: int, start: int, end: int) -> tuple[Gap, ...]:
    """Return the stretches without data; dark where no record is known to have been lost there."""
    lost = reader.gaps(module, start, end)
    return tuple(
        Gap(
            start_s=one.start / 1000,
            end_s=one.end / 1000,
            reason="records lost" if any(_meet(one.start, one.end, two) for two in lost) else "module dark",
            dark=not any(_meet(one.start, one.end, two) for two in lost),
        )
        for one in reader.unmonitored(module, start, end)
    )


def _meet(start: int, end: int, other: Interval) -> bool:
    return other.start < end and other.end > start


def events_of(
    reader: Reader, module: Module, start: int, end: int, tap: int, nominal_v: float | None,
    gaps: Sequence[Gap],
) -> tuple[SupplyEvent, ...]:  # fmt: skip
    """Return the events of one tap that begin inside; none where the nominal voltage is not known.

    The module turns a dip that deepens into an interruption; the study wants the dip that carries it as well.
    """
    if nominal_v is None:
        return ()
    cycle_s = 1.0 / (module.nominal_hz or 50)
    out = []
    for one in reader.supply_events(module.id, start, end):
        if one.tap == tap and one.start >= start:
            event = _event(one, module, nominal_v, cycle_s, end / 1000, gaps)
            out += [replace(event, kind="dip"), event] if event.kind == "interruption" else [event]
    return tuple(out)


def _event(
    one: StoredEvent, module: Module, nominal_v: float, cycle_s: float, end_s: float, gaps: Sequence[Gap]
) -> SupplyEvent:
    """Turn a stored event into that of the study. Its end was not seen: it stood at least to the next gap."""
    start = one.start / 1000
    if one.duration_ms is None:
        back = next((gap.start_s for gap in gaps if gap.start_s >= start), end_s)
    else:
        back = start + one.duration_ms / 1000
    before = next((g for g in gaps if 0 <= one.start - g.end_s * 1000 <= STARTUP_MS), None)
    return SupplyEvent(
        kind=KINDS[one.kind],
        start_s=start,
        start_end_s=start + cycle_s,
        back_s=max(back, start),
        back_end_s=max(back, start) + cycle_s,
        extreme_v=one.extreme_v,
        reference_v=nominal_v,
        unseen_s=sum(max(0.0, min(g.end_s, back) - max(g.start_s, start)) for g in gaps),
        before_s=0.0 if before is None else before.end_s - before.start_s,
        clipped=bool(one.flags & CLIPPED),
        still_open=one.duration_ms is None,
        module=f"{module.id:08x}",
        clock_error_s=CLOCK_ERROR_S,
    )


def _ten_minutes(
    reader: Reader, module: int, start: int, end: int, tap: int, gaps: Sequence[Gap],
    progress: Callable[[], None],
) -> tuple[TenMinutes, int]:  # fmt: skip
    """Join what is kept to 10-min values of the clock; also tell how many rest on 1-min means alone."""
    first = int(start / 1000 // INTERVAL_S)
    count = -int(-end / 1000 // INTERVAL_S) - first
    edges = (first + np.arange(count + 1)) * INTERVAL_S
    squares, known, flags = np.zeros(count), np.zeros(count), np.zeros(count)
    for day in range(start // DAY_MS * DAY_MS, end, DAY_MS):
        cycles = reader.supply_cycles(module, max(start, day), min(end, day + DAY_MS), tap)
        here = ~np.isnan(cycles.rms)
        place = (cycles.t[here] / 1000 // INTERVAL_S).astype(np.int64) - first
        squares += np.bincount(place, cycles.rms[here] ** 2, count)
        known += np.bincount(place, minlength=count)
        flags += np.bincount(place, cycles.flagged[here], count)
        progress()
    low, high, mean_square, hertz = _minutes(reader, module, start, end, tap, first, count)
    with np.errstate(invalid="ignore"):
        rms = np.where(known > 0, np.sqrt(squares / known), np.sqrt(mean_square))
    measured = ~np.isnan(rms)
    taken = taken_s([(g.start_s, g.end_s) for g in gaps], edges)
    coverage = np.where(measured, 1.0 - taken / INTERVAL_S, 0.0)
    table = TenMinutes(
        start_s=edges[:-1], rms_v=rms, low_v=low, high_v=high, frequency_hz=hertz, flagged=flags > 0,
        coverage=coverage, interval_s=INTERVAL_S,
    )  # fmt: skip
    return table, int((measured & (known == 0)).sum())


def _minutes(
    reader: Reader, module: int, start: int, end: int, tap: int, first: int, count: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return least and greatest Urms(1/2), mean square of 1-min means, and mean frequency by 10 min."""
    voltage, frequency = ("supply_in", "frequency_in") if tap == 0 else ("supply_out", "frequency_out")
    found = reader.by_clock(module, start, end, (voltage, frequency), int(1000 * INTERVAL_S))
    inside = (found.index >= first) & (found.index < first + count)
    place = found.index[inside] - first

    def spread(values: Floats) -> Floats:
        whole = np.full(count, np.nan)
        whole[place] = values[inside]
        return whole

    return (
        spread(found.minimum[voltage]), spread(found.maximum[voltage]),
        spread(found.mean_square[voltage]), spread(found.mean[frequency]),
    )  # fmt: skip


def _ten_seconds(reader: Reader, module: int, start: int, end: int, tap: int) -> Floats | None:
    """Return the 10-s means of the module's 1-s frequencies on the whole grid; None for a long period.

    Ten seconds with less than nine values, such as at the edge of an interruption, give none.
    """
    if end - start > TEN_SECONDS_MS_MAX:
        return None
    name = "frequency_in" if tap == 0 else "frequency_out"
    first = -(-start // 10_000)
    count = max(0, end // 10_000 - first)
    total, number = np.zeros(count), np.zeros(count)
    for day in range(start, end, DAY_MS):
        found = reader.trends(module, day, min(end, day + DAY_MS), (name,))
        place = found.t // 10_000 - first
        here = (place >= 0) & (place < count) & ~np.isnan(found.mean[name])
        total += np.bincount(place[here], found.mean[name][here], count)
        number += np.bincount(place[here], minlength=count)
    return np.asarray(np.divide(total, number, out=np.full(count, np.nan), where=number >= 9))


def _harmonics(
    reader: Reader, module: int, start: int, end: int, tap: int, nominal_hz: float | None
) -> tuple[Floats | None, int]:
    """Return subgroups in per cent of the fundamental, a row each 10 min, nan where no snapshot stands."""
    if nominal_hz is None:
        return None, 0
    snapshot = tables.CAPTURE_KINDS.index("snapshot")
    first = int(start / 1000 // INTERVAL_S)
    count = -int(-end / 1000 // INTERVAL_S) - first
    rows = np.full((count, highest_order(RATE_HZ, nominal_hz)), np.nan)
    taken = 0
    for day in range(start, end, DAY_MS):
        stop = min(end, day + DAY_MS)
        halves = {(h.boot, h.capture_id, h.tap): h.period_us for h in reader.half_cycles(module, day, stop)}
        for one in reader.captures(module, day, stop, snapshot):
            half_us = halves.get((one.boot, one.capture_id, tap))
            if one.tap != tap or not one.complete or not half_us:
                continue
            found = short_snapshot(one.volts, RATE_HZ, nominal_hz, 2e-6 * half_us)
            # A dead line has no fundamental to be a part of.
            if found is not None and found.subgroup[0, 0] > 0.1 * float(np.sqrt(np.mean(one.volts**2))) > 2.0:
                percent = 100.0 * found.subgroup[0] / found.subgroup[0, 0]
                rows[int(one.start / 1000 // INTERVAL_S) - first] = percent
                taken += 1
    return (rows if taken else None), taken


def _states(reader: Reader, module: int, start: int, end: int) -> tuple[StateSpan, ...]:
    named = {name: name.replace("_", " ") for name in tables.SUPPLY_STATES}
    spans = []
    for band in reader.bands(module, start, end, "supply_state"):
        state = next(one for one in STATES if one == named[tables.SUPPLY_STATES[band.code]])
        spans.append(StateSpan(start_s=band.start / 1000, end_s=band.end / 1000, state=state))
    return tuple(spans)


def _calibrations(history: Sequence[SettingsInForce], tap: int) -> tuple[Calibration, ...]:
    """Return each gain and offset of the tap from when it was first reported."""
    name = CALIBRATED[tap]
    out: list[Calibration] = []
    for one in history:
        gain = tables.setting_value(one.values, f"calibration.{name}_gain") / 16384
        offset = tables.setting_value(one.values, f"calibration.{name}_offset") * 800 / 2048
        if not out or (out[-1].gain, out[-1].offset_v) != (gain, offset):
            out.append(Calibration(from_s=one.since / 1000, gain=gain, offset_v=offset))
    return tuple(out)


def _battery_tests(history: Sequence[SettingsInForce], end: int) -> tuple[tuple[float, float], ...]:
    """Return the proven discharges that the settings kept, as (time, minutes)."""
    found = {
        (
            tables.setting_value(one.values, "battery.proven_day") * DAY_MS / 1000,
            tables.setting_value(one.values, "battery.proven_minutes"),
        )
        for one in history
    }
    return tuple(sorted((day, minutes) for day, minutes in found if day > 0 < minutes and day * 1000 < end))


def _thresholds(one: SettingsInForce) -> dict[str, float]:
    return {name: tables.setting_value(one.values, name) for name in THRESHOLDS}


def _changes(history: Sequence[SettingsInForce], inside: Sequence[SettingsInForce]) -> int:
    """Count changes of threshold or nominal voltage among the reports inside the period."""
    names = (*THRESHOLDS, "supply.nominal_voltage")
    seen = [tuple(tables.setting_value(one.values, name) for name in names) for one in history]
    first = len(history) - len(inside)
    return sum(n > 0 and seen[n] != seen[n - 1] for n in range(max(first, 1), len(history)))


def _span(mark: Mark) -> tuple[float, float]:
    return mark.utc / 1000, (mark.utc if mark.utc_end is None else mark.utc_end) / 1000


def _equipment(mark: Mark) -> str:
    return str(mark.data.get("equipment", ""))


def _label(event: SupplyEvent, marks: Sequence[Mark]) -> str:
    """Return what people said of the time of an event."""
    said = []
    for mark in marks:
        begin, end = _span(mark)
        near = begin <= event.back_end_s and event.start_s <= max(end, begin + 60)
        if mark.kind == "supply label" and near:
            said.append(str(mark.data.get("label", mark.text)))
    return ", ".join(dict.fromkeys(said))


def _about(marks: Sequence[Mark]) -> dict[str, str]:
    """Return site metadata, the newest mark last to speak."""
    out: dict[str, str] = {}
    for mark in marks:
        out |= {str(name): str(value) for name, value in mark.data.items()}
    return out
