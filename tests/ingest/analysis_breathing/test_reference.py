"""The reference breath finder: published breaths, random patients, a real breathing signal."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from ingest.analysis.breathing.model import PressureTrace
from ingest.analysis.breathing.reference import find_breaths, peaks_of
from tests.support import lungs


def _trace(wave: np.ndarray, start_ms: int = 0) -> PressureTrace:
    return PressureTrace(start_ms=start_ms, rate_hz=lungs.RATE_HZ, pressure_cmh2o=wave)


def _steady(lung: lungs.Lung, seconds: float = 60.0, lead_s: float = 0.5) -> PressureTrace:
    t = np.arange(0, seconds, 1 / lungs.RATE_HZ) - lead_s
    return _trace(lung.wave(t))


@pytest.mark.parametrize(
    ("lung", "peak", "plateau", "mean"),
    [
        # Worked out from the equation of motion (D): see the table of airway-pressure check values.
        (lungs.ADULT, 20.0248, 15.0248, 7.5062),
        (lungs.CHILD, 20.0364, 15.5364, 7.8544),
        (lungs.OBSTRUCTED, 27.3935, None, 5.8067),
        # Published breaths A and B: Critical Care cc12561, Table 1 (P).
        (lungs.BREATH_A, None, 13.0, None),
        (lungs.BREATH_B, None, 9.78, None),
    ],
    ids=["adult", "child", "obstructed", "breath A", "breath B"],
)
def test_the_invented_lungs_reproduce_the_check_values(lung, peak, plateau, mean) -> None:
    if peak is not None:
        assert lung.peak == pytest.approx(peak, abs=5e-5)
    if plateau is not None:
        assert lung.plateau() == pytest.approx(plateau, abs=0.005)
    if mean is not None:
        assert lung.mean == pytest.approx(mean, abs=5e-5)


def test_intrinsic_peep_of_the_obstructed_lung() -> None:
    # PEEPi = VT/[C(e^(Te/tau) − 1)]: 2.3935 (D). It is in the lung, not in the circuit: not found there.
    assert lungs.OBSTRUCTED.trapped / lungs.OBSTRUCTED.compliance == pytest.approx(2.3935, abs=5e-5)
    table = find_breaths(_steady(lungs.OBSTRUCTED))
    assert np.abs(table.end_expiratory).max() < 0.01


@pytest.mark.parametrize(
    "lung", [lungs.ADULT, lungs.CHILD, lungs.OBSTRUCTED, lungs.BREATH_A, lungs.BREATH_B]
)
def test_steady_breaths_are_measured(lung: lungs.Lung) -> None:
    table = find_breaths(_steady(lung)).pick(slice(0, -1))
    assert len(table) == int((60 - 0.5) / lung.period)
    # The last rise falls between samples, and the median of three takes one more: two samples of the slope.
    assert table.peak == pytest.approx(lung.peak, abs=0.02 * lung.vt / lung.ti / lung.compliance + 0.01)
    assert table.mean == pytest.approx(lung.mean, abs=0.06)
    assert table.end_expiratory == pytest.approx(lung.peep, abs=0.01)
    assert table.ti_s == pytest.approx(lung.ti + lung.pause, abs=0.04)
    assert table.period_s == pytest.approx(lung.period, abs=0.011)
    if lung.pause:
        assert table.plateau == pytest.approx(lung.plateau(), abs=0.05)
    else:
        assert np.isnan(table.plateau).all()


def test_mean_pressure_is_an_integral_and_no_shortcut() -> None:
    # The usual shortcuts give 6.88 and 8.76 for the adult (D): the integral gives 7.5062.
    table = find_breaths(_steady(lungs.ADULT))
    assert abs(table.mean.mean() - 7.5062) < 0.06


def test_plateaus_of_the_first_breaths_from_rest() -> None:
    # Breath B from rest: 6.842, 8.897, 9.514, 9.699 (D).
    lung, left, pieces, expected = lungs.BREATH_B, 0.0, [np.zeros(50)], []
    t = np.arange(0, lung.period, 1 / lungs.RATE_HZ)
    for _ in range(4):
        level = lung.plateau(left)
        wave = np.where(t < lung.ti, (left + lung.vt / lung.ti * t) / lung.compliance + 21 * 0.5, level)
        pieces.append(np.where(t >= lung.ti + lung.pause, 0.0, wave))
        expected.append(level)
        left = (lung.vt + left) * np.exp(-lung.te / lung.tau)
    assert expected == pytest.approx([6.842, 8.897, 9.514, 9.699], abs=5e-4)
    table = find_breaths(_trace(np.concatenate(pieces)))
    assert table.plateau == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize("patients", [200, pytest.param(5000, marks=pytest.mark.soak)])
def test_random_patients_with_noise(patients: int) -> None:
    rng = np.random.default_rng(7)
    expected = found = extra = 0
    misses: list[float] = []
    for _ in range(patients):
        lung = lungs.random_lung(rng)
        t = np.arange(0, 30, 1 / lungs.RATE_HZ) - 0.5
        wave = lung.wave(t) + rng.normal(0, 0.15, t.size)
        table = find_breaths(_trace(wave), sign=1)
        starts = np.arange(500, 30_000, 1000 * lung.period)
        whole = starts < 30_000 - 1000 * (lung.ti + lung.pause) - 100  # the last may be cut off
        # A long, even rise crosses a tenth of its height late: 120 ms or a twentieth of the cycle.
        near = np.abs(table.start_ms[:, None] - starts[None, :]) < max(120, 50 * lung.period)
        expected += int(whole.sum())
        found += int(near[:, whole].any(axis=0).sum())
        extra += int((~near.any(axis=1)).sum())
        # Accuracy of an airway-pressure reading: ±(2 cmH2O + 4 %), ISO 80601-2-12, from memory; here half.
        misses.append(float(np.abs(table.peak - lung.peak).max() - 0.02 * lung.peak))
    assert found / expected >= 0.999
    assert extra / expected <= 0.001
    assert max(misses) < 1.0


def test_spontaneous_breaths_are_dips() -> None:
    rng = np.random.default_rng(3)
    t = np.arange(0, 120, 1 / lungs.RATE_HZ)
    wave = lungs.spontaneous(t, rng, depth=4.0, rate=18.0) + rng.normal(0, 0.1, t.size)
    table = find_breaths(_trace(wave))
    assert len(table) == pytest.approx(36, abs=2)
    assert np.median(table.minimum) == pytest.approx(-4.0, abs=0.5)
    assert np.median(table.rate_min) == pytest.approx(18.0, rel=0.05)


def test_gaps_split_and_nothing_is_invented_in_them() -> None:
    trace = _steady(lungs.ADULT)
    wave = trace.pressure_cmh2o.copy()
    wave[2000:4000] = np.nan
    table = find_breaths(_trace(wave, start_ms=1_000))
    inside = (table.start_ms >= 21_000) & (table.start_ms < 41_000)
    assert not inside.any()
    assert len(table) >= 8


@pytest.mark.parametrize("wave", [np.zeros(3000), np.full(3000, 6.2), np.full(3000, np.nan), np.zeros(3)])
def test_a_flat_line_has_no_breath(wave: np.ndarray) -> None:
    assert len(find_breaths(_trace(wave))) == 0


def real_breathing_signal() -> np.ndarray:
    """Read the recorded breathing belt of the `peakdet` wheel 0.6.1; the package isn't imported."""
    spec = importlib.util.find_spec("peakdet")
    assert spec is not None and spec.origin is not None
    path = Path(spec.origin).parent / "tests" / "data" / "RESP.csv"
    return np.genfromtxt(path, delimiter=",")


def test_real_breathing_signal_is_counted() -> None:
    # 24 000 samples, 40 Hz, no units, 133–136 peaks: read from the package.
    signal = real_breathing_signal()
    assert signal.size == 24_000
    spread = float(np.subtract(*np.percentile(signal, (90, 10))))
    peaks = peaks_of(signal, 40.0, 0.3 * spread)
    assert 133 <= peaks.size <= 136
    # The same record upside down has as many troughs between them.
    assert abs(peaks_of(-signal, 40.0, 0.3 * spread).size - peaks.size) <= 1
