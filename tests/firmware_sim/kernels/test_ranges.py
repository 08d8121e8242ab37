"""No intermediate of any kernel reaches 2^30, so that a 32-bit board never makes a big integer.

A cycle of full-scale squares is 0.28 x 2^30 and ten cycles 2.5 x (worked out), which is why a half cycle is
reduced before anything is added.
"""

import numpy as np
import pytest

from firmware_sim import kernels
from firmware_sim.contract import NONE, inputs, settings, values
from firmware_sim.contract.engine import Engine, compile_table
from firmware_sim.kernels import alarms, battery, breath, evidence, oxygen, sensor, steps, supply
from tests.support.ranged import LIMIT, OutOfRange, Ranged, RangedArray
from tests.support.taps import BLOCK


def extreme_taps():
    """Full-scale waves from 36 to 80 Hz, square and sine, steps, rails and noise."""
    rng = np.random.default_rng(4)
    n = np.arange(12 * BLOCK)
    yield "rails", np.full(len(n), 2047), np.full(len(n), -2048)
    yield "noise", rng.integers(-2048, 2048, len(n)), rng.integers(-2048, 2048, len(n))
    for hertz in (36, 50, 80):
        turn = 2 * np.pi * hertz * n / 3200
        square = np.where(np.sin(turn) >= 0, 2047, -2048)
        yield f"square {hertz}", square, -square
        yield f"sine {hertz}", np.round(2047 * np.sin(turn)), np.round(2047 * np.sin(turn + 2.0))
    stop = np.where((n // 700) % 2 == 0, np.round(2047 * np.sin(2 * np.pi * 47 * n / 3200)), 0)
    yield "stops", stop, np.roll(stop, 333)


@pytest.mark.parametrize(("before", "after"), [pytest.param(a, b, id=name) for name, a, b in extreme_taps()])
def test_supply(before, after):
    state = RangedArray("i", [0] * supply.STATE_WORDS)
    ring = RangedArray("h", [0] * 2 * supply.RING)
    compare = RangedArray("i", [0] * evidence.COMPARE_WORDS)
    kernels.supply_reset(state, 50)
    kernels.supply_limits(state, Ranged(24000), 50, 9500, 13000, 2000, 500)
    for tap, (offset, gain) in enumerate(((-400, 19661), (400, 13107))):
        state[supply.COMMON + tap * supply.TAP + supply.OFFSET] = offset
        state[supply.COMMON + tap * supply.TAP + supply.GAIN] = gain
    state[supply.AT_BLOCK] = 43_200_000 - 5 + 8  # 50 days of blocks
    for n in range(12):
        first = RangedArray("h", [int(v) for v in before[n * BLOCK : (n + 1) * BLOCK]])
        second = RangedArray("h", [int(v) for v in after[n * BLOCK : (n + 1) * BLOCK]])
        kernels.supply_block(first, second, 0, ring, state)
        if n > 8:
            state[supply.COMMON + supply.FREQUENCY] = 45000
            kernels.compare_taps(ring, state, compare)


def test_a_thousand_seconds_of_sums():
    """The sums of a second and of ten, at the largest values that windows can have."""
    state = RangedArray("i", [0] * supply.STATE_WORDS)
    kernels.supply_reset(state, 50)
    kernels.supply_limits(state, 24000, 50, 9000, 11000, 1000, 200)
    at = supply.COMMON
    state[at + supply.SECOND_SUM] = 165 * 97656
    state[at + supply.SECOND_COUNT] = 165
    state[at + supply.FREQUENCY_CYCLES] = 80
    state[at + supply.FREQUENCY_TIME] = 819200
    state[at + supply.FREQUENCY_CYCLES_10] = 720
    state[at + supply.FREQUENCY_TIME_10] = 9 * 819200
    state[supply.AT_BLOCK] = 99
    supply._close_second(state, at)
    assert state[at + supply.MEAN] == 97656
    assert state[at + supply.FREQUENCY] == 80000
    assert state[at + supply.FREQUENCY_10] == 80000


def test_pressure():
    rng = np.random.default_rng(6)
    state = RangedArray("i", [0] * sensor.PRESSURE_STATE)
    wave = RangedArray("h", [0] * 10)
    records = RangedArray("i", [0] * 4 * breath.BREATH_WORDS)
    for offset, gain in ((-400, 19661), (400, 13107)):
        kernels.breath_reset(state, 0, 1000)
        state[sensor.P_OFFSET], state[sensor.P_GAIN] = offset, gain
        kinds = (lambda: [4095] * 10, lambda: [0] * 10, lambda: [int(v) for v in rng.integers(0, 4096, 10)],
                 lambda: [4095 * (k % 2) for k in range(10)])  # fmt: skip
        for n in range(480):
            codes = kinds[n // 20 % 4]()
            kernels.pressure_block(RangedArray("h", codes), 0, 10, wave, state, records)
            kernels.breath_rate(state)
    state[breath.OPEN], state[breath.PHASE] = 1, breath.REST_PHASE
    state[breath.AREA], state[breath.START] = 3000 * 12000, state[breath.AT] - 3000
    kernels.pressure_block(RangedArray("h", [4095] * 10), 0, 10, wave, state, records)


def test_whole_steps():
    """Ages of years, an input that jumps from rail to rail, and every alarm row awake."""
    def words(kind, count, fill=0):
        return RangedArray(kind, [fill] * count)

    rng = np.random.default_rng(7)
    engine = Engine(compile_table(settings.defaults()))
    breaths, supplies = words("i", sensor.PRESSURE_STATE), words("i", supply.STATE_WORDS)
    kernels.supply_reset(supplies, 50)
    kernels.supply_limits(supplies, Ranged(24000), 50, 9500, 13000, 2000, 500)
    kernels.breath_reset(breaths, 0, 1000)
    breaths[sensor.P_GAIN] = 19661
    breaths[breath.AGE] = breaths[breath.CYCLE_AGE] = breath.AGE_MAX - 5
    run = words("i", steps.RUN_WORDS)
    inputs.place(run)
    run[steps.UNDETERMINED], run[steps.WINDOW_LOW], run[steps.WINDOW_HIGH] = 1 << 29, 7000, 13000
    now = words("i", values.COUNT)
    now[values.LINK_AGE] = (1 << 29) - 100
    cell = words("i", oxygen.OXYGEN_WORDS)
    cell[oxygen.OFFSET], cell[oxygen.GAIN], cell[oxygen.ALTITUDE] = -400, 19661, 28757
    record, seen = words("i", steps.RECORD_WORDS), words("i", values.COUNT, NONE)
    changes, samples = words("h", 10 * inputs.STEP_MAX), words("h", 100)
    ring, wave, found = words("h", 2 * supply.RING), words("h", 10), words("i", 4 * breath.BREATH_WORDS)
    kept = [RangedArray("i", part) for part in
            (engine.table, engine.state, engine.low, engine.high, engine.seen, engine.out)]  # fmt: skip
    oldest, whats = 0, set()
    for _ in range(40):
        taps = [RangedArray("h", [int(v) for v in rng.choice((-2048, 0, 2047), 4 * BLOCK)]) for _ in range(2)]
        pressure = RangedArray("h", [int(v) for v in rng.choice((0, 819, 4095), 40)])
        run[steps.OXYGEN_DUE], run[steps.OXYGEN_CODE] = 2, int(rng.choice((0, 4095)))
        taken = kernels.quiet_steps(*taps, pressure, 0, 4, run, now, ring, supplies, wave, breaths, found,
                                    cell, seen, inputs.GROWTH, changes, samples, record, *kept)  # fmt: skip
        assert 1 <= taken <= 4
        if run[steps.WHAT]:
            kernels.alarm_steps(now, 0, 1, *kept)
            kernels.steps_record(now, wave, seen, inputs.GROWTH, changes, samples, record)
        kept[1][alarms.G_OUT] = 0
        if record[steps.STEPS] >= 6:
            record[steps.CODED] = record[steps.STEPS] = 0
        run[steps.STANDS] = run[steps.SAYS]
        oldest = max(oldest, now[values.BREATH_AGE])
        whats.add(int(run[steps.WHAT]))
    assert oldest >= (breath.AGE_MAX - 5) // 10
    assert len(whats) > 4


def test_battery():
    for proven in (0, 60, 1200, 86400):
        for charge in (0, battery.FULL // 2, battery.FULL):
            for days in (-1, 0, 180, 3650, 60000):
                state = battery_state(charge, proven, days)
                for was in range(5):
                    for now in range(5):
                        kernels.battery_second(state, now, was)


@pytest.mark.parametrize("proven", [60, 1200, 86400])
@pytest.mark.parametrize("then", [0, 1, 4000])
@pytest.mark.parametrize("curve", [[0] * 8, list(range(1, 9)), [3750 * k for k in range(1, 9)]])
def test_battery_with_its_channels(proven, then, curve):
    state = battery_state(battery.FULL, proven, 0)
    state[battery.TEST_AMPERES] = then
    for k in range(8):
        state[battery.CURVE + k] = curve[k]
    was = 1
    for n in range(600):
        state[battery.AMPERES] = (-1, 0, 4000, 65534)[n // 50 % 4]
        state[battery.VOLTS] = (32767, 30000 - 50 * n, 1, 0, -1)[n // 120]
        kernels.battery_second(state, 2, was)
        was = 2


def battery_state(charge, proven, days):
    state = RangedArray("i", [charge, proven, days, 365, 172800] + [0] * (battery.BATTERY_STATE - 5))
    state[battery.AMPERES_MEAN] = state[battery.VOLTS_MEAN] = -1
    return state


def test_the_checker_checks():
    assert Ranged(1 << 29) + (1 << 28) == 3 << 28
    for overflow in (lambda: Ranged(1 << 29) + (1 << 29), lambda: (1 << 15) * Ranged(1 << 15),
                     lambda: Ranged(1) << 30, lambda: -Ranged(LIMIT - 1) - 2):  # fmt: skip
        with pytest.raises(OutOfRange):
            overflow()
    with pytest.raises(OutOfRange):
        RangedArray("h", [0])[0] = 32768
    with pytest.raises(IndexError):
        RangedArray("h", [0])[-1]
