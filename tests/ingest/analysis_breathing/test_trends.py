"""Hourly sums, time outside limits, quiet stretches, compliance; a night across a clock change."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.analysis.breathing.model import breath_table
from ingest.analysis.breathing.trends import (
    MEASURES,
    compliance_changes,
    hourly,
    longest_without_breath,
    time_outside,
)
from ingest.analysis.night_clock import local_time, night_hours, utc_ms
from ingest.analysis.spans import clip, outside, overlap, total_ms, union

HOUR = 3_600_000


def _rows(count: int, *, peak=20.0, plateau=15.0, start_ms=0, period=4.0):
    step_ms = 1000 * period
    return [[start_ms + step_ms * i, 1.0, period - 1, peak, plateau, 5.0, 7.5, 5.0] for i in range(count)]


@pytest.mark.parametrize(
    ("zone", "night", "wall_hours", "labels"),
    [
        # Clocks go back at 03:00 CEST to 02:00 CET, 2026-10-25 (EU rule): 12 wall hours last 13 h.
        ("Europe/Paris", (2026, 10, 24, 20), 13, ["02:00+0200", "02:00+0100"]),
        # Clocks go forward 2026-03-29: 12 wall hours last 11 h, and 02:00 doesn't exist.
        ("Europe/Paris", (2026, 3, 28, 20), 11, []),
        # Half an hour of shift, back on 2026-04-05 at 02:00 LHDT: an hour is cut by the shift (IANA tz).
        ("Australia/Lord_Howe", (2026, 4, 4, 20), 13, ["01:30+1030"]),
        ("Asia/Kolkata", (2026, 10, 24, 20), 12, ["02:00+0530"]),
    ],
)  # fmt: skip
def test_a_night_across_a_clock_change(zone, night, wall_hours, labels) -> None:
    place = ZoneInfo(zone)
    start = datetime(*night, tzinfo=place)
    end = start.replace(day=start.day + 1, hour=8)
    hours = night_hours(utc_ms(start), utc_ms(end), place)
    assert sum(h.seconds for h in hours) == (end.astimezone(UTC) - start.astimezone(UTC)).total_seconds()
    assert len(hours) == wall_hours
    shown = [h.local_start.strftime("%H:%M%z") for h in hours]
    assert len(set(shown)) == len(shown)
    assert set(labels) <= set(shown)
    if zone == "Europe/Paris" and wall_hours == 11:
        assert not any(text.startswith("02:") for text in shown)


@given(start=st.integers(0, 4_000_000_000_000), length=st.integers(1, 20 * HOUR))
def test_hours_tile_the_night(start: int, length: int) -> None:
    zone = ZoneInfo("Europe/Paris")
    hours = night_hours(start, start + length, zone)
    assert hours[0].start_ms == start and hours[-1].end_ms == start + length
    assert all(a.end_ms == b.start_ms for a, b in zip(hours, hours[1:], strict=False))
    assert all(0 < h.end_ms - h.start_ms <= HOUR for h in hours)


def test_times_are_exact_to_the_millisecond() -> None:
    moment = datetime(2026, 10, 25, 0, 59, 59, 999_000, tzinfo=UTC)
    assert local_time(utc_ms(moment), UTC) == moment
    assert utc_ms(moment + timedelta(milliseconds=1)) - utc_ms(moment) == 1
    with pytest.raises(ValueError, match="zone"):
        utc_ms(datetime(2026, 1, 1))  # noqa: DTZ001


def test_hourly_median_and_range() -> None:
    rows = _rows(900) + _rows(900, peak=30.0, start_ms=HOUR)
    rows[10][3] = 44.0
    table = breath_table(rows)
    first, second, third = hourly(table, night_hours(0, 3 * HOUR, UTC), [(0, HOUR + HOUR // 2)])
    peak = first.measures[MEASURES.index("peak")]
    assert (peak.median, peak.low, peak.high) == (20.0, 20.0, 44.0)
    assert second.measures[MEASURES.index("peak")].median == 30.0
    assert (first.breaths, second.breaths, third.breaths) == (900, 900, 0)
    assert (first.watched_min, second.watched_min, third.watched_min) == (60.0, 30.0, 0.0)
    assert third.measures[0].median is None
    assert first.measures[MEASURES.index("rate_min")].median == pytest.approx(15.0)


def test_time_outside_limits_counts_breaths_by_their_length() -> None:
    rows = _rows(10, peak=36.0) + _rows(10, peak=20.0, start_ms=40_000) + _rows(5, peak=4.0, start_ms=80_000)
    table = breath_table(rows)
    found = time_outside(table, "peak", low=5.0, high=35.0)
    assert (found.above_s, found.below_s, found.judged_s) == (40.0, 20.0, 100.0)
    assert time_outside(table, "peak").above_s == 0.0


def test_longest_time_without_a_breath_never_spans_unmonitored_time() -> None:
    table = breath_table(_rows(30) + _rows(30, start_ms=145_000) + _rows(30, start_ms=600_000))
    quiet = longest_without_breath(table, [(0, 270_000), (600_000, 720_000)])
    assert quiet is not None and (quiet.start_ms, quiet.seconds) == (116_000, 29.0)
    assert longest_without_breath(table, []) is None
    silent = longest_without_breath(breath_table([]), [(0, 60_000)])
    assert silent is not None and silent.seconds == 60.0


def test_compliance_change_is_an_inference() -> None:
    # C ∝ 1/(plateau − PEEP) at constant volume (equation of motion, Chatburn 2014, P): 10 → 12.5 is −20 %.
    plateaus = np.concatenate((np.full(100, 15.0), np.linspace(15.0, 17.5, 200), np.full(100, 17.5)))
    rows = _rows(400)
    for row, plateau in zip(rows, plateaus, strict=True):
        row[4] = plateau
    (found,) = compliance_changes(breath_table(rows))
    assert found.key == "finding.compliance_static" and found.inference
    assert found.evidence["change_percent"] == pytest.approx(-20.0, abs=0.5)
    assert "pressure_cannot_tell.volume" in found.cannot_tell
    assert compliance_changes(breath_table(_rows(400))) == ()


def test_without_a_pause_the_change_is_dynamic_and_weaker() -> None:
    rows = _rows(400, plateau=np.nan)
    for i, row in enumerate(rows):
        row[3] = 20.0 + 5.0 * i / 400
    (found,) = compliance_changes(breath_table(rows))
    assert found.key == "finding.compliance_dynamic" and found.confidence < 0.6


PAIR = st.tuples(st.integers(0, 60), st.integers(0, 60)).map(lambda ab: (min(ab), max(ab)))
SPANS = st.lists(PAIR, max_size=8)


@given(one=SPANS, other=SPANS)
def test_spans_agree_with_sets_of_milliseconds(one, other) -> None:
    def points(spans):
        return {ms for a, b in spans for ms in range(a, b)}

    assert points(union(one)) == points(one)
    assert points(clip(one, 10, 40)) == points(one) & set(range(10, 40))
    assert points(outside(one, 10, 40)) == set(range(10, 40)) - points(one)
    assert points(overlap(one, other)) == points(one) & points(other)
    assert total_ms(one) == len(points(one))
