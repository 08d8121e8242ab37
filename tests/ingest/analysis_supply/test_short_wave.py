"""Harmonics of stretches with no more than their own ten or twelve cycles, against how they were made."""

import numpy as np
import pytest

from ingest.analysis.supply.harmonics import snapshot
from ingest.analysis.supply.short_wave import short_snapshot

RATE = 3200


def wave(hertz, parts, cycles, spare=1):
    """Return a stretch of a little more than so many cycles; parts: order to fraction."""
    time = np.arange(int(np.ceil(cycles / hertz * RATE)) + spare) / RATE
    out = np.sin(2 * np.pi * hertz * time + 0.3)
    for order, part in parts.items():
        out = out + part * np.sin(2 * np.pi * order * hertz * time + order)
    return 325.0 * out


@pytest.mark.parametrize("hertz", [47.0, 49.3, 50.0, 50.8, 52.0])
@pytest.mark.parametrize("order", [2, 3, 5, 11, 24, 25])
def test_ten_cycles_give_the_harmonic_that_was_put_in(hertz, order):
    # The module gives half a period in whole microseconds.
    period_s = 2e-6 * round(1e6 / hertz / 2)
    got = short_snapshot(wave(hertz, {order: 0.05}, 10), RATE, 50.0, period_s)
    percent = 100 * got.subgroup[0] / got.subgroup[0, 0]
    expected = np.zeros(25)
    expected[[0, order - 1]] = 100.0, 5.0
    assert np.abs(percent - expected).max() < 0.07
    assert got.subgroup[0, 0] == pytest.approx(325 / np.sqrt(2), rel=1e-3)


def test_twelve_cycles_at_60_hz_reach_order_20():
    got = short_snapshot(wave(60.0, {7: 0.03}, 12), RATE, 60.0, 1 / 60)
    assert got.subgroup.shape == (1, 20)
    assert 100 * got.subgroup[0, 6] / got.subgroup[0, 0] == pytest.approx(3.0, abs=0.02)


def test_long_and_short_stretches_agree():
    long = snapshot(wave(50.4, {5: 0.06, 7: 0.04}, 20), RATE, 50.0)
    short = short_snapshot(wave(50.4, {5: 0.06, 7: 0.04}, 10), RATE, 50.0, 1 / 50.4)
    assert short.thd_percent()[0] == pytest.approx(long.thd_percent()[0], abs=0.02)
    # 6 and 4 % together: 7.211 % (worked out).
    assert short.thd_percent()[0] == pytest.approx(7.2111, abs=0.02)


@pytest.mark.parametrize(("cycles", "period_s"), [(9.5, 0.02), (10, 0.0), (10, 0.2)])
def test_too_short_or_without_a_believable_period_gives_nothing(cycles, period_s):
    assert short_snapshot(wave(50.0, {}, cycles, 0), RATE, 50.0, period_s) is None
