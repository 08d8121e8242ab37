"""Every row of the alarm table against its own words: limit, deadband, delays, latch, acknowledge.

Meaning of on-delay, off-delay and deadband: OPC UA Part 9, B.1.5 (published). An excursion one sample shorter
than the on-delay never alarms (worked out from the definition). Noise with sigma at most deadband/3 at the
limit makes fewer than 3 activations a minute, more without a deadband (worked out; 3 a minute is chatter,
ISA-18.2, quoted).
"""

import random

import pytest

from firmware_sim.contract import NONE, alarms, settings
from firmware_sim.contract.engine import NOT_THIS_ROW, OK, compile_table
from firmware_sim.kernels import alarms as k
from tests.support.alarm_bench import Bench, quiet

ROWS = pytest.mark.parametrize("row", alarms.ROWS, ids=lambda row: row.name)
PRESETS = pytest.mark.parametrize("preset", [0, 1], ids=["adult", "child"])
NUMERIC = [row for row in alarms.ROWS if row.deadband and row.kind != k.STATE]


def check_limit(bench):
    """On the limit is inside; one step beyond is outside, from the end of the on-delay on."""
    assert bench.step(bench.edges.inside, bench.edges.on + 50) == []


def check_on_delay(bench):
    """One tick shorter never alarms; at the delay it does, in that very step."""
    on = bench.edges.on
    if on:
        assert bench.step(bench.edges.outside, on) == []
        assert bench.step(bench.edges.inside, on + 5) == []
    begun = bench.engine.now()
    assert bench.step(bench.edges.outside, on + 1) == [(begun + on, "raised")]


def check_clear(bench):
    """Within the deadband it stands; beyond it, it ends after the off-delay, or latches."""
    bench.raised()
    if bench.edges.still is not None:
        assert bench.step(bench.edges.still, bench.edges.off + 20) == []
    end = "latched" if bench.row.latching else "cleared"
    off = bench.edges.off
    if off:
        assert bench.step(bench.edges.clear, off) == []
        assert bench.step(bench.edges.outside, 5) == []
    begun = bench.engine.now()
    assert bench.step(bench.edges.clear, off + 1) == [(begun + off, end)]


CHECKS = (check_limit, check_on_delay, check_clear)


@PRESETS
@ROWS
def test_limit_delays_and_deadband(row, preset, compiled_steps):
    for check in CHECKS:
        check(Bench(row, preset, steps=compiled_steps))


@ROWS
def test_a_missing_input_starts_nothing_but_stale_and_ends_nothing(row):
    bench = Bench(row)
    if row.kind == k.STALE:
        assert [name for _, name in bench.step(NONE, bench.edges.on + 1)] == ["raised"]
        return
    assert bench.step(NONE, bench.edges.on + 50) == []
    # Missing in the middle of the on-delay starts it anew.
    if bench.edges.on > 1:
        bench.step(bench.edges.outside, bench.edges.on)
        bench.step(NONE, 1)
        assert bench.step(bench.edges.outside, bench.edges.on) == []
        bench.step(bench.edges.inside, 1)
    bench.raised()
    assert bench.step(NONE, bench.edges.off + 50) == []
    assert bench.stands()


@ROWS
def test_acknowledge(row):
    bench = Bench(row).raised()
    answer = bench.engine.acknowledge(row.id)
    if not row.may_acknowledge:
        assert answer == NOT_THIS_ROW
        return
    assert answer == OK
    assert [name for _, name in bench.step(count=1)] == ["acknowledged"]
    assert bench.stands() and bench.engine.acknowledged(row.id)
    # What was acknowledged while present ends when its condition ends, latching or not.
    assert [name for _, name in bench.step(bench.edges.clear, bench.edges.off + 1)] == ["cleared"]


@pytest.mark.parametrize("row", [r for r in alarms.ROWS if r.latching], ids=lambda row: row.name)
def test_a_latched_row_stands_until_somebody_acts(row):
    bench = Bench(row).raised()
    bench.step(bench.edges.clear, bench.edges.off + 1)
    assert bench.step(count=4000) in ([], [(bench.seen[-1][0], "escalated")])
    assert bench.stands()
    assert bench.engine.acknowledge() == OK
    assert [name for _, name in bench.step(count=1)] == ["acknowledged", "cleared"]


@pytest.mark.parametrize("row", [r for r in alarms.ROWS if r.modes != alarms.ALL_MODES], ids=lambda r: r.name)
def test_a_mode_without_the_row_ends_it(row):
    bench = Bench(row).raised()
    closed = next(mode for mode in range(4) if not row.modes >> mode & 1)
    bench.inputs[alarms.v.MODE] = closed
    assert [name for _, name in bench.step(count=1)] == ["cleared"]
    assert bench.step(bench.edges.outside, bench.edges.on + 50) == []


def activations_a_minute(row, table, deadband, steps, minutes=10, seed=7):
    """Count how often noise at the limit raises the row, a minute."""
    chance = random.Random(seed)
    bench = Bench(row, engine_table=table, steps=steps)
    sigma = deadband / 3
    count = 0
    for _ in range(600 * minutes):
        value = bench.edges.limit + round(chance.gauss(0, sigma))
        count += [name for _, name in bench.step(value)].count("raised")
    return count / minutes


@pytest.mark.parametrize("row", NUMERIC, ids=lambda row: row.name)
def test_noise_at_the_limit_does_not_chatter(row, compiled_steps):
    table = compile_table(settings.defaults())
    at = k.T_SIZE + row.id * k.R_SIZE
    deadband = abs(table[at + k.R_CLEAR] - table[at + k.R_LIMIT])
    assert activations_a_minute(row, table, deadband, compiled_steps) < 3
    # The same noise without deadband and delays is chatter: the deadband is what keeps it still.
    table[at + k.R_CLEAR] = table[at + k.R_LIMIT]
    table[at + k.R_ON] = table[at + k.R_OFF] = 0
    table[at + k.R_FLAGS] &= ~k.LATCHING
    assert activations_a_minute(row, table, deadband, compiled_steps) > 3


FAULTS = {
    "delay one tick long": (k.R_ON, lambda old, row: old + 1),
    "delay one tick short": (k.R_ON, lambda old, row: old - 1),
    "limit one step off": (k.R_LIMIT, lambda old, row: old + (1 if row.kind == k.BELOW else -1)),
    "limit one step further": (k.R_LIMIT, lambda old, row: old - (1 if row.kind == k.BELOW else -1)),
    "clear limit on the limit": (k.R_CLEAR, None),
    "off-delay short": (k.R_OFF, lambda old, row: old - 1),
    "never in this mode": (k.R_MODES, lambda old, row: 0),
    "below for above": (k.R_KIND, lambda old, row: k.ABOVE if old in (k.BELOW, k.STATE) else k.BELOW),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_planted_in_the_table_is_caught(fault, compiled_steps):
    """The row checks are no decoration: each fault in any one row makes one of them fail."""
    column, change = FAULTS[fault]
    missed = []
    for row in alarms.ROWS:
        table = compile_table(settings.defaults())
        at = k.T_SIZE + row.id * k.R_SIZE
        old = table[at + column]
        new = table[at + k.R_LIMIT] if change is None else change(old, row)
        if new == old or new < 0 <= old or (row.kind == k.STATE and column in (k.R_LIMIT, k.R_CLEAR)):
            continue
        table[at + column] = new
        if not any(fails(check, row, table, compiled_steps) for check in CHECKS):
            missed.append(row.name)
    assert missed == []


def fails(check, row, table, steps):
    """Tell whether a check refuses this table."""
    try:
        check(Bench(row, engine_table=table, steps=steps))
    except AssertionError:
        return True
    return False


def test_quiet_is_quiet():
    bench = Bench(alarms.ROWS[0])
    bench.inputs = quiet()
    bench.step(count=2000)
    assert bench.engine.standing() == []
