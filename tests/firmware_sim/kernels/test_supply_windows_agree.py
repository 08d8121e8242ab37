"""The module's windows, the analysis' windows and numpy's trapezoids over the same unsteady codes.

Two loops written apart, and a third that knows where the crossings are because the wave was made from its
phase. Class S, Urms(1/2) within 1 % (IEC 61000-4-30, from memory); what was tried lies far inside.
"""

import numpy as np
import pytest

from ingest.analysis.supply.windows import Tap, half_cycles, window_start
from tests.support.taps import LSB_V, RATE_HZ, codes, measure

SECONDS = 6.0
LIMIT = 0.0003


def unsteady(hertz, seed):
    """Return volts and the turns of the fundamental: level and frequency wander, harmonics stay."""
    chance = np.random.default_rng(seed)
    t = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    level = 230 * (1 + 0.06 * np.sin(2 * np.pi * 0.7 * t + chance.uniform(0, 6)))
    wander = 0.15 * np.sin(2 * np.pi * 0.3 * t + chance.uniform(0, 6))
    turns = np.cumsum(hertz + wander) / RATE_HZ
    angle = 2 * np.pi * turns
    wave = np.sin(angle) + 0.05 * np.sin(3 * angle + 1) + 0.04 * np.sin(5 * angle)
    return level * np.sqrt(2) * wave, turns


def by_numpy(volts, turns):
    """Return the end of each window in samples, and its rms: a turn back from each half turn."""
    at = np.arange(len(volts), dtype=float)
    halves = np.arange(3, int(2 * turns[-1])) / 2
    ends, begins = np.interp(halves, turns, at), np.interp(halves - 1, turns, at)
    area = np.concatenate(([0.0], np.cumsum((volts[1:] ** 2 + volts[:-1] ** 2) / 2)))
    return ends, np.sqrt((np.interp(ends, at, area) - np.interp(begins, at, area)) / (ends - begins))


@pytest.mark.parametrize("hertz", [45.0, 49.3, 52.0, 60.0, 65.0])
def test_three_ways_to_the_same_half_cycles(fast, hertz):
    volts, turns = unsteady(hertz, seed=round(hertz * 10))
    raw = codes(volts)
    nominal = 60 if hertz > 55 else 50
    ends, rms = by_numpy(raw * LSB_V, turns)

    module = measure(fast, raw, hertz=nominal)
    tap = Tap(rate_hz=RATE_HZ, gain_v=LSB_V, nominal_hz=nominal)
    analysis = half_cycles(window_start(tap), raw, tap, 0.0)[1]
    for found_ends, found_rms in (
        (module.ends[0][12:], module.rms[0][12:]), (analysis.end_s[12:] * RATE_HZ, analysis.rms_v[12:]),
    ):  # fmt: skip
        nearest = np.abs(ends[None, :] - found_ends[:, None]).argmin(axis=1)
        # The module names the whole sample before a window's end.
        assert np.abs(ends[nearest] - found_ends).max() < 1.5
        assert np.abs(found_rms / rms[nearest] - 1).max() < LIMIT
        # One after the other: none is missed and none comes twice.
        assert np.diff(nearest).tolist() == [1] * (len(nearest) - 1)
        assert len(nearest) > 2 * hertz * (SECONDS - 0.6)
