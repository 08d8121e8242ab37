"""Class S limits (IEC 61000-4-30, from memory) as targets, through the modelled converter."""

import numpy as np
import pytest

from ingest.analysis.supply import accuracy


@pytest.mark.parametrize("part", [accuracy.steady, accuracy.events, accuracy.spectrum, accuracy.fluctuation])
def test_achieved_stays_within_the_targets(part):
    rows = part()
    assert rows
    for row in rows:
        assert row.greatest <= row.target, row
        assert row.greatest > 0.0, row


def test_raw_gain_error_of_half_a_per_cent_would_not_do(monkeypatch):
    # +-0.5 % of Udin is the whole limit at 150 % of Udin already with a raw gain error: calibration is
    # needed.
    monkeypatch.setattr(accuracy, "converted", lambda wave, seed: real(wave, seed, 1.005))
    assert max(row.greatest / row.target for row in accuracy.steady() if row.quantity == "10-cycle rms") > 1.0


real = accuracy.converted


def test_converter_has_twelve_bits_over_800_volts():
    # LSB 0.390625 V (worked out: 1600 V / 4096); 400 V rms is not clipped, 600 V rms is.
    assert accuracy.LSB_V == 0.390625
    codes = accuracy.converted(np.array([0.0, 565.7, 5000.0, -5000.0]), 1)
    assert codes[2] == 2047
    assert codes[3] == -2048
    assert abs(codes[1] - 565.7 / 0.390625) < 10


def test_same_table_each_time():
    assert accuracy.events() == accuracy.events()
