"""A drill over a line: here the bench of the emulated drill stands in for a person and a real module."""

import pytest

from firmware_sim.contract import alarms, commands, digest
from firmware_sim.contract import settings as s
from firmware_sim.contract.errors import UserError
from firmware_sim.rig.drill.bench import Bench
from firmware_sim.rig.drill.by_hand import ByHand, instruction
from firmware_sim.rig.drill.cases import CASES


class Hands:
    """A module on a line, a person who does as told (or forgets), and a clock that goes with the module."""

    def __init__(self, runtime, name, forgets=False):
        self.bench = Bench(runtime)
        self.bench.talks = False
        self.case, self.forgets = CASES[name], forgets
        self.asked = []

    def read(self):
        rig = self.bench.rig
        rig.ahead_steps = 1
        rig.first, rig.rails, rig.converted = rig.step, [], rig.step
        return rig.run(1)

    def write(self, data):
        self.bench.rig.send(data)

    def clock(self):
        return self.bench.now_ms / 1000

    def ask(self, text):
        self.asked.append(text)
        if "just below" in text or "just above" in text:
            if not self.forgets:
                self.case.outside(self.bench)
        elif "Take it away" in text:
            self.case.back(self.bench)
        return ""


def run(hands, name):
    done = []
    drill = ByHand(hands, hands.ask, hands.clock, lambda seconds: None)
    return drill.run([alarms.ROWS[alarms.ID_OF[name]]], done.append)


def test_a_row_by_hand(runtime):
    report = run(Hands(runtime, "rail_low"), "rail_low")
    assert report.passed == 1
    assert report.rows[0].measured_s <= report.rows[0].allowed_s
    assert [check.name for check in report.rows[0].checks] == ["raised in time", "seen and heard", "clear"]


def test_the_limits_are_those_of_the_module(runtime):
    """A module with a limit of its own is told and certified by it."""
    hands = Hands(runtime, "rail_low")
    hands.bench.run(5)
    hands.bench.tell(commands.SET_SETTINGS, (), [(s.ID_OF["rail.low"], 4700)])
    hands.bench.run(5)
    report = run(hands, "rail_low")
    assert "just below 4.700 V" in hands.asked[0]
    wanted = s.defaults()
    wanted[s.ID_OF["rail.low"]] = 4700
    assert report.settings_digest == f"{digest.settings_digest(wanted):08x}"
    assert report.settings_named == "in force on the module"


def test_nothing_done_nothing_passed(runtime):
    report = run(Hands(runtime, "rail_low", forgets=True), "rail_low")
    assert report.failed == 1


def test_a_line_without_a_module_is_said():
    class Silent:
        now = 0.0

        def read(self):
            return b""

        def write(self, data):
            pass

        def wait(self, seconds):
            self.now += seconds

    line = Silent()
    with pytest.raises(UserError, match="No module answers"):
        ByHand(line, lambda text: "", lambda: line.now, line.wait).run([], lambda row: None)


def test_every_row_has_an_instruction():
    said = [instruction(row, s.defaults()) for row in alarms.ROWS]
    assert said[alarms.ID_OF["pressure_high"]] == "pressure high: bring pressure max just above 35.00 cmH2O."
    assert len(set(said)) == len(said)
