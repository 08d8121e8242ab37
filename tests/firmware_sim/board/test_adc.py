"""The converter against its own data sheet: scale, flaws, noise, clipping, faults, any block size."""

import numpy as np
import pytest

from firmware_sim.board import adc
from firmware_sim.contract import channels

PERFECT = adc.Flaws(0.0, 0, 0)


def codes_of(physical, parameter, first=0):
    codes = np.zeros(len(physical), dtype=np.int16)
    adc.convert(np.asarray(physical, dtype=np.int32), first, parameter, codes)
    return codes


@pytest.mark.parametrize("row", channels.CHANNELS, ids=lambda row: row[1])
def test_a_perfect_converter_has_the_scale_of_the_table(row):
    channel_id, _, _, _, low, high, value_low, value_high, _ = row
    unit = (value_high - value_low) / 100_000
    parameter = adc.parameters(channel_id, unit, 1, PERFECT)
    steps = np.linspace(value_low, value_high, 50) / unit
    ideal = low + (steps * unit - value_low) * (high - low) / (value_high - value_low)
    assert np.abs(codes_of(np.round(steps), parameter) - ideal).max() < 0.56


def test_flaws_are_what_they_are_said_to_be():
    parameter = adc.parameters(channels.SUPPLY_IN, 0.01, 3, adc.Flaws(5.0, 20_000, 256))
    codes = codes_of(np.full(40_000, 39_062), parameter).astype(float)
    # 390.62 V are 1000 codes of 0.390625 V; 2 % of gain and 5 codes of offset on top (worked out).
    assert codes.mean() == pytest.approx(1025.0, abs=0.02)
    # One code rms of noise, and 1/sqrt(12) of rounding.
    assert codes.std() == pytest.approx(np.hypot(1.0, 12**-0.5), rel=0.02)


def test_noise_depends_on_the_sample_number_alone():
    parameter = adc.parameters(channels.PRESSURE, 0.001, 9)
    physical = np.arange(1000) * 37
    whole = codes_of(physical, parameter, 5000)
    cuts = [(0, 1), (1, 10), (10, 640), (640, 1000)]
    parts = [codes_of(physical[a:b], parameter, 5000 + a) for a, b in cuts]
    assert np.array_equal(whole, np.concatenate(parts))
    assert not np.array_equal(whole, codes_of(physical, parameter, 5001))


def test_the_converter_clips_at_its_ends():
    parameter = adc.parameters(channels.SUPPLY_IN, 0.01, 1)
    assert codes_of([1_000_000, -1_000_000], parameter).tolist() == [2047, -2048]


def with_fault(name, size, channel_id=channels.PRESSURE):
    parameter = adc.parameters(channel_id, 0.001, 1)
    parameter[adc.P_FAULT] = adc.FAULTS.index(name)
    parameter[adc.P_SIZE] = size
    return codes_of(np.full(2000, 15_000), parameter).astype(int)


def test_faults_show_as_a_broken_wire_does():
    healthy = with_fault("none", 0)
    assert abs(healthy.mean() - 1231) < 1
    assert with_fault("open", 0).min() >= 4094
    assert with_fault("short", 0).max() <= 1
    assert set(with_fault("stuck", 1234)) == {1234}
    assert with_fault("noisy", 5000).std() > 15
    assert with_fault("saturated", 0).mean() > 3000
    drift = with_fault("drift", 76_336)
    # 76336 / 2^24 codes a sample are 273 codes, 10 cmH2O, in 10 min at 100 S/s (worked out).
    assert drift[-1] - drift[0] == pytest.approx(2000 * 76_336 / (1 << 24), abs=3)
