"""Steps that the firmware takes together leave what they leave one by one: every byte, edge and page."""

import pytest

from firmware_sim import scenarios
from firmware_sim.contract import alarms, digest
from firmware_sim.contract import messages as m
from firmware_sim.rig.rig import Rig
from firmware_sim.rig.runtimes import InProcess
from firmware_sim.scenarios._parts import at
from tests.support.bed import scenario
from tests.support.host import Host

WINDOW_S = 600
# Where each begins: dips and an outage, alarms with their bursts, broken sensors, modes, resets, darkness.
BUSY = (
    ("monsoon-night", 4300), ("monsoon-night", 5300), ("circuit-apart", 3500), ("sensor-trouble", 600),
    ("theatre-day", 2600), ("reset-mid-case", 2900), ("everything-dark", 3500), ("generator-dawn", 1700),
)  # fmt: skip


class Kept(InProcess):
    """Keep all that the firmware gave out, and how many steps it took at once."""

    def __init__(self, together):
        super().__init__()
        self.together = together
        self.edges_of_all, self.up_of_all, self.most = [], bytearray(), 0

    def step(self, inputs, block):
        """Run as ever, and keep the answer."""
        super().step(inputs, block)
        self.edges_of_all += self.edges
        self.up_of_all += self.up
        self.most = max(self.most, self.taken)


def hands():
    """Return a bed where somebody warms up, pauses twice as long as a pause lasts, and acknowledges."""
    return scenario(
        at(7, "person", "set_setting", name="oxygen.warming_up", value=603.0),
        at(8, "person", "declare_warming_up"),
        at(9, "person", "set_setting", name="alarm.pause", value=300.0),
        at(150, "circuit", "disconnect"),
        at(190.3, "person", "pause"), at(240.7, "person", "pause"),
        at(300, "circuit", "reconnect"),
        at(320, "board", "sensor", channel="oxygen", fault="open", value=0.0, duration_s=60.0),
        at(350.1, "person", "acknowledge"),
    )  # fmt: skip


def played(scene, start_s, together, mute=range(0), stubborn=range(0), drift_ppm=12):
    """Play ten minutes; the host is mute in some seconds, and in others repeats what it said last."""
    runtime = Kept(together)
    rig = Rig(scene, runtime=runtime)
    rig.board.clock.drift_ppm = drift_ppm
    host, said = Host(digest.digest()), b""
    rig.skip(10 * start_s)
    for second in range(WINDOW_S):
        host.feed(rig.run(10))
        if second in stubborn:
            rig.send(said)
        elif second not in mute:
            said = host.answer()
            rig.send(said)
    pages = bytes(rig.board.flash.memory), list(rig.board.flash.wear)
    rig.stop()
    return runtime, pages, host


def compare(*arguments, **options):
    """Play both ways and compare; return the host."""
    many, many_pages, _ = played(*arguments, together=True, **options)
    one, one_pages, host = played(*arguments, together=False, **options)
    assert (many.most, one.most) == (10, 1)
    assert bytes(many.up_of_all) == bytes(one.up_of_all)
    assert many.edges_of_all == one.edges_of_all
    assert many_pages == one_pages
    return host


@pytest.mark.parametrize(("name", "start_s"), BUSY)
def test_together_and_one_by_one_are_the_same(name, start_s):
    assert len(compare(scenarios.load(name), start_s).of(m.TREND)) > 300


def test_what_persons_do_and_a_mute_host_are_the_same_too():
    """Pauses run out between two finds, the beacon and the resending begin by the step, the clock jumps."""
    host = compare(hands(), 0, mute=range(380, 420), stubborn=range(430, 570), drift_ppm=937)
    codes = {alarms.TRANSITIONS[values[1]] for _, values, _ in host.of(m.ALARM)}
    assert {"raised", "audio_paused", "pause_ended", "acknowledged", "cleared"} <= codes
    assert host.hellos > 4
    assert host.duplicates > 100
