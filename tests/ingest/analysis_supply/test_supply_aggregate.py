"""Aggregation, frequency, coverage: IEC 61000-4-30, 10 cycles and 10 s published, rest from memory."""

import numpy as np
import pytest

from ingest.analysis.supply import aggregate as agg
from ingest.analysis.supply.wave import WaveSettings, analyse, restored, saved, wave_resume, wave_start
from ingest.analysis.supply.windows import Tap, half_cycles, window_start

TAP = Tap(rate_hz=3200.0)
SETTINGS = WaveSettings(tap=TAP, declared_v=230.0, lamp=None)


def rows_of(wave, tap=TAP, start_s=0.0):
    return half_cycles(window_start(tap), wave, tap, start_s)[1]


def ten(wave, tap=TAP, start_s=0.0):
    rows = rows_of(wave, tap, start_s)
    return agg.ten_cycles(agg.halves_start(), rows, np.zeros(len(rows), bool), tap.nominal_hz)[1]


@pytest.mark.parametrize(
    ("nominal", "hertz", "cycles"), [(50.0, 50.0, 10), (50.0, 48.3, 10), (60.0, 60.0, 12), (60.0, 61.2, 12)]
)
def test_window_of_ten_or_twelve_cycles(mains, nominal, hertz, cycles):
    values = ten(mains.sine(3.0, 230.0, hertz), Tap(rate_hz=3200.0, nominal_hz=nominal))
    assert values.covered_s == pytest.approx(cycles / hertz, rel=1e-5)
    assert values.rms_v == pytest.approx(230.0, rel=2e-5)
    assert values.start_s[1:] == pytest.approx(values.end_s[:-1], abs=1e-9)


def test_root_mean_square_of_the_parts():
    # rms of parts by the definition: 200 V and 240 V in equal time give sqrt((200^2 + 240^2)/2) = 220.907 V,
    # not 220.
    assert agg.mean_of_squares(np.array([200.0, 240.0])) == pytest.approx(220.907, abs=1e-3)


def test_levels_agree_with_each_other(mains):
    rng = np.random.default_rng(2)
    level = np.repeat(rng.uniform(0.8, 1.1, 63), 3200)
    wave = mains.sine(63.0) * level
    values = ten(wave)
    left, long = agg.fifteen(agg.NO_VALUES, values)
    assert len(long) == len(values) // 15
    assert len(left) == len(values) % 15
    assert long.rms_v[3] == pytest.approx(np.sqrt(np.mean(values.rms_v[45:60] ** 2)), rel=1e-4)
    _, whole = agg.by_clock(agg.NO_VALUES, values, 600.0, final=True)
    assert whole.rms_v[0] == pytest.approx(230 * np.sqrt(np.mean(level**2)), rel=5e-3)
    assert whole.low_v[0] == pytest.approx(values.low_v.min())


def test_ten_minutes_belong_to_the_clock(mains):
    values = ten(np.tile(mains.sine(10.0), 130), start_s=1200.0 * 7 + 300.0)
    left, done = agg.by_clock(agg.NO_VALUES, values, 600.0)
    assert done.start_s.tolist() == [8400.0, 9000.0]
    assert done.coverage[0] == pytest.approx(0.5, abs=1e-3)
    assert done.coverage[1] == pytest.approx(1.0, abs=1e-3)
    _, last = agg.by_clock(left, agg.NO_VALUES, 600.0, final=True)
    assert last.start_s.tolist() == [9600.0]
    _, two_hours = agg.by_clock(agg.NO_VALUES, agg.join(done, last), 7200.0, final=True)
    assert two_hours.start_s.tolist() == [7200.0]
    assert two_hours.coverage[0] == pytest.approx(1300.0 / 7200.0, abs=1e-3)


def test_missing_intervals_are_empty_not_averaged():
    values = agg.Values(
        start_s=np.array([600.0, 2400.0]), end_s=np.array([1200.0, 3000.0]), rms_v=np.array([230.0, 220.0]),
        low_v=np.array([229.0, 219.0]), high_v=np.array([231.0, 221.0]), covered_s=np.array([600.0, 300.0]),
        flagged=np.array([False, True]),
    )  # fmt: skip
    grid = agg.without_gaps(values, 0.0, 3600.0, 600.0)
    assert grid.start_s.tolist() == [0.0, 600.0, 1200.0, 1800.0, 2400.0, 3000.0]
    assert np.isnan(grid.rms_v).tolist() == [True, False, True, True, False, True]
    assert grid.coverage.tolist() == [0.0, 1.0, 0.0, 0.0, 0.5, 0.0]
    assert grid.flagged.tolist() == [False, False, False, False, True, False]


@pytest.mark.parametrize("hertz", [42.5, 47.0, 49.93, 50.0, 52.0, 57.5])
def test_frequency_over_ten_seconds(mains, hertz):
    # Class S target +-50 mHz, class A +-10 mHz (from memory).
    rng = np.random.default_rng(8)
    wave = mains.with_harmonics(31.0, {3: 0.05, 5: 0.06}, hertz) + rng.normal(0, 2.3, 31 * 3200)
    _, values = agg.ten_seconds(agg.cycles_start(), rows_of(wave))
    assert len(values) == 3
    assert values.hz == pytest.approx(hertz, abs=0.001)
    assert not values.held.any()


def test_frequency_of_a_dead_line_is_not_available(mains):
    wave = np.concatenate((mains.sine(12.0), np.zeros(3200 * 20)))
    _, values = agg.ten_seconds(agg.cycles_start(), rows_of(wave))
    assert values.hz[0] == pytest.approx(50.0, abs=0.001)
    assert values.held[1]
    assert np.isnan(values.hz[2])


def test_flagged_values_are_kept_and_marked(mains):
    wave = mains.scaled(mains.sine(20.0), lambda t: np.where((t > 5.0) & (t < 5.1), 0.5, 1.0))
    _, found = analyse(wave_start(SETTINGS, 0.0), wave, SETTINGS, final=True)
    marked = np.flatnonzero(found.ten_cycles.flagged)
    assert 1 <= len(marked) <= 2
    assert ((found.ten_cycles.start_s[marked] < 5.1) & (found.ten_cycles.end_s[marked] > 5.0)).all()
    assert len(found.ten_cycles) > 95
    assert found.ten_minutes.flagged.all()


def test_saved_state_goes_on_as_if_never_stopped(mains):
    rng = np.random.default_rng(4)
    wave = np.rint(mains.sine(40.0, hertz=50.3) * np.repeat(rng.choice([1.0, 1.0, 1.0, 0.6], 80), 1600))
    _, whole = analyse(wave_start(SETTINGS, 1e9), wave, SETTINGS, final=True)
    state, parts = wave_start(SETTINGS, 1e9), []
    for block in np.split(wave, [3, 777, 40000, 40001, 99999]):
        state, found = analyse(restored(saved(state)), block, SETTINGS)
        parts.append(found)
    _, last = analyse(state, np.empty(0), SETTINGS, final=True)
    parts.append(last)
    assert np.array_equal(np.concatenate([p.ten_cycles.rms_v for p in parts]), whole.ten_cycles.rms_v)
    assert [e for p in parts for e in p.events] != []
    key = lambda e: (e.start_s, e.kind, e.back_s, e.extreme_v)  # noqa: E731
    assert sorted(key(e) for p in parts for e in p.events) == sorted(key(e) for e in whole.events)
    assert np.concatenate([p.frequency.hz for p in parts]) == pytest.approx(whole.frequency.hz, nan_ok=True)
    spectra = np.concatenate([p.harmonics.rms_v for p in parts])
    assert spectra == pytest.approx(whole.harmonics.rms_v, rel=1e-9)


def test_foreign_bytes_are_refused():
    import pickle

    with pytest.raises(ValueError, match="holds no"):
        restored(pickle.dumps(print))
    with pytest.raises(ValueError, match="not a saved state"):
        restored(pickle.dumps({"a": 1}))


def test_gap_in_the_wave_is_not_covered(mains):
    state, first = analyse(wave_start(SETTINGS, 0.0), mains.sine(100.0), SETTINGS)
    state = wave_resume(state, SETTINGS, 400.0)
    _, second = analyse(state, mains.sine(100.0), SETTINGS, final=True)
    assert len(first.ten_minutes) == 0
    (coverage,) = second.ten_minutes.coverage
    assert coverage == pytest.approx(200.0 / 600.0, abs=2e-3)
    assert first.events == second.events == ()


def test_open_event_and_reference_go_on_over_a_gap(mains):
    low = mains.scaled(mains.sine(20.0, 225.0), lambda t: np.where(t > 19.0, 0.5, 1.0))
    back = mains.scaled(mains.sine(20.0, 225.0), lambda t: np.where(t < 1.0, 0.5, 1.0))
    state, first = analyse(wave_start(SETTINGS, 0.0), low, SETTINGS)
    resumed = wave_resume(state, SETTINGS, 50.0)
    assert resumed.reference_v == first.reference_v != 230.0
    _, second = analyse(resumed, back, SETTINGS, final=True)
    (dip,) = (e for e in second.events if e.kind == "dip")
    assert dip.start_s == pytest.approx(19.0, abs=0.03)
    assert dip.back_s == pytest.approx(51.0, abs=0.03)
    assert dip.unseen_s == pytest.approx(30.0, abs=0.1)
