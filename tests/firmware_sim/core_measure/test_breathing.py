"""Circuit pressure through the module's own class: codes in, engine inputs and breath records out."""

from array import array

import numpy as np
import pytest

from firmware_sim.contract import NONE, channels
from tests.support.lungs import Lung
from tests.support.patients import drawn
from tests.support.step_kernel import Circuit
from tests.support.taps import module_settings

ADULT = Lung(resistance=10, compliance=0.05, vt=0.5, ti=1.0, te=3.0, peep=5)
CODES_PER_CMH2O = 4095 / 150


def blocks(pressure, noise=0.45, offset=0.0, gain=1.0):
    """Cut cmH2O into blocks of 10 codes of a sensor with flaws."""
    code = (np.asarray(pressure) * gain + 30) * CODES_PER_CMH2O + offset
    code = code + np.random.default_rng(2).normal(0, noise, len(code))
    code = np.clip(np.round(code), 0, 4095).astype(np.int16)
    return [array("h", code[n : n + 10].tobytes()) for n in range(0, len(code) - 9, 10)]


def play(kernels, pressure, breathing=None, **changed):
    breathing = breathing or Circuit(kernels, module_settings(**changed))
    for codes in blocks(pressure):
        breathing.take(codes)
    return breathing


def steady(seconds):
    return ADULT.wave(np.arange(round(100 * seconds)) / 100)


def test_inputs_of_a_steady_adult(fast):
    """Peak 20.02, end-expiratory 5, 15 a minute (worked out from the equation of motion)."""
    breathing = play(fast, np.concatenate([np.full(300, 5.0), steady(40)]))
    assert breathing.seen.peak / 100 == pytest.approx(20.02, abs=0.4)
    assert breathing.seen.end_expiratory / 100 == pytest.approx(5.0, abs=0.15)
    assert breathing.seen.rate == pytest.approx(1500, abs=20)
    assert breathing.seen.breath_age == pytest.approx(29, abs=2)
    kind, peak, plateau, end, mean, lowest, ti, te, rate, flags = breathing.records[5]
    assert (kind, plateau, flags) == (channels.BREATH_KINDS.index("ventilator"), None, 0)
    assert peak / 100 == pytest.approx(20.02, abs=0.4)
    assert end / 100 == pytest.approx(5.0, abs=0.15)
    assert mean / 100 == pytest.approx(7.506, abs=0.15)
    assert lowest / 100 == pytest.approx(4.9, abs=0.2)
    assert (ti, te) == (pytest.approx(1000, abs=40), pytest.approx(3000, abs=40))
    assert rate == pytest.approx(1500, abs=20)


def test_nothing_is_known_before_the_first_breath(fast):
    breathing = play(fast, np.full(1000, 5.0))
    assert (breathing.seen.peak, breathing.seen.end_expiratory, breathing.seen.rate) == (NONE, NONE, NONE)
    assert breathing.seen.breath_age == breathing.seen.cycle_age == 100
    assert breathing.records == []


def test_a_new_patient_starts_from_nothing(fast):
    breathing = play(fast, steady(20))
    assert breathing.seen.peak != NONE
    breathing.forget()
    seen = play(fast, np.full(100, 5.0), breathing).seen
    assert (seen.peak, seen.end_expiratory, seen.rate) == (NONE, NONE, NONE)
    assert seen.breath_age == seen.cycle_age == 10


def test_calibration_acts_on_the_quantity(fast):
    """A sensor 5 % high with its zero 1.5 cmH2O off, corrected by offset first and gain on the quantity."""
    off = round(1.5 * CODES_PER_CMH2O)
    flawed = blocks(steady(12), offset=off, gain=1.05)
    raw = Circuit(fast, module_settings())
    corrected = Circuit(
        fast,
        module_settings(calibration__pressure_offset=off, calibration__pressure_gain=round(16384 / 1.05)),
    )
    for codes in flawed:
        raw.take(codes)
        corrected.take(codes)
    assert corrected.seen.peak / 100 == pytest.approx(20.02, abs=0.4)
    assert corrected.seen.end_expiratory / 100 == pytest.approx(5.0, abs=0.15)
    assert raw.seen.peak / 100 == pytest.approx(22.5, abs=0.4)


def test_the_second_and_the_wave(fast):
    breathing = Circuit(fast, module_settings())
    ramp = np.linspace(-5, 35, 100)
    for codes in blocks(ramp):
        breathing.take(codes)
        assert len(breathing.wave) == 10
    breathing.second()
    assert breathing.wave[9] / 100 == pytest.approx(35, abs=0.1)
    assert breathing.mean / 100 == pytest.approx(15.0, abs=0.1)
    assert breathing.low / 100 == pytest.approx(-5, abs=0.2)
    assert breathing.high / 100 == pytest.approx(35, abs=0.8)


def test_the_range_of_the_sensor(fast):
    """-30 to +120 cmH2O over 12 bits."""
    breathing = Circuit(fast, module_settings())
    breathing.take(array("h", [0] * 5 + [4095] * 5))
    assert (breathing.wave[0], breathing.wave[9]) == (-3000, 12000)


def test_modes_have_their_own_breaths(fast):
    """Pulls are breaths in draw-over breathing and efforts on a ventilator."""
    played = drawn(np.random.default_rng(4))
    alone = play(fast, played.pressure, module__mode=channels.MODE_SPONTANEOUS)
    assert len(alone.records) == pytest.approx(24, abs=1)
    assert {record[0] for record in alone.records} == {channels.BREATH_KINDS.index("patient")}
    on_ventilator = play(fast, played.pressure, module__mode=channels.MODE_VENTILATOR)
    assert on_ventilator.records == []
    assert on_ventilator.seen.breath_age == len(played.pressure) // 10
    assert on_ventilator.suggested_mode() == channels.MODE_SPONTANEOUS
    assert alone.suggested_mode() is None


def test_a_machine_is_suggested_in_draw_over_mode(fast):
    breathing = play(fast, steady(60), module__mode=channels.MODE_SPONTANEOUS)
    assert breathing.suggested_mode() == channels.MODE_VENTILATOR
    assert play(fast, steady(60)).suggested_mode() is None


@pytest.mark.parametrize("rest", [0.0, 5.0, 8.0])
def test_apart_against_a_pillow(fast, rest):
    """5-8 cmH2O may stay when apart: no cycle above 10, whatever still moves."""
    weak = 8.0 * (np.mod(np.arange(2000), 400) < 100)
    breathing = play(fast, np.concatenate([steady(40), np.maximum(weak, rest)]))
    assert breathing.seen.cycle_age == pytest.approx(200 + 40, abs=5)
    assert breathing.seen.pressure_max < 1000
