"""The same firmware files under CPython with compiled kernels and under MicroPython: every byte is equal.

Both are stepped together through the ten minutes that contain a scenario's events, the board's misfortunes
included.
"""

import pytest

from firmware_sim import scenarios
from firmware_sim.contract import digest
from firmware_sim.rig.rig import Rig
from firmware_sim.rig.runtimes import ChildProcess, InProcess
from tests.support.host import Host
from tests.support.turns import by_turns
from tests.support.twin import Twin

WINDOW_S = 600
# Ten minutes take the interpreter a dozen seconds, so not every night has its turn each day.
ALWAYS = ("monsoon-night", "circuit-apart", "sensor-trouble", "theatre-day", "reset-mid-case")
NIGHTS = by_turns(scenarios.names(), ALWAYS, 9)


def busiest_window(scenario):
    """Return the start of the ten minutes with the most events; a little before the first of them."""
    times = [event.t_s for event in scenario.events if event.t_s < scenario.duration_s] or [0.0]
    starts = [max(0.0, time - 30.0) for time in times]
    inside = [sum(start <= time < start + WINDOW_S for time in times) for start in starts]
    # Of equals the last: set-up at the beginning is the same in all scenarios.
    return max(zip(inside, starts, strict=True))[1]


@pytest.fixture(scope="module")
def compiled():
    return InProcess()


@pytest.mark.parametrize("name", NIGHTS)
def test_both_send_the_same_bytes(name, compiled):
    scenario = scenarios.load(name)
    twin = Twin(compiled, ChildProcess())
    rig = Rig(scenario, runtime=twin)
    host = Host(digest.digest())
    rig.skip(round(busiest_window(scenario) * 10))
    try:
        for _ in range(WINDOW_S):
            host.feed(rig.run(10))
            rig.send(host.answer())
    finally:
        rig.stop()
    assert twin.steps > 1000
    assert twin.bytes > 100 * twin.steps // 10
    assert host.bad == 0
