"""The whole study of an invented site: speed, and what it says when the record is poor."""

from dataclasses import replace
from time import process_time

import numpy as np
import pytest

from ingest.analysis.supply import study as st
from ingest.analysis.supply.records import NOTES, REASONS, Calibration, Gap, SupplyEvent, TenMinutes
from ingest.analysis.supply.ups import StateSpan

DAY = 86400.0
COLUMNS = ("start_s", "rms_v", "low_v", "high_v", "frequency_hz", "flagged", "coverage")
BEGIN = 1704067200.0  # Monday, 1 January 2024, UTC


def event(kind, level, start_s, seconds, **more):
    return SupplyEvent(
        kind=kind, start_s=start_s, start_end_s=start_s + 0.02, back_s=start_s + seconds,
        back_end_s=start_s + seconds + 0.02, extreme_v=230.0 * level, reference_v=230.0, **more,
    )  # fmt: skip


def table(begin_s, days, seed=1, mean_v=228.0):
    rng = np.random.default_rng(seed)
    count = round(days * 144)
    rms = mean_v + 12 * np.sin(np.arange(count) / 144 * 2 * np.pi) + rng.normal(0, 4, count)
    return TenMinutes(
        start_s=begin_s + 600.0 * np.arange(count), rms_v=rms, low_v=rms - 5, high_v=rms + 5,
        frequency_hz=50 + rng.normal(0, 0.05, count), flagged=rng.random(count) < 0.01,
        coverage=np.ones(count),
    )  # fmt: skip


def many_events(seed, begin_s, days, a_day=8.0):
    rng = np.random.default_rng(seed)
    starts = begin_s + np.sort(rng.uniform(0, days * DAY, round(a_day * days)))
    out = []
    for start in starts.tolist():
        kind = rng.choice(["dip", "dip", "dip", "swell", "rapid change"])
        seconds, level = float(10 ** rng.uniform(-1.7, 2.5)), float(rng.uniform(0.0, 0.9))
        if kind == "swell":
            level = float(rng.uniform(1.1, 1.5))
        out.append(event(kind, level, start, seconds))
        if kind == "dip" and level < 0.05:
            out.append(event("interruption", level, start + 0.01, seconds))
    return tuple(out)


def states(begin_s, days):
    out, at = [], begin_s
    for _ in range(round(days)):
        out.append(StateSpan(start_s=at, end_s=at + DAY - 600, state="normal"))
        out.append(StateSpan(start_s=at + DAY - 600, end_s=at + DAY, state="stored energy"))
        at += DAY
    return tuple(out)


def record(days=28.0, **more):
    base = st.Record(
        begin_s=BEGIN, end_s=BEGIN + days * DAY, nominal_v=230.0, nominal_hz=50.0,
        ten_minutes=table(BEGIN, days), events=many_events(2, BEGIN, days), states=states(BEGIN, days),
    )  # fmt: skip
    return replace(base, **more)


def keys(result):
    return {note.key: note for note in result.notes}


def test_a_year_in_seconds():
    # The goal is 5 s of computing for a year of 10-min and event records; the compiler runs once, before.
    snapshots = np.full((52560, 25), 0.4)
    year = record(365.0, events=many_events(5, BEGIN, 365.0, a_day=56.0), harmonics_percent=snapshots)
    st.study(record(1.0))
    begin = process_time()
    result = st.study(year)
    assert process_time() - begin < 5.0
    assert len(year.events) > 20000
    assert result.coverage_percent == 100.0
    assert sum(result.dips.values()) == sum(e.kind == "dip" for e in year.events)


def test_a_complete_month():
    result = st.study(record())
    assert result.coverage_percent == 100.0
    assert set(keys(result)) == {"flagged values kept"}
    (part,) = result.voltage
    assert result.outside.value == part.outside.value
    assert part.coverage_percent == pytest.approx(100.0)
    assert part.histogram.hours.sum() == pytest.approx(28 * 24)
    assert len(part.limits) == 2 * 4
    assert result.ups.transfers == 28
    assert result.week.watched_h.sum() == pytest.approx(28 * 24)
    assert result.rates[0].value == pytest.approx(sum(e.kind == "dip" for e in record().events) / 4)
    assert result.sarfi[90.0] == sum(result.dips.values())
    assert result.availability.low_percent == result.availability.high_percent == result.availability.percent
    assert [c.outages for c in result.sizing] == sorted(c.outages for c in result.sizing)
    assert result.sizing[0].ridden[-1] <= result.sizing[0].outages


def test_every_key_is_declared():
    result = st.study(record(nominal_v=None, ten_minutes=table(BEGIN, 1.0)))
    assert set(keys(result)) <= set(NOTES)
    assert result.outside.reason in REASONS


def test_period_without_data():
    empty = TenMinutes(**{name: np.empty(0) for name in COLUMNS})

    gap = Gap(start_s=BEGIN, end_s=BEGIN + 28 * DAY, reason="never connected")
    result = st.study(record(ten_minutes=empty, events=(), gaps=(gap,), states=()))
    assert {"no data", "gap", "coverage low"} <= set(keys(result))
    assert result.coverage_percent == 0.0
    assert result.outside.value is None
    assert result.availability.percent is None
    assert (result.availability.low_percent, result.availability.high_percent) == (0.0, 100.0)
    assert result.between.mean_h is None
    assert all(rate.value is None for rate in result.rates)
    assert [rate.reason for rate in result.rates] == ["nothing measured"] * 3 + ["seconds not kept"]
    assert result.ups is None
    assert all(j.verdict == "not decided" for j in result.voltage[0].limits)


def test_missing_intervals_are_not_quiet():
    whole = record()
    kept = whole.ten_minutes.start_s < BEGIN + 14 * DAY
    half = TenMinutes(**{
        name: getattr(whole.ten_minutes, name)[kept]
        for name in COLUMNS
    })  # fmt: skip
    result = st.study(replace(whole, ten_minutes=half))
    (part,) = result.voltage
    assert part.coverage_percent == pytest.approx(50.0)
    assert part.histogram.missing_h == pytest.approx(14 * 24)
    assert [j.verdict for j in part.limits[2:4]] == ["not decided"] * 2
    assert part.outside.high - part.outside.low == pytest.approx(50.0)
    assert all(j.coverage_percent == pytest.approx(50.0) for j in result.frequency)


def test_unknown_nominal():
    result = st.study(record(nominal_v=None))
    assert "nominal unknown" in keys(result)
    assert result.outside.value is None
    assert result.outside.reason == "nominal unknown"
    (part,) = result.voltage
    assert part.limits == ()
    assert part.mean_v == pytest.approx(228.0, abs=1.0)
    assert part.histogram.hours.sum() > 0


def test_calibration_change_is_never_averaged_over():
    at = BEGIN + 10 * DAY
    first, second = table(BEGIN, 10.0, mean_v=228.0), table(at, 18.0, mean_v=238.0)
    both = TenMinutes(**{
        name: np.concatenate((getattr(first, name), getattr(second, name)))
        for name in COLUMNS
    })  # fmt: skip
    mixed = np.searchsorted(both.start_s, at)
    both.low_v[mixed] = 1.0  # the interval that holds the change
    changes = (Calibration(from_s=BEGIN - DAY, gain=1.0), Calibration(from_s=at + 300, gain=1.04))
    result = st.study(record(ten_minutes=both, calibrations=changes))
    assert keys(result)["calibration changed"].at_s == at + 300
    assert result.outside.value is None
    assert result.outside.reason == "calibration changed"
    one, two = result.voltage
    assert one.mean_v == pytest.approx(228.3, abs=0.7)
    assert two.mean_v == pytest.approx(238.3, abs=0.7)
    assert one.outside.value is not None
    assert min(one.lowest_v, two.lowest_v) > 100.0
    assert round((one.histogram.hours.sum() + two.histogram.hours.sum()) * 6) == 28 * 144 - 1


def test_dark_module_and_gap_inside_an_event():
    dark = Gap(start_s=BEGIN + DAY, end_s=BEGIN + 2 * DAY, reason="no power", dark=True)
    link = Gap(start_s=BEGIN + 1.5 * DAY, end_s=BEGIN + 3 * DAY, reason="unplugged")
    cut = event("interruption", 0.0, BEGIN + DAY - 600, 2 * DAY + 1200, unseen_s=2 * DAY)
    dip = replace(cut, kind="dip", start_s=cut.start_s - 0.01)
    late = event("dip", 0.5, BEGIN + 3 * DAY, 0.1, before_s=DAY, clipped=True, still_open=True)
    result = st.study(record(events=(dip, cut, late), gaps=(dark, link)))
    notes = keys(result)
    assert notes["module dark"].seconds == pytest.approx(DAY)
    assert notes["gap"].seconds == pytest.approx(2 * DAY)
    assert notes["gap inside event"].count == 2
    assert {"event may have begun in a gap", "event still open", "event clipped"} <= set(notes)
    assert result.coverage_percent == pytest.approx(100 * 26 / 28)
    assert result.interruptions.undecided == 0
    assert result.interruptions.long == 1
    assert result.interruptions.minutes_seen == pytest.approx(20.0)
    assert result.interruptions.minutes_at_most == pytest.approx(20.0 + 2 * 1440)
    assert result.between.failures == 1


def test_backward_period_is_refused():
    with pytest.raises(ValueError, match="not after its begin"):
        st.study(record(end_s=BEGIN))


def test_events_outside_the_period_do_not_count():
    result = st.study(record(events=(event("dip", 0.5, BEGIN - 5, 0.1), event("dip", 0.5, BEGIN + 5, 0.1))))
    assert sum(result.dips.values()) == 1
