"""Indices, time between failures, UPS, equipment, matching: worked out by hand unless said otherwise."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from ingest.analysis.supply import equipment, events, failures, indices, matching, ups
from ingest.analysis.supply.records import Gap, SupplyEvent, coverage_percent, watched_s
from ingest.analysis.supply.windows import Tap, half_cycles, window_start

DAY, HOUR = 86400.0, 3600.0


def event(kind, level, start_s, seconds, **more):
    return SupplyEvent(
        kind=kind, start_s=start_s, start_end_s=start_s + 0.02, back_s=start_s + seconds,
        back_end_s=start_s + seconds + 0.02, extreme_v=230.0 * level, reference_v=230.0, **more,
    )  # fmt: skip


def gap(start, end, dark=True):
    return Gap(start_s=start, end_s=end, reason="module off", dark=dark)


def test_coverage_counts_overlapping_gaps_once():
    gaps = (gap(10, 30), gap(20, 40), gap(90, 120), gap(-5, 2))
    assert watched_s(0.0, 100.0, gaps) == pytest.approx(100 - 2 - 30 - 10)
    assert coverage_percent(0.0, 100.0, gaps) == pytest.approx(58.0)
    assert coverage_percent(5.0, 5.0, ()) == 0.0
    assert watched_s(0.0, 100.0, (gap(-10, 200),)) == 0.0


def test_sag_energy_of_a_measured_dip(mains):
    # 0.7 pu for 0.5 s holds 0.255 s (worked out, IEEE 1564); half-overlapped windows add half a cycle's
    # worth.
    wave = mains.scaled(mains.sine(3.0), lambda t: np.where((t >= 1.0) & (t < 1.5), 0.7, 1.0))
    tap = Tap(rate_hz=3200.0)
    _, rows = half_cycles(window_start(tap), wave, tap, 0.0)
    _, (dip,), _ = events.detect(events.DetectorState(), rows, 230.0, events.USUAL)
    assert indices.event_energy_s(rows, dip) == pytest.approx(0.255, abs=0.01)


def test_sarfi():
    found = [
        event("dip", 0.89, 0, 1),
        event("dip", 0.69, 0, 1),
        event("dip", 0.0, 0, 1),
        event("swell", 1.21, 0, 1),
    ]
    found.append(event("interruption", 0.0, 0, 1))
    assert [indices.sarfi(found, x) for x in (90, 70, 50, 10, 110, 120, 140)] == [3, 2, 1, 1, 1, 1, 0]


def test_short_and_long_interruptions():
    # Short up to 3 min, long above (published).
    found = [event("interruption", 0, 0, 180.0), event("interruption", 0, 1000, 180.1)]
    found.append(event("interruption", 0, 5000, 400.0, unseen_s=300.0))
    found.append(event("interruption", 0, 9000, 100.0, still_open=True))
    got = indices.interruptions(found, 0.0, 10000.0, (gap(5100, 5400),))
    assert (got.short, got.long, got.undecided) == (1, 1, 2)
    assert got.coverage_percent == pytest.approx(97.0)
    assert got.per_year == pytest.approx(4 * 365.25 * DAY / 9700)
    assert got.minutes_seen == pytest.approx((180 + 180.1 + 100 + 100) / 60)
    assert got.minutes_at_most == pytest.approx((180 + 180.1 + 400 + 1000) / 60)


def test_histogram_and_duration_curve():
    rms = np.array([229.0, 231.0, 231.5, np.nan, 240.0])
    covered = np.array([600.0, 600.0, 300.0, 0.0, 600.0])
    got = indices.histogram(rms, covered, 600.0)
    assert got.edges_v[0] == 228.0
    assert got.hours.sum() == pytest.approx(2100 / 3600)
    assert got.hours[1] == pytest.approx(900 / 3600)
    assert got.missing_h == pytest.approx(900 / 3600)
    percent, level = indices.duration_curve(rms, covered)
    assert level.tolist() == [240.0, 231.5, 231.0, 229.0]
    assert percent.tolist() == pytest.approx([100 * x / 2100 for x in (600, 900, 1500, 2100)])
    assert indices.histogram(np.full(3, np.nan), np.zeros(3), 600.0).missing_h == 0.5


def test_time_outside_the_band_has_bounds():
    rms = np.array([230.0, 206.9, np.nan, 253.1, 207.0, 253.0])
    covered = np.where(np.isnan(rms), 0.0, 600.0)
    got = indices.outside_band(rms, covered, 600.0, 230.0)
    assert got.value == pytest.approx(40.0)
    assert got.low == pytest.approx(100 * 2 / 6)
    assert got.high == pytest.approx(100 * 3 / 6)
    assert got.coverage_percent == pytest.approx(100 * 5 / 6)
    unknown = indices.outside_band(rms, covered, 600.0, None)
    assert unknown.value is None
    assert unknown.reason == "nominal unknown"


def test_week_map_follows_local_time_across_a_clock_change():
    zone = ZoneInfo("Europe/Paris")
    sunday = datetime(2024, 3, 31, tzinfo=zone).timestamp()  # 02:00 becomes 03:00
    monday = datetime(2024, 4, 1, tzinfo=zone).timestamp()
    at = datetime(2024, 3, 31, 3, 30, tzinfo=zone).timestamp()
    got = indices.week_map([(at, at + 3600.0)], sunday, monday, (gap(sunday, sunday + 1800),), zone)
    assert got.begun[6, 3] == 1
    assert got.begun.sum() == 1
    assert got.minutes[6, 3] == pytest.approx(30.0)
    assert got.minutes[6, 4] == pytest.approx(30.0)
    assert got.watched_h[6, 2] == 0.0
    assert got.watched_h[6, 0] == pytest.approx(0.5)
    assert got.watched_h.sum() == pytest.approx(22.5)
    assert np.isnan(got.per_hour_watched[6, 2])


def test_day_map_follows_local_days_across_a_clock_change():
    """Saturday to Monday noon in Paris: the Sunday of the change has 23 h; one outage goes over midnight."""
    zone = ZoneInfo("Europe/Paris")
    begin = datetime(2024, 3, 30, 12, tzinfo=zone).timestamp()
    end = datetime(2024, 4, 1, 12, tzinfo=zone).timestamp()
    midnight = datetime(2024, 4, 1, tzinfo=zone).timestamp()
    outages = [(midnight - 600.0, midnight + 1200.0), (midnight + 1800.0, midnight + 1860.0)]
    got = indices.day_map(outages, begin, end, (gap(begin, begin + 7200),), zone)
    assert [day.weekday() for day in got.days] == [0, 1, 2, 3, 4, 5, 6, 0]
    assert str(got.days[-1]) == "2024-04-01"
    assert got.begun.tolist() == [0, 0, 0, 0, 0, 0, 1, 1]
    assert got.minutes[6:] == pytest.approx([10.0, 21.0])
    assert got.watched_h == pytest.approx([0, 0, 0, 0, 0, 10, 23, 12])
    # From Monday to Monday are seven days.
    assert len(indices.day_map([], midnight, midnight + 7 * DAY, (), zone).days) == 7


def test_week_map_of_whole_weeks_is_even():
    begin = datetime(2024, 1, 1, tzinfo=UTC).timestamp()
    got = indices.week_map([], begin, begin + 14 * DAY, ())
    assert got.watched_h == pytest.approx(2.0)


def test_mean_time_between_failures():
    outages = [(1 * DAY, 1 * DAY + HOUR), (3 * DAY, 3 * DAY + 2 * HOUR), (3 * DAY + HOUR, 3 * DAY + 3 * HOUR)]
    got = failures.time_between_failures(outages, 0.0, 10 * DAY, [gap(5 * DAY, 6 * DAY)])
    assert got.failures == 2
    assert got.exposure_h == pytest.approx(240 - 1 - 3 - 24)
    assert got.mean_h == pytest.approx(212 / 2)
    assert got.coverage_percent == pytest.approx(90.0)
    assert got.low_h < got.mean_h < got.high_h
    assert got == failures.time_between_failures(outages, 0.0, 10 * DAY, [gap(5 * DAY, 6 * DAY)])
    assert got.low_h != failures.time_between_failures(outages * 1, 0.0, 9.7 * DAY, [], seed=1).low_h


def test_no_failure_gives_a_bound_not_infinity():
    # Rule of three: with none in an exposure, 95 % exclude more than 3.0 in it.
    got = failures.time_between_failures([], 0.0, 30 * DAY, [])
    assert got.mean_h is None
    assert got.low_h == pytest.approx(720 / 2.9957, rel=1e-4)
    assert failures.time_between_failures([], 0.0, DAY, [gap(0, DAY)]).low_h is None


def test_dark_time_is_censored():
    outages = [(1000.0, 1100.0), (5000.0, 5100.0)]
    found = failures.spells(outages, 0.0, 10000.0, [gap(2000.0, 3000.0)])
    assert [(s.length_s, s.failed, s.start_seen) for s in found] == [
        (1000.0, True, False),
        (900.0, False, True),
        (2000.0, True, False),
        (4900.0, False, True),
    ]
    whole = failures.time_between_failures(outages, 0.0, 10000.0, [])
    dark = failures.time_between_failures(outages, 0.0, 10000.0, [gap(2000.0, 3000.0)])
    assert dark.exposure_h == pytest.approx(whole.exposure_h - 1000 / 3600)
    assert dark.failures == whole.failures


def test_outage_that_begins_in_the_dark_is_not_counted_as_seen():
    got = failures.time_between_failures([(2500.0, 4000.0)], 0.0, 10000.0, [gap(2000.0, 3000.0)])
    assert got.failures == 0
    assert got.exposure_h == pytest.approx(8000 / 3600)


def test_kaplan_meier_by_hand():
    # Spells 2, 3+, 4, 4, 5+ : S(2) = 4/5, S(4) = 4/5 * 1/3 (worked out by hand, + is censored).
    spells = [
        failures.Spell(length_s=length, failed=failed, start_seen=True)
        for length, failed in ((2, True), (3, False), (4, True), (4, True), (5, False))
    ]
    times, curve = failures.survival(spells)
    assert times.tolist() == [2, 4]
    assert curve == pytest.approx([0.8, 0.8 / 3])


def test_spells_of_unknown_age_stay_out_of_the_curve():
    seen = failures.Spell(length_s=2.0, failed=True, start_seen=True)
    unseen = failures.Spell(length_s=1.0, failed=True, start_seen=False)
    times, curve = failures.survival([seen, unseen])
    assert times.tolist() == [2.0]
    assert curve.tolist() == [0.0]


def test_blocks_are_runs_of_days():
    # One circular block as long as the record always sums to the same; single days don't.
    days = np.arange(6.0)[:, None]
    assert (failures.resampled_sums(days, 6) == 15.0).all()
    assert failures.resampled_sums(days, 1).std() > 1.0
    pairs = failures.resampled_sums(np.eye(6), 2)
    assert set(np.unique(pairs)) <= {0.0, 1.0, 2.0, 3.0, 4.0}
    assert pairs.sum(axis=1).tolist() == [6.0] * len(pairs)


def test_kaplan_meier_against_scipy():
    from scipy import stats

    rng = np.random.default_rng(3)
    lengths, failed = rng.exponential(10, 80), rng.random(80) < 0.7
    spells = [
        failures.Spell(length_s=x, failed=bool(f), start_seen=True)
        for x, f in zip(lengths, failed, strict=True)
    ]
    times, curve = failures.survival(spells)
    outside = stats.ecdf(stats.CensoredData.right_censored(lengths, ~failed)).sf
    assert curve == pytest.approx(outside.evaluate(times))


def test_interval_covers_the_truth():
    # 60 records of 120 days with 0.67 outages a day (the mean of a published hospital study) and a day dark
    # in ten: the 95 % interval must hold the true rate about that often. 50 of 60 allows for resampling so
    # few blocks.
    hits = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        starts = np.cumsum(rng.exponential(DAY / 0.67, 200))
        starts = starts[starts < 120 * DAY]
        gaps = [gap(d * DAY, (d + 1) * DAY) for d in range(5, 120, 10)]
        seen = [(s, s + 60.0) for s in starts if not any(g.start_s <= s < g.end_s for g in gaps)]
        got = failures.time_between_failures(seen, 0.0, 120 * DAY, gaps)
        hits += got.per_day_low <= 0.67 <= got.per_day_high
    assert 50 <= hits <= 60


def test_clusters_widen_the_interval():
    rng = np.random.default_rng(5)
    even = [(d * 2 * DAY + 1000.0, d * 2 * DAY + 1060.0) for d in range(60)]
    bursts = [(b * 12 * DAY + k * HOUR, b * 12 * DAY + k * HOUR + 60.0) for b in range(10) for k in range(6)]
    assert len(even) == len(bursts)
    del rng
    calm = failures.time_between_failures(even, 0.0, 120 * DAY, [])
    wild = failures.time_between_failures(bursts, 0.0, 120 * DAY, [])
    assert wild.high_h - wild.low_h > 2 * (calm.high_h - calm.low_h)
    assert wild.clustering > 3
    assert calm.clustering < 1


def test_availability_has_bounds_for_the_dark():
    got = failures.availability([(0.0, DAY)], 0.0, 10 * DAY, [gap(5 * DAY, 7 * DAY)])
    assert got.percent == pytest.approx(100 * 7 / 8)
    assert got.low_percent == pytest.approx(70.0)
    assert got.high_percent == pytest.approx(90.0)
    assert got.coverage_percent == pytest.approx(80.0)
    none = failures.availability([], 0.0, DAY, [gap(0.0, DAY)])
    assert none.percent is None
    assert (none.low_percent, none.high_percent) == (0.0, 100.0)


def span(start, end, state):
    return ups.StateSpan(start_s=start * 60.0, end_s=end * 60.0, state=state)


def test_what_the_ups_saw():
    spans = [
        span(0, 100, "normal"), span(100, 110, "stored energy"), span(110, 140, "normal"),
        span(140, 160, "stored energy"), span(160, 170, "dead"), span(170, 200, "bypass"),
        span(200, 230, "undetermined"), span(230, 260, "normal"), span(260, 262, "stored energy"),
        span(262, 300, "normal"),
    ]  # fmt: skip
    got = ups.ups_summary(spans, 0.0, 300 * 60.0, proven_min=20.0)
    assert got.transfers == 3
    assert got.output_fell == 1
    assert got.hours["bypass"] == pytest.approx(0.5)
    assert got.hours["undetermined"] == pytest.approx(0.5)
    assert got.coverage_percent == pytest.approx(90.0)
    assert [d.depth_percent for d in got.discharges] == pytest.approx([50.0, 100.0, 10.0])
    assert [d.recharge_min for d in got.discharges] == [None, pytest.approx(30.0), pytest.approx(30.0)]
    assert [d.ended for d in got.discharges] == ["normal", "dead", "normal"]
    assert not got.discharges[0].measured
    assert got.shortest_recharge_min == pytest.approx(30.0)


def test_depth_needs_proof_or_measurement():
    spans = [span(0, 100, "normal"), span(100, 110, "stored energy")]
    bare = ups.ups_summary(spans, 0.0, 110 * 60.0)
    assert bare.deepest_percent is None
    assert bare.discharges[0].ended == "record end"
    measured = ups.ups_summary(spans, 0.0, 110 * 60.0, proven_min=20.0, drained_percent={6000.0: 37.0})
    assert measured.discharges[0].depth_percent == 37.0
    assert measured.discharges[0].measured


def test_gap_forgets_the_recharge():
    spans = [
        span(0, 5, "stored energy"),
        span(5, 20, "normal"),
        span(60, 80, "normal"),
        span(80, 81, "stored energy"),
    ]
    got = ups.ups_summary(spans, 0.0, 81 * 60.0)
    assert got.discharges[1].recharge_min is None
    assert got.coverage_percent == pytest.approx(100 * 41 / 81)


def test_battery_trend_ignores_one_bad_test():
    years = np.arange(8) / 2 * ups.YEAR_S
    minutes = 20.0 - 2.0 * np.arange(8) / 2
    minutes[3] = 5.0
    got = ups.battery_trend(years, minutes, needed_min=10.0)
    assert got.minutes_a_year == pytest.approx(-2.0, abs=0.05)
    assert got.reaches_needed_s / ups.YEAR_S == pytest.approx(5.0, abs=0.1)
    assert ups.battery_trend(years[:2], minutes[:2], 10.0).minutes_a_year is None
    assert ups.battery_trend(years, np.full(8, 20.0), 10.0).reaches_needed_s is None


def test_sizing_curve():
    # Three outages of 10 min, an hour apart, recharge 2 h from empty: 10 min of battery carries the first
    # only; after it, half is back (5 < 10), and half again. 20 min: 20-10=10, +10=20, all three. By hand.
    found = [event("dip", 0.0, 3600.0 * k * 7 / 6, 600.0) for k in range(3)]
    got = ups.sizing(found, np.array([5.0, 10.0, 12.0, 20.0, 60.0]), recharge_min=120.0)
    assert got.outages == 3
    assert got.ridden.tolist() == [0.0, 1.0, 1.0, 3.0, 3.0]
    wide = ups.sizing([event("dip", 0.75, 0, 600.0), *found], np.array([60.0]))
    assert wide.outages == 3
    narrow = ups.sizing([event("dip", 0.75, 0, 600.0), *found], np.array([60.0]), window_low_pu=0.8)
    assert narrow.outages == 4


def test_sizing_with_uncertain_lengths():
    found = [
        event("dip", 0.0, 0.0, 1200.0, unseen_s=900.0),
        event("dip", 0.0, 90000.0, 60.0, still_open=True),
    ]
    got = ups.sizing(found, np.array([10.0]))
    assert got.ridden.tolist() == [2.0]
    assert got.ridden_sure.tolist() == [0.0]


def test_ride_through_curve():
    dips = [event("dip", level, 100.0 * n, 0.15) for n, level in enumerate((0.8, 0.6, 0.55, 0.5, 0.3))]
    found, stray = equipment.trials(dips, [300.3, 400.2, 1000.0], [(0.0, 350.0), (390.0, 410.0)])
    assert [t.tripped for t in found] == [False, False, False, True, True]
    assert stray == [1000.0]
    row = next(r for r in equipment.ride_through(found) if r.survived)
    assert (row.longer_than_s, row.up_to_s) == (0.1, 0.2)
    assert (row.survived, row.tripped) == (3, 2)
    assert row.survived_down_to_pu == pytest.approx(0.55)
    assert row.tripped_up_to_pu == pytest.approx(0.5)
    assert not row.mixed
    unseen, _ = equipment.trials(dips, [], [])
    assert [t.tripped for t in unseen] == [None] * 5


def test_ride_through_says_when_outcomes_are_mixed():
    trials = [
        equipment.Trial(residual_pu=u, duration_s=0.1, tripped=t) for u, t in ((0.5, True), (0.4, False))
    ]
    assert any(row.mixed for row in equipment.ride_through(trials))


def test_events_of_two_modules():
    first = [event("dip", 0.5, t, 0.1, module="a", clock_error_s=0.05) for t in (10.0, 20.0, 30.0, 40.0)]
    second = [event("dip", 0.6, t, 0.1, module="b", clock_error_s=0.05) for t in (10.08, 20.05, 55.0)]
    got = matching.match(first, second, second_gaps=[gap(39.0, 41.0)])
    assert [(a.start_s, b.start_s) for a, b in got.pairs] == [(10.0, 10.08), (20.0, 20.05)]
    assert [e.start_s for e in got.only_first] == [30.0]
    assert [e.start_s for e in got.unknown] == [40.0]
    assert [e.start_s for e in got.only_second] == [55.0]
    assert got.offset_s == pytest.approx(0.065)


def test_matching_takes_the_least_total_difference():
    first = [event("dip", 0.5, t, 0.01, clock_error_s=0.5) for t in (10.0, 10.6)]
    second = [event("dip", 0.5, t, 0.01, clock_error_s=0.5) for t in (10.5, 11.1)]
    assert [(a.start_s, b.start_s) for a, b in matching.match(first, second).pairs] == [
        (10.0, 10.5),
        (10.6, 11.1),
    ]
    near = [event("dip", 0.5, t, 0.01, clock_error_s=0.5) for t in (10.0, 10.1)]
    far = [event("dip", 0.5, t, 0.01, clock_error_s=0.5) for t in (10.02, 10.12)]
    assert [(a.start_s, b.start_s) for a, b in matching.match(near, far).pairs] == [
        (10.0, 10.02),
        (10.1, 10.12),
    ]
    swell = [event("swell", 1.2, 10.0, 0.01, clock_error_s=0.5)]
    assert matching.match(first[:1], swell).pairs == ()
