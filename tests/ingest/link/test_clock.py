"""Ticks to UTC: the wrap, the slope of a drifting crystal, a host clock that is set."""

import random

import pytest

from ingest.link.clock import RATE_PPB_MAX, WRAP, Clock, observe, widen

UTC = 1_700_000_000_000


@pytest.mark.parametrize(("raw", "last", "wide"), [
    (5, 0, 5),
    (WRAP - 1, WRAP - 1000, WRAP - 1),
    (4, WRAP - 1, WRAP + 4),
    (WRAP - 5, WRAP + 4, WRAP - 5),
    (3_000_000_000, 0, 3_000_000_000),
    (100, 5 * WRAP + 90, 5 * WRAP + 100),
])
def test_widening(raw, last, wide):
    assert widen(raw, last) == wide


def _run(ppm, hours, delay_ms=200, seed=1):
    """Answers once a minute; UTC runs by the true rate, each answer late by 0..delay_ms."""
    noise, clock = random.Random(seed), Clock()
    for minute in range(hours * 60):
        tick = minute * 60_000
        heard = UTC + tick * (1 + ppm / 1e6) + noise.uniform(0, delay_ms)
        clock, _ = observe(clock, tick, round(heard), None)
    return clock, hours * 3_600_000


@pytest.mark.parametrize("ppm", [-60.0, 0.0, 35.0, 150.0])
def test_a_drifting_crystal_is_followed_within_the_answers_delay(ppm):
    clock, end = _run(ppm, 12)
    for tick in (0, end // 2, end):
        assert abs(clock.fit.utc(tick) - (UTC + tick * (1 + ppm / 1e6))) < 200


def test_the_slope_is_bounded():
    clock, _ = _run(0, 1)
    for minute in range(60, 180):
        clock, _ = observe(clock, minute * 60_000, UTC + minute * 60_030, None)
    assert abs(clock.fit.rate_ppb) <= RATE_PPB_MAX


def test_one_late_answer_moves_nothing():
    clock, end = _run(0, 2)
    before = clock.fit
    clock, fit = observe(clock, end, UTC + end + 9_000, None)
    assert fit is None
    clock, _ = observe(clock, end + 60_000, UTC + end + 60_050, None)
    assert abs(clock.fit.utc(end) - before.utc(end)) < 200


@pytest.mark.parametrize("jump_ms", [-86_400_000, 86_400_000, 5_000, -31_536_000_000])
def test_a_clock_that_is_set_moves_the_labels_once_and_says_so(jump_ms):
    clock, end = _run(20, 3)
    stored = []
    for minute in range(1, 10):
        tick = end + minute * 60_000
        clock, fit = observe(clock, tick, round(UTC + jump_ms + tick * (1 + 20e-6) + 50), None)
        stored += [fit] if fit else []
    assert [fit.step for fit in stored].count(True) == 1
    assert abs(clock.fit.utc(0) - (UTC + jump_ms)) < 300
    # Order is by tick: whatever the label, one line maps ticks to UTC, and it only grows.
    assert clock.fit.utc(1000) > clock.fit.utc(0)
