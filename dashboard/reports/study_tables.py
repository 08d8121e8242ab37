"""Lay a study out in tables for other programs: one DataFrame a table, unit last in each column's name.

The dictionary of the columns stands beside them: a test holds it to be whole.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pandas as pd

from dashboard.reports.study_data import Site
from ingest.analysis.supply import classify, indices
from ingest.analysis.supply.records import Figure, SupplyEvent
from ingest.analysis.supply.study import Study

Frame = pd.DataFrame
DAYS_FOR_INTERVAL = 7
# What a column's name ends in, longest first, the unit that this says, and the decimals that are written: one
# more than a reading has (0.01 V, 1 mHz, 1 ms), since means of many are finer, and none that nobody measured.
ENDINGS = (
    ("_percent", "%", 4), ("_utc", "UTC", 0), ("_energy_s", "s", 4), ("_min", "min", 3),
    ("minutes", "min", 3), ("_hz", "Hz", 4), ("_pu", "of reference", 5), ("_h", "h", 4), ("_s", "s", 3),
    ("_v", "V", 3),
)  # fmt: skip
DECIMALS = 4  # of what has no unit in its name


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Hold one module's data and what the study found in them."""

    site: Site
    study: Study


def unit_of(column: str) -> str:
    """Return the unit that a column's name says, '' for a name, a count or a yes and no."""
    return next((unit for ending, unit, _ in ENDINGS if column.endswith(ending)), "")


def _rounded(table: Frame) -> Frame:
    """Return a table with the decimals of its columns."""
    digits = {
        column: next((n for ending, _, n in ENDINGS if column.endswith(ending)), DECIMALS)
        for column in table.select_dtypes("float").columns
    }
    return table.round(digits)


def times(seconds: Iterable[float]) -> pd.DatetimeIndex:
    """Return seconds since 1970 as UTC times with milliseconds."""
    return pd.to_datetime(np.round(np.array(list(seconds), np.float64) * 1000), unit="ms", utc=True)


def iso(seconds: float | None) -> str | None:
    """Return a time as ISO 8601 in UTC, None for None."""
    if seconds is None:
        return None
    return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def figures(case: Case) -> list[Figure]:
    """Return the figures of the study as one list, each with interval or bounds and its coverage."""
    study, part = case.study, case.study.voltage[0]
    single = len(study.voltage) == 1
    why = "calibration changed" if not single else "nothing measured"
    away, inter, between = study.availability, study.interruptions, study.between

    def of(
        name: str, value: float | None, unit: str, cover: float, reason: str = "nothing measured",
        low: float | None = None, high: float | None = None,
    ) -> Figure:  # fmt: skip
        said = "" if value is not None else reason
        return Figure(
            name=name, value=value, unit=unit, coverage_percent=cover, low=low, high=high, reason=said
        )

    known = case.site.record.nominal_v is not None
    volts = [
        of(name, value if single else None, "V", part.coverage_percent, reason=why)
        for name, value in (("mean", part.mean_v), ("lowest", part.lowest_v), ("highest", part.highest_v))
    ]
    if not known:
        return [study.outside, *volts]
    cover = study.coverage_percent
    # Blocks of days drawn from a few days give no interval worth the name.
    few = study.end_s - study.begin_s < DAYS_FOR_INTERVAL * 86400.0 and between.failures > 0
    low, high = (None, None) if few else (between.low_h, between.high_h)
    moved = study.flicker
    flicker = [
        of(name, value, "", moved.coverage_percent, reason=moved.reason)
        for name, value in (
            ("pst_p95", moved.pst_p95), ("pst_greatest", moved.pst_greatest), ("plt", moved.plt_greatest),
        )
    ]  # fmt: skip
    return [
        of("availability", away.percent, "%", cover, low=away.low_percent, high=away.high_percent),
        study.outside,
        *volts,
        *study.rates,
        of("between", between.mean_h, "h", cover, low=low, high=high, reason="too short"),
        of("median", between.median_h, "h", cover, reason="too short"),
        of("per_year", inter.per_year, "/year", cover),
        of("minutes_per_year", inter.minutes_per_year, "min/year", cover),
        of("sag_energy", study.sag_energy_s, "s", cover),
        of("severity", study.worst_severity, "", cover),
        *flicker,
    ]


def events(case: Case) -> Frame:
    """Return the events, oldest first."""
    hertz = case.site.record.nominal_hz or 50.0
    pairs = zip(case.site.record.events, case.site.labels, strict=True)
    rows = [_event_row(event, label, tripped_by(case, event), hertz) for event, label in pairs]
    columns = list(_event_row(_BLANK, "", "", hertz))
    frame = pd.DataFrame(rows, columns=columns)
    frame["start_utc"] = times(frame["start_utc"])
    return frame


_BLANK = SupplyEvent(
    kind="dip", start_s=0.0, start_end_s=0.02, back_s=0.02, back_end_s=0.04, extreme_v=1.0, reference_v=1.0
)


def tripped_by(case: Case, event: SupplyEvent) -> str:
    """Name the equipment that a dip tripped, '' for none known."""
    if event.kind != "dip":
        return ""
    return ", ".join(t.equipment for t in case.study.trials if t.tripped and t.start_s == event.start_s)


def _event_row(event: SupplyEvent, label: str, tripped: str, nominal_hz: float) -> dict[str, Any]:
    least, most = event.duration_bounds_s
    whole = event.kind in ("dip", "swell")
    cell = classify.dip_cell if event.kind == "dip" else classify.swell_cell
    level, length = event.extreme_pu, event.duration_s
    dip = event.kind == "dip"
    return {
        "start_utc": event.start_s,
        "module": event.module,
        "kind": event.kind,
        "duration_s": round(length, 3),
        "duration_least_s": round(least, 3),
        "duration_most_s": round(most, 3),
        "extreme_v": event.extreme_v,
        "extreme_percent": 100.0 * level,
        "reference_v": event.reference_v,
        "clipped": event.clipped,
        "still_open": event.still_open,
        "unseen_s": event.unseen_s,
        "clock_error_s": event.clock_error_s,
        "en50160_cell": cell(level, length) if whole else None,
        "ieee1159": classify.category(level, length, nominal_hz) if whole else None,
        "itic": classify.itic_position(level, length) if whole else None,
        "semi_f47_passed": classify.semi_f47_passes(level, length) if dip else None,
        "sag_energy_s": classify.sag_energy_s(level, length) if dip else None,
        "sag_severity": classify.sag_severity(level, length) if dip else None,
        "label": label,
        "tripped": tripped,
    }


def ten_minutes(case: Case) -> Frame:
    """Return the 10-min values."""
    table = case.site.record.ten_minutes
    return pd.DataFrame(
        {
            "start_utc": times(table.start_s),
            "rms_v": table.rms_v,
            "least_half_cycle_v": table.low_v,
            "greatest_half_cycle_v": table.high_v,
            "frequency_hz": table.frequency_hz,
            "flagged": table.flagged,
            "pst": case.site.record.pst if case.site.record.pst is not None else np.full(len(table), np.nan),
            "coverage_percent": 100.0 * table.coverage,
        }
    )


def rapid_changes(case: Case) -> Frame:
    """Return the rapid voltage changes, and what they were found in."""
    found = case.site.record.rapid
    return pd.DataFrame(
        {
            "start_utc": times(e.start_s for e in found),
            "duration_s": [round(e.back_s - e.start_s, 3) for e in found],
            "extreme_v": [e.extreme_v for e in found],
            "steady_change_v": [e.steady_change_v for e in found],
            "steady_change_percent": [100.0 * (e.steady_change_v or 0.0) / e.reference_v for e in found],
            "found_in": [case.site.record.rapid_from] * len(found),
        }
    )


def figure_table(case: Case) -> Frame:
    """Return the figures."""
    names = ("name", "value", "unit", "low", "high", "coverage_percent", "reason")
    return pd.DataFrame([{name: getattr(f, name) for name in names} for f in figures(case)])


def limit_table(case: Case) -> Frame:
    """Return the judgements, voltage by calibration."""
    rows = [
        (part.begin_s, one) for part in case.study.voltage for one in part.limits
    ] + [(case.study.begin_s, one) for one in
        (*case.study.frequency, *case.study.harmonics, *case.study.flicker_limits)]  # fmt: skip
    return pd.DataFrame(
        [
            {
                "from_utc": iso(begin if one.begin_s is None else one.begin_s),
                "limit": one.name,
                "verdict": one.verdict,
                "inside_percent": one.inside_percent,
                "inside_low_percent": one.low_percent,
                "inside_high_percent": one.high_percent,
                "coverage_percent": one.coverage_percent,
            }
            for begin, one in rows
        ],
        columns=["from_utc", "limit", "verdict", "inside_percent", "inside_low_percent",
                 "inside_high_percent", "coverage_percent"],
    )  # fmt: skip


def counts(case: Case) -> Frame:
    """Return every count of a class, all with the coverage of the study."""
    study = case.study
    rows = [("en50160 dip", cell, n) for cell, n in study.dips.items()]
    rows += [("en50160 swell", cell, n) for cell, n in study.swells.items()]
    rows += [("ieee1159", name, n) for name, n in study.categories.items()]
    rows += [("itic", name, n) for name, n in study.itic.items()]
    rows += [("sarfi", f"{x:.0f}", n) for x, n in study.sarfi.items()]
    rows += [("semi f47", "below the curve", study.semi_f47_failed)]
    inter = study.interruptions
    rows += [("interruption", name, getattr(inter, name)) for name in ("short", "long", "undecided")]
    frame = pd.DataFrame(rows, columns=["table", "class", "count"])
    frame["coverage_percent"] = study.coverage_percent
    return frame


def week(case: Case) -> Frame:
    """Return the hour-by-weekday map."""
    found: indices.WeekMap = case.study.week
    place = [(day, hour) for day in range(7) for hour in range(24)]
    return pd.DataFrame(
        {
            "weekday": [day for day, _ in place],
            "hour": [hour for _, hour in place],
            "begun": [int(found.begun[at]) for at in place],
            "minutes": [float(found.minutes[at]) for at in place],
            "watched_h": [float(found.watched_h[at]) for at in place],
        }
    )


def duration_curve(case: Case) -> Frame:
    """Return the duration curve, by calibration."""
    parts = [
        pd.DataFrame({"from_utc": iso(p.begin_s), "time_percent": p.curve_percent, "at_least_v": p.curve_v})
        for p in case.study.voltage
    ]
    return pd.concat(parts, ignore_index=True)


def histogram(case: Case) -> Frame:
    """Return the hours in each class of voltage, by calibration."""
    parts = [
        pd.DataFrame(
            {"from_utc": iso(p.begin_s), "class_from_v": p.histogram.edges_v[:-1],
             "class_to_v": p.histogram.edges_v[1:], "measured_h": p.histogram.hours,
             "coverage_percent": p.coverage_percent}
        )
        for p in case.study.voltage
    ]  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def disturbances(case: Case) -> Frame:
    """Return the waveforms captured around events, each with the name that the rules give it."""
    found = case.site.waveforms
    names = [one.disturbance for one in found]
    return pd.DataFrame({"start_utc": times(one.start_s for one in found), "disturbance": names})


def harmonics(case: Case) -> Frame:
    """Return harmonic subgroups, 95 % value and greatest of the snapshots, with the limits."""
    percent = case.site.record.harmonics_percent
    rows = percent[~np.isnan(percent[:, 0])] if percent is not None else np.empty((0, 1))
    orders = range(2, rows.shape[1] + 1)
    return pd.DataFrame(
        {
            "order": list(orders),
            "p95_percent": [float(np.percentile(rows[:, n - 1], 95)) for n in orders],
            "greatest_percent": [float(rows[:, n - 1].max()) for n in orders],
            "limit_percent": [classify.HARMONIC_LIMITS_PERCENT.get(n) for n in orders],
            "snapshots": [len(rows)] * len(orders),
        }
    )


def discharges(case: Case) -> Frame:
    """Return the times on stored energy."""
    found = case.study.ups.discharges if case.study.ups else ()
    return pd.DataFrame(
        {
            "start_utc": times(d.start_s for d in found),
            "minutes": [d.minutes for d in found],
            "depth_percent": [d.depth_percent for d in found],
            "depth_measured": [d.measured for d in found],
            "recharge_min": [d.recharge_min for d in found],
            "ended_in": [d.ended for d in found],
        }
    )


def sizing(case: Case) -> Frame:
    """Return the sizing curves."""
    parts = [
        pd.DataFrame(
            {
                "window_low_pu": c.window_low_pu, "window_high_pu": c.window_high_pu,
                "battery_min": c.battery_min, "carried_at_most": c.ridden.astype(int),
                "carried_surely": c.ridden_sure.astype(int), "outages": c.outages,
                "recharge_min": c.recharge_min,
            }
        )
        for c in case.study.sizing
    ]  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def survival(case: Case) -> Frame:
    """Return the Kaplan-Meier curve of good supply."""
    at, part = case.study.survival
    return pd.DataFrame({"time_s": at, "part_lasting_longer": part})


def ride_through(case: Case) -> Frame:
    """Return what the equipment rode through, by length."""
    names = ("equipment", "longer_than_s", "up_to_s", "survived", "tripped", "survived_down_to_pu",
             "tripped_up_to_pu", "mixed")  # fmt: skip
    rows = [{name: getattr(r, name) for name in names} for r in case.study.ride_through]
    return pd.DataFrame(rows, columns=list(names))


def trials(case: Case) -> Frame:
    """Return each dip with what each piece of equipment did, unknown outcomes empty."""
    found = case.study.trials
    return pd.DataFrame(
        {
            "start_utc": times(t.start_s for t in found),
            "equipment": [t.equipment for t in found],
            "residual_percent": [100.0 * t.residual_pu for t in found],
            "duration_s": [t.duration_s for t in found],
            "tripped_it": [t.tripped for t in found],
        }
    )


def gaps(case: Case) -> Frame:
    """Return the stretches without data."""
    found = case.site.record.gaps
    return pd.DataFrame(
        {
            "start_utc": times(g.start_s for g in found),
            "end_utc": times(g.end_s for g in found),
            "reason": [g.reason for g in found],
        }
    )


TABLES: dict[str, Callable[[Case], Frame]] = {
    "figures": figure_table,
    "events": events,
    "ten_minutes": ten_minutes,
    "rapid_changes": rapid_changes,
    "limits": limit_table,
    "counts": counts,
    "week": week,
    "duration_curve": duration_curve,
    "histogram": histogram,
    "harmonics": harmonics,
    "disturbances": disturbances,
    "discharges": discharges,
    "sizing": sizing,
    "survival": survival,
    "ride_through": ride_through,
    "trials": trials,
    "gaps": gaps,
}


def _coverage(case: Case) -> dict[str, float]:
    """Return what part of the period each table rests on that doesn't say it row by row, in per cent."""
    percent, ups = case.site.record.harmonics_percent, case.study.ups
    whole = case.study.coverage_percent
    return dict.fromkeys(("sizing", "survival", "ride_through", "trials", "rapid_changes"), whole) | {
        "duration_curve": case.study.outside.coverage_percent or 0.0,
        "harmonics": 0.0 if percent is None else 100.0 * float((~np.isnan(percent[:, 0])).mean()),
        "discharges": 0.0 if ups is None else ups.coverage_percent,
    }


def tables_of(case: Case) -> dict[str, Frame]:
    """Return all tables by name; every row says whether it is SIMULATED, every figure what it rests on."""
    origin = "SIMULATED" if case.site.module.emulated else "real module"
    tables = {name: make(case) for name, make in TABLES.items()}
    for name, percent in _coverage(case).items():
        tables[name] = tables[name].assign(coverage_percent=percent)
    return {name: _rounded(table).assign(origin=origin) for name, table in tables.items()}
