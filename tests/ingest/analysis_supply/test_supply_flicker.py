"""Flicker (IEC 61000-4-15): published coefficients, Ed. 2 table from memory, Ed. 1.1 table published."""

import numpy as np
import pytest

from ingest.analysis.supply import flicker as fl
from ingest.analysis.supply import flicker_estimate as est
from ingest.analysis.supply.windows import Tap, half_cycles, window_start

RATE = 3200.0
# Changes per minute: fluctuation of Ed. 2 (from memory), of Ed. 1.1 (published), in per cent; Pst = 1 +-5 %.
RECTANGULAR = {
    1: (2.715, 2.724), 2: (2.191, 2.211), 7: (1.450, 1.459), 39: (0.894, 0.906), 110: (0.722, 0.725),
    1620: (0.407, 0.402),
}  # fmt: skip


def rectangular(seconds, changes_per_min, percent, volts=325.27, hertz=50.0):
    time = np.arange(int(seconds * RATE)) / RATE
    sign = np.where(np.floor(time * changes_per_min / 60.0) % 2 == 0, 1.0, -1.0)
    return volts * np.sin(2 * np.pi * hertz * time) * (1 + percent / 200.0 * sign)


def pst(wave, lamp=fl.LAMP_230_V):
    _, values = fl.ten_minutes(fl.meter_start(), wave, start_s=540.0, rate_hz=RATE, offset=0.0, lamp=lamp)
    return [value for _, value in values]


@pytest.mark.parametrize("changes", RECTANGULAR)
def test_pst_is_one(changes):
    second, first = RECTANGULAR[changes]
    (value,) = pst(rectangular(661.0, changes, second))
    assert value == pytest.approx(1.0, abs=0.05)
    # The published model gives Pst within 1 % of 1 on the table of Ed. 2.
    assert value == pytest.approx(1.0, abs=0.01)
    # Pst goes with the fluctuation, so the table of Ed. 1.1 follows from the same run.
    assert value * first / second == pytest.approx(1.0, abs=0.05)


def test_pst_is_linear_in_the_fluctuation():
    (double,) = pst(rectangular(661.0, 39, 2 * 0.894))
    assert double == pytest.approx(2.0, abs=0.03)


@pytest.mark.parametrize(("lamp", "hertz"), [(fl.LAMP_230_V, 50.0), (fl.LAMP_120_V, 60.0)])
def test_pinst_is_one(lamp, hertz):
    # Sine 8.8 Hz: 0.250 % (230 V), 0.321 % (120 V), published.
    percent = {"230 V lamp": 0.250, "120 V lamp": 0.321}[lamp.name]
    time = np.arange(int(40 * RATE)) / RATE
    wave = 100 * np.sin(2 * np.pi * hertz * time) * (1 + percent / 200 * np.sin(2 * np.pi * 8.8 * time))
    _, pinst = fl.instantaneous(fl.meter_start(), wave, rate_hz=RATE, offset=0.0, lamp=lamp)
    assert pinst[-2000:].max() == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("lamp", [fl.LAMP_230_V, fl.LAMP_120_V])
def test_filters_follow_the_published_form(lamp):
    # The digital chain against the continuous one; the gain at 8.8 Hz is 1 for 230 V by the published
    # coefficients.
    from scipy import signal

    hertz = np.array([0.5, 1.0, 3.0, 8.8, 15.0, 25.0, 33.0])
    _, digital = signal.sosfreqz(fl.sections(lamp, 800.0), worN=hertz, fs=800.0)
    analog = fl.analog_response(lamp, hertz)
    assert np.abs(digital) == pytest.approx(np.abs(analog), rel=0.02)
    if lamp is fl.LAMP_230_V:
        assert abs(analog[3]) == pytest.approx(1.0, abs=0.005)


def test_pst_formula_on_a_constant():
    # All percentiles equal: Pst = sqrt(0.0314 + 0.0525 + 0.0657 + 0.28 + 0.08) = 0.71386 (quoted formula).
    assert fl.pst_of(np.ones(1000)) == pytest.approx(np.sqrt(0.5096))


def test_pst_formula_with_smoothed_percentiles():
    # P10s is the mean of the levels exceeded 6, 8, 10, 13 and 17 % of the time: on 0..1 evenly, 1 - 0.108.
    level = np.linspace(0, 1, 100001)
    expected = np.sqrt(
        0.0314 * 0.999
        + 0.0525 * (1 - 0.032 / 3)
        + 0.0657 * (1 - 0.092 / 3)
        + 0.28 * (1 - 0.108)
        + 0.08 * (1 - 1.6 / 3)
    )
    assert fl.pst_of(level) == pytest.approx(expected, abs=1e-5)


def test_plt():
    # Cube root of the mean cube of 12; eleven 1 and one 2: 1.16553 (worked out).
    assert fl.plt_of(np.array([1.0] * 11 + [2.0])) == pytest.approx(1.16553, abs=1e-5)


def test_blocks_do_not_matter_for_flicker():
    wave = rectangular(661.0, 110, 0.722)
    whole = pst(wave)
    state, parts = fl.meter_start(), []
    for block in np.array_split(wave, 23):
        state, values = fl.ten_minutes(
            state, block, start_s=540.0, rate_hz=RATE, offset=0.0, lamp=fl.LAMP_230_V
        )
        parts += [v for _, v in values]
    assert parts == whole


def test_first_minute_gives_no_pst():
    _, values = fl.ten_minutes(
        fl.meter_start(),
        rectangular(661.0, 39, 0.894),
        start_s=570.0,
        rate_hz=RATE,
        offset=0.0,
        lamp=fl.LAMP_230_V,
    )
    assert values == []


def test_wrong_rate_is_refused():
    with pytest.raises(ValueError, match="samples a second"):
        fl.instantaneous(fl.meter_start(), np.zeros(10), rate_hz=3000.0, offset=0.0, lamp=fl.LAMP_230_V)


@pytest.mark.parametrize("changes", RECTANGULAR)
def test_estimate_from_half_cycles_keeps_its_stated_error(changes):
    tap = Tap(rate_hz=RATE, gain_v=0.390625)
    noise = np.random.default_rng(9).normal(0, 0.5, int(661 * RATE))
    codes = np.rint((rectangular(661.0, changes, RECTANGULAR[changes][0]) + noise) / tap.gain_v)
    _, rows = half_cycles(window_start(tap), codes, tap, 0.0)
    got = est.estimate(rows, fl.LAMP_230_V)
    assert got.pst == pytest.approx(1.0, abs=est.ERROR_PERCENT / 100)


def test_estimate_says_when_it_is_not_available():
    wave = rectangular(661.0, 39, 0.894)
    tap = Tap(rate_hz=RATE)
    _, short = half_cycles(window_start(tap), wave[: int(300 * RATE)], tap, 0.0)
    assert est.estimate(short, fl.LAMP_230_V).pst is None
    wave[int(300 * RATE) : int(302 * RATE)] = 0.0
    _, broken = half_cycles(window_start(tap), wave, tap, 0.0)
    got = est.estimate(broken, fl.LAMP_230_V)
    assert got.pst is None
    assert got.reason == "interrupted or clipped"
