"""Battery voltage and load where they are fitted: the module shortens its bound by the test's own record.

The truth is the UPS of the emulated world, constant power out of two wells of charge: it knows nothing of the
bound's rules.
"""

from functools import cache

import numpy as np
import pytest

from firmware_sim.contract import channels
from firmware_sim.contract.settings import CURVE_NAMES, ID_OF
from firmware_sim.core.battery import Battery
from firmware_sim.kernels import battery as words
from firmware_sim.world import ups
from tests.support.taps import module_settings

STORED, NORMAL, DEAD = channels.STATE_STORED_ENERGY, channels.STATE_NORMAL, channels.STATE_DEAD
NOISE_V, STEP_V = 0.05, 300 / 4095


@cache
def discharge(load_w=350.0, share=1.0, health=1.0):
    """Return volts and amperes (0.01, as the channels give them) each second until the UPS is empty."""
    made = ups.UpsSettings(health=health)
    full = made.battery_ah * health
    state = ups.UpsState(mode=ups.MODE_STORED, fast_ah=made.fast_share * full * share,
                         slow_ah=(1 - made.fast_share) * full * share)  # fmt: skip
    chance, volts = np.random.default_rng(3), []
    while not state.empty and len(volts) < 86400:
        for _ in range(10):
            state = ups.step_battery(state, made, load_w, False, 0.1)
        volts.append(round((state.battery_v + chance.normal(0, NOISE_V)) / STEP_V) * STEP_V)
    return [round(100 * one) for one in volts[:-1]], round(100 * load_w / 230)


def after_a_test(kernels, load_w=350.0, volts=True, amperes=True):
    """Return the settings after a discharge test on a full, new battery."""
    battery = Battery(kernels, module_settings())
    battery.begin_test()
    curve, current = discharge(load_w)
    for one in curve:
        battery.second(STORED, one if volts else None, current if amperes else None)
    values = module_settings(battery__proven_minutes=len(curve) // 60, battery__proven_day=20000)
    battery.tested(values)
    return values


def played(kernels, values, load_w, share, health, believed=1.0, fitted=True):
    """Return (seconds promised, seconds left in truth) each second of a discharge.

    `believed`: the charge that the module takes for granted.
    """
    battery = Battery(kernels, values)
    battery.configure(values, today=20000)
    battery.restore(round(believed * words.FULL))
    curve, current = discharge(load_w, share, health)
    battery.second(NORMAL, 5460 if fitted else None, current if fitted else None)
    promised = []
    for one in curve:
        battery.second(STORED, one if fitted else None, current if fitted else None)
        promised.append(battery.left)
    return np.array(promised), np.arange(len(curve))[::-1], battery


def test_a_test_keeps_its_load_and_its_falling_curve(fast):
    values = after_a_test(fast)
    curve = [values[ID_OF[name]] for name in CURVE_NAMES]
    assert curve == sorted(curve)
    volts, current = discharge()
    assert (values[ID_OF["discharge.load"]], current) == (152, 152)
    assert values[ID_OF["discharge.minutes"]] == len(volts) // 60
    # By hand: the voltage with half the time left, as a mean of the seconds before.
    half = np.mean(volts[len(volts) // 2 - 30 : len(volts) // 2])
    assert curve[6] == pytest.approx(half, abs=15)


@pytest.mark.parametrize(("volts", "amperes"), [(False, True), (True, False), (False, False)])
def test_what_is_not_fitted_is_not_measured(fast, volts, amperes):
    values = after_a_test(fast, volts=volts, amperes=amperes)
    assert bool(values[ID_OF["discharge.volts_0"]]) is volts
    assert bool(values[ID_OF["discharge.load"]]) is amperes


@pytest.mark.parametrize("health", [1.0, 0.75, 0.5, 0.3])
@pytest.mark.parametrize("share", [1.0, 0.7])
@pytest.mark.parametrize(("load_w", "over_s"), [(200.0, 180), (350.0, 60), (500.0, 30), (700.0, 30)])
def test_a_battery_worse_than_believed_is_seen_by_its_voltage(fast, load_w, over_s, share, health):
    """Capacity lost since the test, and a charge that isn't full as believed: nobody told the module.

    With a lighter load than in the test the voltage stands higher, so it sees less of this.
    """
    promised, truth, _ = played(fast, after_a_test(fast), load_w, share, health)
    settled = slice(words.SETTLED_S + words.PACE_S, None)
    assert (promised - truth)[settled].max(initial=0) < over_s


def test_without_the_channels_nobody_sees_it(fast):
    promised, _, battery = played(fast, after_a_test(fast), 350.0, 1.0, 0.5, fitted=False)
    assert promised[-1] > 600, "it still promises ten minutes as the output dies"
    assert not battery.by_voltage


def test_a_good_battery_loses_little_by_being_watched(fast):
    promised, truth, _ = played(fast, after_a_test(fast), 350.0, 1.0, 1.0)
    assert (truth[120:] - promised[120:]).max() < 0.15 * len(truth)


def test_a_heavier_load_shortens_and_drains_faster_and_a_lighter_one_is_no_gain(fast):
    values = after_a_test(fast)
    full = values[ID_OF["battery.proven_minutes"]] * 60

    def left(amperes, seconds=300, state=NORMAL):
        battery = Battery(fast, values)
        battery.configure(values, today=20000)
        battery.restore(words.FULL)
        for _ in range(seconds):
            battery.second(state, None, amperes)
        return battery.left

    # Peukert's rated form, exponent 1.6 the worst published: double the current gives 1/2^1.6 of the time.
    assert full * 0.5**1.65 < left(304) <= full * 0.5**1.6
    assert left(76) == left(152) == left(None) == full
    assert left(304, 120, STORED) == pytest.approx(left(304) - 120, abs=3)
    assert left(304, 2) == left(304), "the first reading counts at once"


def test_one_second_of_a_starting_compressor_moves_little(fast):
    values = after_a_test(fast)
    battery = Battery(fast, values)
    battery.configure(values, today=20000)
    battery.restore(words.FULL)
    for amperes in [152] * 60 + [760]:
        battery.second(NORMAL, None, amperes)
    assert battery.left > 0.88 * values[ID_OF["battery.proven_minutes"]] * 60


@pytest.mark.parametrize("then", [1, 7, 152, 4000, 65535])
def test_the_load_factor_lies_just_below_the_worst_exponent(fast, then):
    for factor in (1, 1.01, 1.3, 2, 3, 10):
        now = round(then * factor)
        exact = min(1.0, then / now) ** 1.6
        found = fast.battery_load(then, now) / words.LOAD_ONE
        assert 0.93 * exact - 1 / words.LOAD_ONE <= found <= exact
    assert fast.battery_load(0, 100) == fast.battery_load(100, 99) == words.LOAD_ONE


def test_a_test_typed_in_by_hand_has_no_load_and_no_curve(fast):
    values = after_a_test(fast)
    values[ID_OF["battery.proven_minutes"]] += 5
    battery = Battery(fast, values)
    assert battery.words[words.TEST_AMPERES] == 0
    assert not any(battery.words[words.CURVE :])


def test_a_voltage_no_ups_would_run_on_is_a_fault_of_the_channel(fast):
    values = after_a_test(fast)
    battery = Battery(fast, values)
    battery.restore(words.FULL)
    for _ in range(200):
        battery.second(STORED, 0, None)
    assert not battery.by_voltage
    for _ in range(200):
        battery.second(STORED, 4000, None)
    assert (battery.left, battery.by_voltage) == (0, True)


def test_a_dip_at_the_start_of_a_test_promises_nothing_later(fast):
    """A battery just put to work may dip for a minute below where it then stays."""
    battery = Battery(fast, module_settings())
    battery.begin_test()
    for one in [4700] * 90 + list(range(5000, 4200, -1)):
        battery.second(STORED, one, 152)
    values = module_settings(battery__proven_minutes=14)
    battery.tested(values)
    curve = [values[ID_OF[name]] for name in CURVE_NAMES]
    assert curve == sorted(curve)
    assert curve[-1] > 4850


def test_a_long_test_thins_its_trace(fast):
    battery = Battery(fast, module_settings())
    battery.begin_test()
    for second in range(4 * 3600):
        battery.second(STORED, 5400 - second // 12, 152)
    values = module_settings(battery__proven_minutes=240)
    battery.tested(values)
    expected = [
        5400 - round(4 * 3600 * (1 - left) / 12) for left in (0, 1 / 64, 1 / 32, 1 / 16, 1 / 8, 0.25, 0.5, 1)
    ]
    found = [values[ID_OF[name]] for name in CURVE_NAMES]
    assert found == pytest.approx(expected, abs=20)
