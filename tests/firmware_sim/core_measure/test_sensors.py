"""Each sensor's faults, as codes, and what must not be taken for one."""

from array import array

import numpy as np
import pytest

from firmware_sim.contract import channels
from firmware_sim.core.sensors import Sensors
from tests.support.lungs import Lung
from tests.support.patients import drawn, ventilated
from tests.support.step_kernel import Circuit
from tests.support.taps import FLAT_TOP, blocks, codes, module_settings, volts

CODES_PER_CMH2O = 4095 / 150
NAMES = channels.SENSOR_CONDITIONS
ADULT = Lung(resistance=10, compliance=0.05, vt=0.5, ti=1.0, te=3.0, peep=5).wave(np.arange(12000) / 100)


class Bench:
    """Feed seconds of codes of all channels and tell the conditions."""

    def __init__(self, kernels):
        self.sensors = Sensors(kernels)
        self.breathing = Circuit(kernels, module_settings())
        self.rng = np.random.default_rng(9)

    def play(self, seconds, before=None, after=None, pressure=None, oxygen=None, rail=None):
        taps = codes(volts(seconds, 50.02, harmonics=FLAT_TOP), 0.45)
        before = blocks(taps if before is None else before)
        after = blocks(taps if after is None else after)
        if pressure is None:
            pressure = (ADULT[: 100 * seconds] + 30) * CODES_PER_CMH2O
        pressure = np.clip(np.round(pressure + 0.0), 0, 4095).astype(np.int16)
        seen = []
        for n in range(10 * seconds):
            self.breathing.take(array("h", pressure[10 * n : 10 * n + 10].tobytes()))
            if n % 5 == 0:
                self.sensors.oxygen(self._code(3462, 0.8) if oxygen is None else oxygen(n))
            if n % 10 == 9:
                self.sensors.rail(self._code(3100, 0.4) if rail is None else rail(n))
                self.sensors.second(before[n], after[n], 0, self.breathing.words)
                seen.append([NAMES[condition] for condition in self.sensors.conditions])
        return seen

    def _code(self, middle, noise):
        return int(np.clip(round(middle + self.rng.normal(0, noise)), 0, 4095))


@pytest.fixture
def bench(fast):
    return Bench(fast)


def noisy(values, noise=0.45, seed=3):
    return np.asarray(values) + np.random.default_rng(seed).normal(0, noise, len(values))


def test_all_is_well(bench):
    assert {name for second in bench.play(60) for name in second} == {"ok"}
    assert bench.sensors.packed() == 0


SUPPLY_FAULTS = {
    "open": np.clip(np.round(noisy(np.full(32000, 2047.0))), -2048, 2047),
    "short": np.clip(np.round(noisy(np.full(32000, -2048.0))), -2048, 2047),
    "stuck": np.full(32000, 311.0),
    "saturated": np.clip(codes(volts(10, 50), 0.45) + 1919.0, -2048, 2047),
    "drift": codes(volts(10, 50), 0.45) + 2.5 * np.arange(32000) / 3200,
    "noisy": codes(volts(10, 50), 88.0),
}


@pytest.mark.parametrize("fault", SUPPLY_FAULTS)
def test_supply_taps(bench, fault):
    seen = bench.play(10, before=SUPPLY_FAULTS[fault].astype(np.int16))
    assert seen[-1] == [fault, "ok", "ok", "ok", "ok"]
    assert bench.sensors.packed() == NAMES.index(fault)


@pytest.mark.parametrize("rms", [0.0, 40.0, 120.0, 300.0, 600.0])
def test_no_supply_voltage_is_a_sensor_fault(bench, rms):
    """A dead line, a floating one, and a lost neutral that clips both ends."""
    seen = bench.play(5, before=codes(volts(5, 50, rms, FLAT_TOP), 0.45))
    assert {second[0] for second in seen} == {"ok"}


def pressure_faults():
    base = (ADULT + 30) * CODES_PER_CMH2O
    return {
        "open": noisy(np.full(4000, 4095.0)),
        "short": noisy(np.zeros(4000)),
        "stuck": np.full(4000, 990.0),
        "saturated": noisy(base[:4000]) + 1919,
        "noisy": noisy(base[:4000], 94.0),
    }


@pytest.mark.parametrize("fault", pressure_faults())
def test_pressure(bench, fault):
    seen = bench.play(20, pressure=pressure_faults()[fault][:2000])
    assert seen[-1][channels.PRESSURE] == fault


def test_pressure_drift_of_four_cmh2o_a_minute(bench):
    drifting = (ADULT + 4.0 * np.arange(12000) / 6000 + 30) * CODES_PER_CMH2O
    assert bench.play(120, pressure=noisy(drifting))[-1][channels.PRESSURE] == "drift"


@pytest.mark.parametrize("kind", ["ventilated", "drawn", "apnoea on PEEP 6", "apart"])
def test_no_breathing_is_a_sensor_fault(bench, kind):
    """Above all an apnoea: a steady pressure with the converter's noise is not stuck."""
    rng = np.random.default_rng(12)
    pressure = {
        "ventilated": lambda: ventilated(rng).pressure, "drawn": lambda: drawn(rng).pressure,
        "apnoea on PEEP 6": lambda: np.full(4000, 6.0), "apart": lambda: np.zeros(4000),
    }[kind]()[:3000]  # fmt: skip
    seen = bench.play(len(pressure) // 100, pressure=noisy((pressure + 30) * CODES_PER_CMH2O))
    assert {second[channels.PRESSURE] for second in seen} == {"ok"}


def test_stuck_never_hides_no_breath(bench):
    bench.play(20)
    bench.play(25, pressure=np.full(2500, 990.0))
    assert bench.sensors.conditions[channels.PRESSURE] == channels.SENSOR_STUCK
    assert bench.breathing.seen.breath_age >= 250


@pytest.mark.parametrize(("fault", "code"), [
    ("open", lambda n: 4095), ("short", lambda n: 0), ("stuck", lambda n: 3462),
    ("noisy", lambda n: 3462 + 300 * (-1) ** (n // 5)),
])  # fmt: skip
def test_oxygen(bench, fault, code):
    seen = bench.play(30, oxygen=code)
    assert seen[-1][channels.OXYGEN] == fault
    assert bench.play(15)[-1][channels.OXYGEN] == "ok"


@pytest.mark.parametrize(("fault", "code"), [("open", 4095), ("short", 0)])
def test_rail(bench, fault, code):
    assert bench.play(3, rail=lambda n: code)[-1][channels.RAIL] == fault
