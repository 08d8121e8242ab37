"""The module's breath finder against the reference finder, the plant's truth and a real breathing signal."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import resample_poly

from firmware_sim.kernels import breath as kernel
from tests.support.world_breathing import NEAR_MS, found_by_module, play, random_settings


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("mode", [kernel.MODE_VENTILATOR, kernel.MODE_HAND, kernel.MODE_SPONTANEOUS])
def test_both_finders_agree(mode: int, seed: int) -> None:
    if mode == kernel.MODE_SPONTANEOUS:
        # The module needs a pull of 0.8 cmH2O; a small child in a draw-over circuit stays under it.
        settings = {"ventilator": {"source": 3}, "patient": {"effort_rate_min": 12.0 + 5 * seed}}
    else:
        settings = random_settings(np.random.default_rng(100 + seed), mode)
    played = play(settings, seconds=120, seed=seed)
    records = found_by_module(played.trace.pressure_cmh2o, mode)
    starts, peaks = 10 * records[:, kernel.R_START], records[:, kernel.R_PEAK] / 100
    inner = (played.found.start_ms > 5_000) & (played.found.start_ms < starts[-1] - 1_000)
    gap = np.abs(played.found.start_ms[inner, None] - starts[None, :])
    assert (gap.min(axis=1) < NEAR_MS).mean() >= 0.98
    assert abs(int(inner.sum()) - int(((starts > 5_000) & (starts < starts[-1] - 1_000)).sum())) <= 1
    if mode != kernel.MODE_SPONTANEOUS:
        step = peaks[gap.argmin(axis=1)] - played.found.peak[inner]
        assert np.percentile(np.abs(step), 95) <= 0.5


@pytest.mark.parametrize("span", [8.0, 25.0])
def test_the_module_counts_the_real_breathing_signal(span: float) -> None:
    # Breathing belt of the `peakdet` wheel 0.6.1, 40 Hz, no units: 133–136 peaks (read from the package).
    # Scaled to two sizes, for a belt has none; brought to the module's 100 S/s.
    spec = importlib.util.find_spec("peakdet")
    assert spec is not None and spec.origin is not None
    belt = np.genfromtxt(Path(spec.origin).parent / "tests" / "data" / "RESP.csv", delimiter=",")
    wave = resample_poly(belt - belt[0], 5, 2)
    wave *= span / float(np.subtract(*np.percentile(wave, (90, 10))))
    assert 133 <= len(found_by_module(wave, kernel.MODE_HAND)) <= 136
