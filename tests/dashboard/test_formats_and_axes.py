"""Times across a change of the clock, numbers, and ticks at round local times."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from dashboard.figures.axes import STEPS_MS, step_for, tick_labels, tick_times
from dashboard.formats import DAY, HOUR, MINUTE, MISSING, clock, date, number, offset, span, utc_offset_ms
from dashboard.texts import Words

BERLIN = ZoneInfo("Europe/Berlin")


def ms(*parts):
    return round(datetime(*parts, tzinfo=UTC).timestamp() * 1000)


# Directive 2000/84/EC: summer time ends at 01:00 UTC on the last Sunday of October (25 October 2026), and
# begins at 01:00 UTC on the last Sunday of March (29 March 2026).
AUTUMN, SPRING = ms(2026, 10, 25, 1), ms(2026, 3, 29, 1)


def test_the_hour_that_comes_twice_is_told_by_its_offset():
    before, after = AUTUMN - 30 * MINUTE, AUTUMN + 30 * MINUTE
    assert clock(before, BERLIN) == clock(after, BERLIN) == "02:30"
    assert (offset(before, BERLIN), offset(after, BERLIN)) == ("UTC+02:00", "UTC+01:00")
    assert utc_offset_ms(before, BERLIN) - utc_offset_ms(after, BERLIN) == HOUR


def test_ticks_across_the_change_stay_on_round_local_times():
    times = tick_times(AUTUMN - 4 * HOUR, AUTUMN + 4 * HOUR, 2 * HOUR, BERLIN)
    labels = tick_labels(times, 2 * HOUR, BERLIN)
    assert [clock(t, BERLIN) for t in times] == ["00:00", "02:00", "02:00", "04:00", "06:00"]
    assert labels[2] == "02:00<br>UTC+01:00"
    spring = tick_times(SPRING - 4 * HOUR, SPRING + 4 * HOUR, HOUR, BERLIN)
    assert "02:00" not in [clock(t, BERLIN) for t in spring]  # the hour that isn't


@pytest.mark.parametrize("zone", ["Asia/Kathmandu", "Australia/Lord_Howe", "Asia/Kolkata", "UTC"])
def test_ticks_are_round_in_zones_with_odd_offsets(zone):
    """Nepal is UTC+05:45; Lord Howe shifts by 30 min (tz database)."""
    where = ZoneInfo(zone)
    for t in tick_times(ms(2026, 4, 4, 6), ms(2026, 4, 5, 12), 3 * HOUR, where):
        assert int(clock(t, where)[:2]) % 3 == 0
        assert clock(t, where)[3:] == "00"


def test_days_begin_at_local_midnight():
    times = tick_times(ms(2026, 10, 20), ms(2026, 11, 1), DAY, BERLIN)
    assert {clock(t, BERLIN) for t in times} == {"00:00"}
    assert len(times) == 12
    assert tick_labels(times[:2], DAY, BERLIN) == [date(times[0], BERLIN), date(times[1], BERLIN)]


@pytest.mark.parametrize("length", [800, 9000, 50_000, HOUR, 12 * HOUR, 9 * DAY, 400 * DAY])
def test_ticks_are_few_and_not_none(length):
    start = ms(2026, 1, 31, 22, 11)
    step = step_for(length, 8)
    assert step in STEPS_MS
    assert 1 <= len(tick_times(start, start + length, step, BERLIN)) <= 9


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (None, 1, MISSING),
        (float("nan"), 0, MISSING),
        (-0.04, 1, "0.0"),
        (-10.0, 0, "−10"),
        (93.25, 1, "93.2"),
    ],
)
def test_numbers(value, digits, text):
    assert number(value, digits) == text


@pytest.mark.parametrize(
    ("length", "text"),
    [(0, "0 s"), (35_000, "35 s"), (119_000, "119 s"), (120_000, "2 min"), (22 * MINUTE, "22 min"),
     (185 * MINUTE, "3 h 05 min"), (60 * HOUR, "2 d 12 h")],
)  # fmt: skip
def test_lengths_of_time(length, text):
    assert span(length, Words()) == text
