"""Five properties over every order of events that the shipped engine can meet, to a depth; counts printed.

A standing high condition always has a signal or a running pause or acknowledgement; no pause outlasts 120 s
(from memory, ISO 80601-2-12); in any 125 s of it sound is heard whatever is pressed; nothing latched is
lost; a reset clears no present condition and comes back armed (practice of the trade, all but that figure).
"""

import random

import pytest

from firmware_sim.contract import engine as engine_module
from firmware_sim.contract.engine import Engine
from firmware_sim.kernels import alarms as k
from tests.support.alarm_explorer import Broken, Explorer

# One of each kind: high, pausable, circuit; high, never paused; medium that escalates; high and latching;
# a cause; its consequence; high behind a gate.
ALL = ["disconnected", "pressure_high", "purity_low", "supply_dangerous", "supply_interrupted",
       "stored_energy", "battery_very_short"]
PAIRS = [
    ["disconnected", "pressure_high"],
    ["purity_low", "purity_very_low"],
    ["supply_dangerous", "output_dangerous"],
    ["supply_interrupted", "stored_energy"],
    ["pressure_low", "supply_dangerous"],
    ["self_test_failed", "disconnected"],
]


def report(explorer, names, depth, states):
    """Print what was covered."""
    print(f"{'+'.join(names)}: depth {depth}, {states} states, {explorer.events_tried} events, "
          f"{explorer.engine_steps / 36000:.1f} h of engine time")


@pytest.mark.parametrize("names", PAIRS, ids="+".join)
def test_pairs_of_rows_to_depth_five(names, compiled_steps):
    explorer = Explorer(names, compiled_steps)
    states = explorer.explore(5)
    report(explorer, names, 5, states)
    assert states > 1000


def test_all_kinds_of_rows_to_depth_three(compiled_steps):
    explorer = Explorer(ALL, compiled_steps)
    states = explorer.explore(3)
    report(explorer, ALL, 3, states)
    assert states > 800


@pytest.mark.soak
def test_all_kinds_of_rows_to_depth_five(compiled_steps):
    explorer = Explorer(ALL, compiled_steps)
    states = explorer.explore(5)
    report(explorer, ALL, 5, states)
    assert states > 50_000


def walk(explorer, seed, length):
    """Take one long random way."""
    chance = random.Random(seed)
    node = explorer.start()
    for _ in range(length):
        node = explorer.apply(node, chance.choice(explorer.events()))
        node.path = node.path[-40:]


def test_long_random_ways(compiled_steps):
    explorer = Explorer(ALL, compiled_steps)
    for seed in range(20):
        walk(explorer, seed, 400)
    print(f"20 ways of 400 events, {explorer.engine_steps / 36000:.0f} h of engine time")


def no_resume(table, state, out):
    """Stand in for a kernel in which nothing ends a pause."""


def end_without_latch(row, is_open, block, at, table, state, out):
    """Stand in for a kernel that forgets to latch."""
    k.alarm_emit(row, k.CLEARED, 0, block, at, table, state, out)
    k.alarm_forget(row, block, at, table, state, out)


def lamp_of_sound(original):
    """Make a kernel whose lamp goes out with the sound."""
    def sound(table, state):
        original(table, state)
        state[k.G_LAMP] = state[k.G_SOUND]
    return sound


def walks(names):
    """Take ten short random ways."""
    for seed in range(10):
        walk(Explorer(names, k.alarm_steps), seed, 60)


FAULTS = {
    "a pause never ends": (["disconnected"], k, "alarm_resume", no_resume),
    "an acknowledgement never ends": (
        ["disconnected"], k, "alarm_silence_end", lambda mine, flags, table, state: k.HIGHEST),
    "no reminder": (
        ["purity_very_low"], k, "alarm_reminder_due", lambda mine, flags, table, state: k.HIGHEST),
    "no memory of the last silence": (["disconnected"], k, "alarm_heard", lambda mine, state: state[k.G_NOW]),
    "no latch": (["supply_dangerous"], k, "alarm_end", end_without_latch),
    "a lamp that goes out with the sound": (["disconnected"], k, "alarm_sound", lamp_of_sound(k.alarm_sound)),
    "a reset that forgets what is latched": (
        ["supply_dangerous"], Engine, "restore", lambda self, rows: None),
    "a pause of 200 s": (["disconnected"], Engine, "_pause_length", lambda self, row, from_page: 2000),
    "a row behind a cause forgets to speak": (
        ["output_lost", "purity_very_low"], k, "alarm_forget",
        lambda row, block, at, table, state, out: state.__setitem__(k.G_SIZE + row * k.S_SIZE, k.IDLE)),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_planted_fault_breaks_a_property(fault, monkeypatch):
    names, where, name, wrong = FAULTS[fault]
    Explorer(names, k.alarm_steps).explore(3)
    monkeypatch.setattr(where, name, wrong)
    if name == "alarm_heard":
        monkeypatch.setattr(engine_module.k, name, wrong)
    with pytest.raises(Broken):
        walks(names)
