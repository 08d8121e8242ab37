"""Calibration against the worked example of the GUM, samples drawn at random, and nonsense."""

import math

import numpy as np
import pytest

from firmware_sim.contract import channels, settings
from ingest.analysis import calibration as c
from ingest.errors import UserError

EXACT = c.Reference(percent=0.0, absolute=0.0)
METER = c.Reference(percent=0.5, absolute=0.1)
PRESSURE, OXYGEN, MAINS = c.channel("pressure"), c.channel("oxygen"), c.channel("supply_in")
# JCGM 100:2008 (GUM), annex H.3, table H.6: thermometer readings and corrections in degrees (values from
# memory; that they give the annex's own results is checked below).
READINGS = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTIONS = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)


def point(reference, code, spread=2.0, count=1000, zero=0.0):
    """Return a point whose codes lie within a spread."""
    return c.Point(reference=reference, code=code, low=code - spread / 2, high=code + spread / 2, count=count,
                   zero=zero)  # fmt: skip


def code_of(about, value, gain=1.0, offset=0.0):
    """Return the code of a sensor that reads `gain` times too much and stands `offset` codes too high."""
    return value * about.per_unit * gain + about.zero + offset


def test_the_line_is_that_of_the_gum():
    """y1 -0.1712, y2 0.00218, s(y1) 0.0029, s(y2) 0.00067, s 0.0035 (GUM H.3.3; published)."""
    x, y = np.array(READINGS) - 20, np.array(CORRECTIONS)
    # With weights of 1/1000, the scatter of 0.0035 widens by 3.5.
    slope, intercept, slope_u, intercept_u, widened = c._line(x, y, np.full(11, 1e-3))
    assert (intercept, slope) == pytest.approx((-0.1712, 0.00218), abs=5e-6 + 5e-5)
    assert slope == pytest.approx(0.00218, abs=5e-6)
    assert (intercept_u, slope_u) == pytest.approx((0.0029, 0.00067), abs=5e-5)
    assert widened * 1e-3 == pytest.approx(0.0035, abs=5e-5)


@pytest.mark.parametrize("name", [row[1] for row in channels.CHANNELS])
def test_codes_become_what_the_contract_says(name):
    about = c.channel(name)
    row = channels.CHANNELS[about.id]
    if not about.is_ac:
        assert c.Coefficients().value(about, row[4]) == pytest.approx(row[6])
        assert c.Coefficients().value(about, row[5]) == pytest.approx(row[7])
    assert settings.SETTINGS[settings.ID_OF[f"calibration.{name}_gain"]].adult == c.ONE


def test_two_points_give_back_what_is_wrong_with_a_sensor():
    # Reads 4 % high and stands 12 codes up: by hand gain 1/1.04 = 15754/16384, offset 12.
    points = [point(value, code_of(PRESSURE, value, 1.04, 12)) for value in (0.0, 40.0)]
    found = c.solve(PRESSURE, points, EXACT, c.Coefficients())
    assert found.coefficients == c.Coefficients(gain=15754, offset=12)
    assert found.found == pytest.approx((12 / 27.3, 1.6 + 12 / 27.3), abs=2e-3)
    assert max(map(abs, found.left)) < 2e-3


def test_a_tap_is_calibrated_by_its_rms_and_its_zero_by_the_mean_code():
    points = [point(230.0, 230 * MAINS.per_unit * 0.97, count=10, zero=-3.2)]
    points += [point(0.0, 0.6, 0.4, 10, zero=-2.8)]
    found = c.solve(MAINS, points, METER, c.Coefficients(gain=16500))
    assert found.coefficients == c.Coefficients(gain=round(16384 / 0.97), offset=-3)
    assert found.found[0] == pytest.approx(230 * 0.97 * 16500 / 16384 - 230, abs=1e-6)
    # +-(0.5 % + 0.1 V) as rectangles, at 230 V: 0.664 V and 0.058 V.
    assert found.uncertainty(230.0) == pytest.approx(math.hypot(230 * 0.005, 0.1) / math.sqrt(3), rel=0.02)


def test_of_a_thousand_calibrations_two_thirds_lie_within_the_standard_uncertainty():
    """k = 1 holds 68 % of normal errors; rectangles are drawn as rectangles here, so a little differs."""
    generator = np.random.default_rng(11)
    inside = 0
    for _ in range(1000):
        share = generator.uniform(-0.005, 0.005)
        shift = generator.uniform(-0.1, 0.1)
        points = []
        for shown in (0.0, 15.0, 30.0, 45.0, 60.0):
            true = shown * (1 + share) + shift
            mean = code_of(PRESSURE, true, 1.03, 20) + generator.uniform(-3, 3) / math.sqrt(10)
            points.append(point(shown, mean, spread=6.0, count=10))
        found = c.solve(PRESSURE, points, METER, c.Coefficients())
        read = found.coefficients.value(PRESSURE, code_of(PRESSURE, 50.0, 1.03, 20))
        inside += abs(read - 50.0) < found.uncertainty(50.0)
    assert 0.60 < inside / 1000 < 0.85


def test_points_that_scatter_more_than_they_should_widen_the_uncertainty():
    straight = [point(value, code_of(PRESSURE, value)) for value in (0.0, 20.0, 40.0, 60.0)]
    bent = [point(one.reference, one.code + add) for one, add in zip(straight, (8, -8, -8, 8), strict=True)]
    usual = c.solve(PRESSURE, straight, EXACT, c.Coefficients())
    wide = c.solve(PRESSURE, bent, EXACT, c.Coefficients())
    assert usual.widened == 1.0 and wide.widened > 50
    assert wide.gain_u_ppm > 20 * usual.gain_u_ppm


def test_oxygen_is_calibrated_before_the_altitude_is_put_right():
    # At a site where the module multiplies by 1.2, 93 % make the cell feel 77.5 %.
    points = [point(value, code_of(OXYGEN, value / 1.2)) for value in (20.9, 93.0)]
    found = c.solve(OXYGEN, points, EXACT, c.Coefficients(), factor=1.2)
    assert found.coefficients == c.Coefficients()
    assert max(map(abs, found.found)) < 1e-9


@pytest.mark.parametrize(("about", "points", "said"), [
    (PRESSURE, [(0.0, 819.0)], "one point"),
    (PRESSURE, [(0.0, 819.0), (10.0, 1092.0)], "apart"),
    (PRESSURE, [(0.0, 819.0), (40.0, 1200.0)], "gain"),
    (PRESSURE, [(0.0, 819.0), (40.0, 400.0)], "swapped"),
    (PRESSURE, [(0.0, 1300.0), (40.0, 2392.0)], "offset"),
    (PRESSURE, [(0.0, 819.0), (20.0, 1465.0), (40.0, 1911.0)], "off the line"),
    (PRESSURE, [(0.0, 819.0), (140.0, 4000.0)], "outside"),
    (PRESSURE, [(0.0, 819.0), (119.0, 4094.0)], "upper end"),
    (c.channel("rail"), [(0.0, 1.0), (5.0, 3102.0)], "lower end"),
    (OXYGEN, [(20.9, 778.0), (60.0, 2233.6)], "tops out early"),
    (PRESSURE, [(0.0, 819.0), (math.nan, 1911.0)], "outside"),
])  # fmt: skip
def test_nonsense_is_refused_in_one_sentence(about, points, said):
    with pytest.raises(UserError, match=said) as caught:
        c.solve(about, [point(*one) for one in points], METER, c.Coefficients())
    assert str(caught.value).endswith(".")


def test_a_restless_reference_is_refused():
    with pytest.raises(UserError, match="hold the reference still"):
        c.check_point(PRESSURE, point(20.0, 1365.0, spread=30.0))
    with pytest.raises(UserError, match="no channel 'presure'"):
        c.channel("presure")
    with pytest.raises(UserError, match="enough"):
        c.check_point(PRESSURE, point(20.0, 1365.0), [point(0.0, 819.0)] * 20)


def test_a_zero_check_moves_the_offset_only():
    assert c.zero_check(PRESSURE, point(0.0, 860.4)) == 41
    with pytest.raises(UserError, match="offset"):
        c.zero_check(PRESSURE, point(0.0, 1400.0))


def test_drift_is_proven_beyond_both_uncertainties():
    earlier, later = c.Coefficients(), c.Coefficients(gain=15754)
    # The earlier coefficients read 4 % high now: 1.6 of 40.
    found = c.drift(PRESSURE, earlier, (3000.0, 0.3), later, (3000.0, 0.3), 40.0)
    assert found.change == pytest.approx(1.6, abs=1e-3)
    assert found.expanded == pytest.approx(2 * math.hypot(40 * 0.003, 0.3 / 27.3) * math.sqrt(2), rel=1e-3)
    assert found.is_proven
    assert not c.drift(PRESSURE, earlier, (30_000.0, 0.3), later, (3000.0, 0.3), 40.0).is_proven
