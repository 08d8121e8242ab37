"""Harmonic groups (IEC 61000-4-7, quoted) and distortion."""

import math

import numpy as np
import pytest

from ingest.analysis.supply import harmonics as hm
from ingest.analysis.supply.wave import WaveSettings, analyse, wave_start
from ingest.analysis.supply.windows import Tap


def test_highest_honest_order():
    # 25 at 50 Hz, 20 at 60 Hz with 3.2 kS/s: 1250 Hz (the project's own rule).
    assert hm.highest_order(3200.0, 50.0) == 25
    assert hm.highest_order(3200.0, 60.0) == 20


@pytest.mark.parametrize(
    ("parts", "thd"), [({3: 0.05, 5: 0.06}, 7.8102), ({2: 0.02, 3: 0.04, 5: 0.03}, 5.385)]
)
@pytest.mark.parametrize("hertz", [50.0, 49.5, 51.3])
@pytest.mark.parametrize("by", ["line", "subgroup", "group"])
def test_thd(mains, parts, thd, hertz, by):
    # 5 % third with 6 % fifth 7.8102 %; 2, 4, 3 % 5.385 % (worked out from the definition).
    got = hm.snapshot(mains.with_harmonics(0.5, parts, hertz), 3200.0, 50.0)
    assert got.thd_percent(by)[0] == pytest.approx(thd, abs=0.01)


def test_component_midway_is_shared(mains):
    # 175 Hz at 1 %: group 3 = group 4 = 0.7071 %; interharmonic subgroup 3 = 1.000 % (worked out).
    got = hm.snapshot(mains.with_harmonics(0.5, {3.5: 0.01}), 3200.0, 50.0)
    percent = 100 * got.group[0] / got.line[0, 0]
    assert percent[2] == pytest.approx(0.7071, abs=0.002)
    assert percent[3] == pytest.approx(0.7071, abs=0.002)
    assert 100 * got.between_centred[0, 2] / got.line[0, 0] == pytest.approx(1.000, abs=0.002)
    assert got.subgroup[0, 2] < 0.01


def brute_groups(bins, cycles, order):
    """Sum the formula of the standard term by term."""
    y = lambda k: float(bins[cycles * order + k]) ** 2  # noqa: E731
    half = cycles // 2
    group = 0.5 * y(-half) + sum(y(k) for k in range(1 - half, half)) + 0.5 * y(half)
    sums = (
        y(0),
        group,
        sum(y(k) for k in (-1, 0, 1)),
        sum(y(k) for k in range(1, cycles)),
        sum(y(k) for k in range(2, cycles - 1)),
    )
    return [math.sqrt(total) for total in sums]


@pytest.mark.parametrize(("cycles", "orders"), [(10, 25), (12, 20)])
def test_groups_by_the_formula(cycles, orders):
    # Yg^2 = half Y(10h-5)^2 + sum Y(10h+k)^2, k -4..4 + half Y(10h+5)^2; subgroup k -1..1 (quoted).
    bins = np.random.default_rng(6).uniform(0, 1, (1, hm.POINTS // 2 + 1))
    got = hm.groups(bins, cycles, orders)
    for order in range(1, orders + 1):
        mine = [getattr(got, name)[0, order - 1] for name in hm.Groups.__slots__]
        assert mine == pytest.approx(brute_groups(bins[0], cycles, order))


@pytest.mark.parametrize(
    ("nominal", "hertz", "top"),
    [(50.0, 50.0, 25), (50.0, 49.2, 25), (50.0, 51.0, 25), (60.0, 60.0, 20), (60.0, 59.3, 20)],
)
def test_every_order_up_to_the_highest(mains, nominal, hertz, top):
    parts = {order: 0.01 + 0.001 * order for order in range(2, top + 1)}
    got = hm.snapshot(mains.with_harmonics(0.5, parts, hertz), 3200.0, nominal)
    percent = 100 * got.subgroup[0] / got.subgroup[0, 0]
    assert percent[1:] == pytest.approx([100 * parts[k] for k in range(2, top + 1)], rel=0.01)


def test_without_resampling_lines_leak(mains):
    wave = mains.with_harmonics(0.5, {3: 0.05, 5: 0.06}, 49.2)
    raw = np.abs(np.fft.rfft(wave[300:940])) / 640 * math.sqrt(2)
    plain = hm.groups(raw[None, :], 10, 25).thd_percent("line")[0]
    assert abs(plain - 7.8102) > 1.0
    assert hm.snapshot(wave, 3200.0, 50.0).thd_percent("line")[0] == pytest.approx(7.8102, abs=0.01)


def test_snapshot_without_a_period_is_not_available():
    assert hm.snapshot(np.zeros(1600), 3200.0, 50.0) is None
    assert hm.snapshot(np.sin(np.arange(300)), 3200.0, 50.0) is None


def test_windows_too_near_the_end_are_refused():
    with pytest.raises(ValueError, match="inside the wave"):
        hm.spectra(np.zeros(640), np.array([0.0]), np.array([640.0]))


def test_ten_minute_groups_of_a_record(mains):
    settings = WaveSettings(tap=Tap(rate_hz=3200.0), declared_v=230.0, lamp=None)
    wave = mains.with_harmonics(30.0, {3: 0.05, 5: 0.06, 25: 0.01}, 49.7)
    _, found = analyse(wave_start(settings, 585.0), wave, settings, final=True)
    assert found.harmonics.start_s.tolist() == [0.0, 600.0]
    assert found.harmonics.windows.sum() == len(found.ten_cycles)
    percent = 100 * found.harmonics.rms_v / found.harmonics.rms_v[:, :1]
    for row in percent:
        assert row[[2, 4, 24]] == pytest.approx([5.0, 6.0, 1.0], rel=0.01)
        assert row[[1, 3, 5]] == pytest.approx([0, 0, 0], abs=0.01)


def test_smoothing_settles_with_its_time_constant():
    values = np.concatenate((np.zeros((1, 3)), np.ones((20, 3))))
    smooth = hm.smoothed(values, 0.2)
    assert smooth[7, 0] == pytest.approx(1 - math.exp(-1.4 / 1.5))
