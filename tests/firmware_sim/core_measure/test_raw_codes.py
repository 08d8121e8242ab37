"""Raw codes beside converted values: what the converter gave, and nothing else."""

from firmware_sim.contract import channels
from firmware_sim.core.raw_codes import MISSING, RawCodes


def test_mean_lowest_and_highest_of_each_channel():
    raw = RawCodes()
    for code in (100, 103, 101):
        raw.one(channels.OXYGEN, code)
    raw.add(channels.SUPPLY_IN, 320, -40, -601, 602)
    raw.add(channels.SUPPLY_IN, 320, -40, -599, 600)
    raw.one(channels.UPS_CURRENT, None)
    found = raw.take()
    assert found[3 * channels.OXYGEN:][:3] == [round(8 * 304 / 3), 800, 824]
    assert found[:3] == [-1, -4808, 4816]
    assert found[3 * channels.UPS_CURRENT:][:3] == [MISSING] * 3
    assert raw.take() == [MISSING] * 27
    # Nothing of the seconds before is left in the next record.
    raw.one(channels.OXYGEN, 50)
    assert raw.take()[3 * channels.OXYGEN:][:3] == [400, 400, 400]


def test_ten_seconds_at_full_scale_stay_small_integers():
    """MicroPython's small integers end at 2^30 on a 32-bit board."""
    raw = RawCodes()
    for _ in range(10):
        raw.add(channels.SUPPLY_IN, 320, 320 * 2047, 2047, 2047)
        raw.add(channels.PRESSURE, 100, 100 * 4095, 4095, 4095)
    assert max(raw.total) * 8 < 1 << 30
    assert raw.take()[:1] == [2047 * 8]
