"""Urms(1/2) and its windows. Definition: IEC 61000-4-30, from memory."""

import math

import numpy as np
import pytest

from ingest.analysis.supply import plain
from ingest.analysis.supply.windows import HalfCycles, Tap, half_cycles, window_start

TAP = Tap(rate_hz=3200.0)


def cut(wave, tap=TAP, start_s=0.0) -> HalfCycles:
    return half_cycles(window_start(tap), wave, tap, start_s)[1]


@pytest.mark.parametrize("hertz", [42.5, 45.0, 47.0, 49.5, 50.0, 50.5, 55.0, 57.5, 60.0, 65.0])
def test_rms_is_locked_to_the_period(mains, hertz):
    # A fixed 20 ms window errs by up to df/(2f): 0.51 % at 49.5 Hz (worked out). Class S target 0.5 % of Udin
    # (IEC 61000-4-30, from memory); a window locked to interpolated crossings does far better.
    wave = mains.with_harmonics(3.0, {3: 0.05, 5: 0.06, 7: 0.05}, hertz)
    expected = 230.0 * math.sqrt(1 + 0.05**2 + 0.06**2 + 0.05**2)
    rows = cut(wave, Tap(rate_hz=3200.0, nominal_hz=50.0 if hertz < 58 else 60.0))
    assert len(rows) > 2 * hertz * 2.8
    assert np.abs(rows.rms_v / expected - 1).max() < 5e-5
    assert not rows.held.any()
    assert 0.5 / rows.half_s.mean() == pytest.approx(hertz, rel=1e-5)


def test_fixed_window_would_fail_where_the_locked_one_holds(mains):
    # Worked out from the definition: error up to df/(2f), 49 Hz 1.02 %.
    wave = mains.sine(2.0, 230.0, 49.0)
    fixed = np.sqrt(np.convolve(wave**2, np.ones(64) / 64, "valid"))
    assert np.abs(fixed / 230.0 - 1).max() == pytest.approx(0.0102, abs=3e-4)
    assert np.abs(cut(wave).rms_v / 230.0 - 1).max() < 1e-4


def test_published_non_synchronous_value(mains):
    # dsp.stackexchange 89222 (published): 49.93 Hz, 16 kHz, 100 V amplitude-rms over 20 ms reads 99.91407 V,
    # which is 321 samples; 320 samples give 100.07005 at phase 0 (worked out). The locked window reads 100 V.
    time = np.arange(16000) / 16000.0
    wave = 100.0 * math.sqrt(2) * np.sin(2 * np.pi * 49.93 * time)
    assert math.sqrt(np.mean(wave[:320] ** 2)) == pytest.approx(100.07005, abs=5e-5)
    assert math.sqrt(np.mean(wave[:321] ** 2)) == pytest.approx(99.91407, abs=5e-5)
    tap = Tap(rate_hz=16000.0)
    assert cut(wave, tap).rms_v == pytest.approx(100.0, abs=1e-3)


@pytest.mark.parametrize(("residual", "rms"), [(0.0, 0.7071), (0.4, 0.7616), (0.7, 0.8631), (0.8, 0.9055)])
def test_half_overlapped_window(mains, residual, rms):
    # sqrt((1 + r^2)/2), worked out from the definition.
    wave = mains.scaled(mains.sine(2.0), lambda t: np.where((t >= 1.0) & (t < 1.01), residual, 1.0))
    low = cut(wave).rms_v.min() / 230.0
    assert low == pytest.approx(rms, abs=1e-3)


def test_plain_reference_agrees(mains):
    rng = np.random.default_rng(5)
    wave = mains.with_harmonics(0.4, {3: 0.05, 2: 0.01}, 51.3) + rng.normal(0, 1.0, 1280)
    rows = cut(wave)
    expected = plain.half_cycle_rms(wave.tolist(), 3200.0, 50.0)
    at = {round(end, 9): rms for end, rms in expected}
    pairs = [
        (rms, at[round(end, 9)]) for end, rms in zip(rows.end_s.tolist(), rows.rms_v.tolist(), strict=True)
    ]
    assert len(pairs) > 30
    assert all(mine == pytest.approx(theirs, rel=1e-9) for mine, theirs in pairs)


def test_blocks_do_not_matter(mains):
    rng = np.random.default_rng(3)
    wave = np.rint((mains.sine(8.0, hertz=50.7) + rng.normal(0, 2, 25600)) / 0.390625)
    wave[9000:9100] = 0
    tap = Tap(rate_hz=3200.0, gain_v=0.390625, offset_v=0.7)
    whole = cut(wave, tap)
    state, parts = window_start(tap), []
    for block in np.split(wave, np.sort(rng.integers(0, len(wave), 40))):
        state, rows = half_cycles(state, block, tap, 0.0)
        parts.append(rows)
    for name in HalfCycles.__slots__:
        assert np.array_equal(
            np.concatenate([getattr(part, name) for part in parts]), getattr(whole, name)
        ), name


def test_windows_keep_the_last_period_when_crossings_vanish(mains):
    wave = mains.scaled(mains.sine(6.0, hertz=49.0), lambda t: np.where((t >= 2.0) & (t < 4.0), 0.0, 1.0))
    rows = cut(wave)
    dead = (rows.start_s > 2.1) & (rows.end_s < 3.9)
    assert rows.held[dead].all()
    assert rows.rms_v[dead] == pytest.approx(0.0, abs=1e-9)
    assert rows.half_s[dead] == pytest.approx(0.5 / 49.0, rel=1e-3)
    after = rows.start_s > 4.1
    assert not rows.held[after].any()
    assert rows.rms_v[after] == pytest.approx(230.0, rel=1e-4)
    assert np.diff(rows.end_s).max() < 0.017


def test_dead_from_the_start_still_gives_rows(mains):
    rows = cut(np.zeros(6400))
    assert len(rows) > 180
    assert rows.rms_v.max() == 0.0
    assert rows.held.all()


def test_clipped_windows_are_marked(mains):
    # A lost neutral gives up to 400 V rms; 12 bits of +-800 V hold 565 V peak, so only more than that clips.
    tap = Tap(rate_hz=3200.0, gain_v=0.390625, code_min=-2048, code_max=2047)
    calm = np.rint(mains.sine(1.0, 400.0) / tap.gain_v).clip(-2048, 2047)
    wild = np.rint(mains.sine(1.0, 600.0) / tap.gain_v).clip(-2048, 2047)
    assert not cut(calm, tap).clipped.any()
    assert cut(wild, tap).clipped.all()


def test_one_clipped_sample_marks_every_window_that_holds_it(mains):
    tap = Tap(rate_hz=3200.0, gain_v=0.390625, code_min=-2048, code_max=2047)
    codes = np.rint(mains.sine(1.0) / tap.gain_v)
    codes[1607] = 2047
    rows = cut(codes, tap)
    holds = (rows.start_s <= 1607 / 3200) & (rows.end_s >= 1607 / 3200)
    assert holds.sum() == 2
    assert rows.clipped.tolist() == holds.tolist()


def test_phase_jump_makes_no_false_event(mains):
    time = mains.time(2.0)
    wave = 325.27 * np.sin(2 * np.pi * 50 * time + np.where(time > 1.003, np.radians(60), 0.0))
    rows = cut(wave)
    # A window across the jump is a true one-cycle rms and may lie 9 % off; its neighbours stay within the 1 %
    # of class S (from memory) though the filter smears the jump into their crossings.
    off = np.abs(rows.rms_v / 230.0 - 1) > 0.01
    assert 1 <= off.sum() <= 3
    assert ((rows.start_s < 1.0035) & (rows.end_s > 1.0025))[off].all()
