"""Purity of the source and battery support, as the module judges them."""

import numpy as np
import pytest

from firmware_sim import kernels as plain
from firmware_sim.contract import NONE, channels
from firmware_sim.core import oxygen as o2
from firmware_sim.core.battery import Battery
from firmware_sim.core.oxygen import Oxygen
from firmware_sim.kernels import battery as words
from tests.support.taps import module_settings

OK, STUCK = channels.SENSOR_OK, channels.SENSOR_STUCK
STATE = {name: n for n, name in enumerate(channels.OXYGEN_STATES)}


def play(oxygen, purity, alive=True, product=850, sensor=OK, warming=False, seed=1):
    """Feed one purity (%) a second, two codes each; return the states seen."""
    rng = np.random.default_rng(seed)
    states = []
    for value in purity:
        for _ in range(2):
            oxygen.sample(int(min(max(round(value / 110 * 4095 + rng.normal(0, 0.8)), 0), 4095)))
        oxygen.second(alive, product, sensor, warming)
        states.append(oxygen.state)
    return states


def fresh(**changed):
    return Oxygen(plain, module_settings(**changed))


def test_reading_and_fall():
    oxygen = fresh()
    play(oxygen, np.full(60, 93.0))
    assert oxygen.value == pytest.approx(9300, abs=8)
    assert oxygen.fall == pytest.approx(0, abs=10)
    play(oxygen, 93 - 4.0 * np.arange(90) / 60)
    assert oxygen.fall == pytest.approx(400, abs=30)
    assert oxygen.value == pytest.approx(8707, abs=25)


def test_ripple_of_the_sieve_is_no_fall():
    """A cycle of 8 s with 0.25 %: the means cover whole cycles."""
    oxygen = fresh()
    play(oxygen, 93 + 0.25 * np.sin(2 * np.pi * np.arange(300) / 8))
    assert oxygen.fall < 15


def test_a_spike_leaves_no_trace():
    oxygen = fresh()
    play(oxygen, np.full(10, 93.0))
    oxygen.sample(4095)
    assert oxygen.value == pytest.approx(9300, abs=8)


def test_ceiling_of_a_concentrator():
    """20.946/(20.946 + 0.934) = 95.73 % (worked out): above 96.5 % for 5 min is implausible."""
    assert o2.HIGH / 100 > 20.946 / (20.946 + 0.934) * 100
    oxygen = fresh()
    play(oxygen, np.full(200, 95.7))
    assert STATE["implausible"] not in play(oxygen, np.full(600, 95.7))
    states = play(oxygen, np.concatenate([np.linspace(95.7, 96.8, 400), np.full(400, 96.8)]))
    assert states[-1] == STATE["implausible"]
    assert STATE["probably_cylinder"] not in states
    first = states.index(STATE["implausible"])
    assert first == pytest.approx(400 * 0.8 / 1.1 + 300, abs=40)


def test_a_step_above_97_is_probably_a_cylinder():
    """Cylinder oxygen reads about 99.5 % (worked out); it is neither implausible nor a fault."""
    oxygen = fresh()
    play(oxygen, np.full(300, 93.0))
    states = play(oxygen, np.concatenate([np.linspace(93, 99.5, 20), np.full(600, 99.5)]), product=20)
    assert states[-1] == STATE["probably_cylinder"]
    assert set(states) <= {STATE["current"], STATE["not_current"], STATE["probably_cylinder"]}
    assert play(oxygen, np.linspace(99.5, 93, 100))[-1] == STATE["current"]


def test_a_drifting_cell_is_no_cylinder():
    oxygen = fresh()
    play(oxygen, np.full(300, 95.0))
    states = play(oxygen, np.linspace(95.0, 98.0, 3600))
    assert STATE["probably_cylinder"] not in states
    assert states[-1] == STATE["implausible"]


def test_above_103_is_a_fault():
    oxygen = fresh()
    play(oxygen, np.full(20, 93.0))
    assert play(oxygen, np.full(10, 104.0))[-1] == STATE["fault"]
    assert play(oxygen, np.full(10, 93.0))[-1] == STATE["current"]
    assert play(oxygen, np.full(10, 93.0), sensor=STUCK)[-1] == STATE["fault"]


def test_source_stopped_though_the_supply_is_good():
    """The stagnant gas goes on reading 93 %; the product pressure tells."""
    oxygen = fresh()
    play(oxygen, np.full(120, 93.0))
    states = play(oxygen, np.full(60, 93.0), product=10)
    assert oxygen.stopped == 1
    assert states[-1] == STATE["not_current"]
    assert oxygen.flow == o2.FLOW_ABSENT
    play(oxygen, np.full(20, 93.0))
    assert (oxygen.stopped, oxygen.state) == (0, STATE["current"])
    play(oxygen, np.full(60, 93.0), product=10, warming=True)
    assert oxygen.stopped == 0


def test_without_output_the_reading_is_not_current():
    oxygen = fresh()
    play(oxygen, np.full(120, 93.0), product=None)
    assert oxygen.flow == o2.FLOW_ASSUMED
    states = play(oxygen, np.full(30, 93.0), alive=False, product=None)
    assert states[-1] == STATE["not_current"]
    assert oxygen.stopped == 0  # its supply is not good


def test_restart_says_starting_until_ready():
    oxygen = fresh()
    play(oxygen, np.full(120, 93.0))
    play(oxygen, np.linspace(93, 80, 60), alive=False, product=0)
    states = play(oxygen, np.linspace(80, 93, 200))
    assert states[20] == STATE["starting"]
    assert states[-1] == STATE["current"]


def test_altitude_corrects_a_cell_that_reads_partial_pressure():
    """About 17 % low at 1500 m on a sea-level calibration (from memory; the formula gives 16.6 %)."""
    oxygen = fresh(oxygen__altitude=1500)
    play(oxygen, np.full(20, 93.0 * 0.8345))
    assert oxygen.value == pytest.approx(9300, abs=20)
    low = fresh()
    play(low, np.full(20, 93.0 * 0.8345))
    assert low.value == pytest.approx(7761, abs=20)


def proven(kernels, minutes=20, day=20000, **changed):
    battery = Battery(
        kernels, module_settings(battery__proven_minutes=minutes, battery__proven_day=day, **changed)
    )
    battery.configure(
        module_settings(battery__proven_minutes=minutes, battery__proven_day=day, **changed), today=day
    )
    return battery


def test_never_proven_is_not_known(fast):
    battery = Battery(fast, module_settings())
    battery.second(channels.STATE_NORMAL)
    assert (battery.left, battery.left_s, battery.proven) == (NONE, None, False)


def test_drain_and_recharge(fast):
    """20 min proven: half after 10 min of stored energy; 85 % again after 60 % of the recharge time."""
    battery = proven(fast)
    battery.restore(words.FULL)
    battery.second(channels.STATE_NORMAL)
    assert battery.left == 1200
    assert battery.proven
    for _ in range(600):
        battery.second(channels.STATE_STORED_ENERGY)
    assert battery.left == pytest.approx(600, abs=2)
    for _ in range(700):
        battery.second(channels.STATE_STORED_ENERGY)
    assert battery.left == 0
    hours = 8 * 3600
    for _ in range(round(0.6 * hours)):
        battery.second(channels.STATE_NORMAL)
    assert battery.left == pytest.approx(0.85 * 1200, abs=5)
    for _ in range(round(0.42 * hours)):
        battery.second(channels.STATE_BYPASS)
    assert battery.left == 1200


def test_death_on_stored_energy_empties_it(fast):
    battery = proven(fast)
    battery.restore(words.FULL)
    battery.second(channels.STATE_STORED_ENERGY)
    battery.second(channels.STATE_DEAD)
    assert battery.left == 0


def test_age_of_the_test(fast):
    """Older than 180 days it is not proven; each year takes a tenth (common practice, no source)."""
    values = module_settings(battery__proven_minutes=20, battery__proven_day=20000)
    for age, left, is_proven in ((0, 1200, True), (180, 1141, True), (181, 1141, False), (365, 1080, False)):
        battery = Battery(fast, values)
        battery.configure(values, today=20000 + age)
        battery.restore(words.FULL)
        battery.second(channels.STATE_NORMAL)
        assert battery.left == pytest.approx(left, abs=1)
        assert battery.proven is is_proven


def test_a_clock_that_is_not_set_proves_nothing(fast):
    battery = Battery(fast, module_settings(battery__proven_minutes=20, battery__proven_day=20000))
    battery.restore(words.FULL)
    battery.second(channels.STATE_NORMAL)
    assert (battery.left, battery.proven) == (1200, False)


def test_the_bound_is_rounded_down(fast):
    for charge in (0, 1, words.FULL // 3, words.FULL - 1, words.FULL):
        for seconds in (60, 1200, 8000, 8001, 86400):
            exact = charge * seconds / words.FULL
            assert exact - 12 <= fast.battery_left(seconds, charge) <= exact
