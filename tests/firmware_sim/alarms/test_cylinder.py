"""The cylinder that a person told of: counted down by the module, over restarts, and its alarm.

Figures: 340 L last 170 min at 2 L/min and 42 min at 8 (worked out; the bellows' drive gas is a term).
"""

import pytest

from firmware_sim.board.flash import Flash
from firmware_sim.contract import NONE, alarms, log_codes
from firmware_sim.contract import commands as c
from firmware_sim.contract.channels import OXYGEN_STATES
from firmware_sim.core.commands import Commands
from firmware_sim.core.cylinder import Cylinder
from tests.support.alarm_bench import Module, quiet

SHORT = alarms.ID_OF["cylinder_short"]
FROM_CYLINDER = OXYGEN_STATES.index("probably_cylinder")
BOOT = 5


class Bedside:
    """A module, and a person who tells it of a cylinder; `restart` takes the power away."""

    def __init__(self, flash=None, cause=0, at_s=None, clock_set=True):
        self.flash = flash or Flash(64)
        self.inputs = quiet()
        self.module = Module(self.flash, cause, start=(at_s or 1_700_000_000, clock_set))
        self.desk = Commands(self.module.system, None, BOOT)
        self.seq = 0

    def tell(self, litres, rate, drawn=0):
        """Tell of so many usable litres and a use in L/min."""
        self.seq += 1
        body = c.pack(c.CYLINDER, (litres, round(rate * 100), drawn))
        return self.desk.handle((BOOT, self.seq, 0, c.CYLINDER, 7, 1), body)[0]

    def run(self, seconds, state=0):
        """Let time pass with this state of the oxygen reading."""
        for _ in range(seconds):
            # The engine's inputs are the bench's own array: those of the alarm system are renewed in it.
            self.inputs = quiet(oxygen_state=state)
            self.module.step(self.inputs, 10)
        return self

    def restart(self, off_s, clock_set=True):
        """Come back after some seconds without power."""
        now_s = self.module.hal.rtc()[0]
        return Bedside(self.flash, at_s=now_s + off_s, clock_set=clock_set)

    @property
    def minutes(self):
        return self.module.system.cylinder.minutes

    def stands(self):
        return self.module.system.engine.stands(SHORT)


@pytest.mark.parametrize(("rate", "minutes"), [(2, 170), (8, 42)])
def test_minutes_of_340_litres(rate, minutes):
    bed = Bedside()
    assert bed.minutes == NONE
    assert bed.tell(340, rate) == c.DONE
    assert bed.minutes == minutes


def test_a_drawn_cylinder_is_counted_down_and_alarms_below_the_limit():
    """At 8 L/min 340 L pass 240 L, 30 min, after 12.5 min."""
    bed = Bedside()
    bed.tell(340, 8, drawn=1)
    bed.run(749)
    assert (bed.minutes, bed.stands()) == (30, False)
    bed.run(3)
    assert (bed.minutes, bed.stands()) == (29, True)
    bed.run(240 * 60 // 8 + 5)
    assert bed.minutes == 0


def test_a_resting_cylinder_falls_only_while_the_reading_is_a_cylinders():
    bed = Bedside()
    bed.tell(340, 8)
    bed.run(1200)
    assert bed.minutes == 42
    bed.run(300, FROM_CYLINDER)
    assert bed.minutes == 37
    bed.run(300)
    assert bed.minutes == 37


def test_too_little_alarms_at_once_and_a_full_one_ends_it():
    bed = Bedside()
    bed.tell(100, 8)
    bed.run(1)
    assert bed.stands()
    # 30 min and the deadband of 5.
    bed.tell(8 * 34, 8)
    bed.run(1)
    assert bed.stands()
    bed.tell(8 * 36, 8)
    bed.run(1)
    assert not bed.stands()


def test_a_rate_of_nothing_forgets_it():
    bed = Bedside()
    bed.tell(100, 8)
    bed.run(1)
    bed.tell(0, 0)
    bed.run(1)
    assert bed.minutes == NONE
    # A missing input ends nothing: the row stands until somebody has told of a cylinder that lasts.
    assert bed.stands()


def test_what_was_told_and_what_was_drawn_is_logged():
    bed = Bedside()
    bed.tell(340, 8, drawn=1)
    bed.run(301)
    entries = [e for e in bed.module.system.log.entries() if e.code == log_codes.CYLINDER]
    assert [(e.first, e.second & 0xFFFF) for e in entries] == [(340, 800), (300, 800)]
    told = [e for e in bed.module.system.log.entries() if e.code == log_codes.COMMAND]
    assert told[0].first & 255 == c.CYLINDER and told[0].second == 7


@pytest.mark.parametrize("off_s", [0, 60, 600, 3600])
def test_a_restart_takes_off_what_was_drawn_meanwhile(off_s):
    bed = Bedside()
    bed.tell(340, 8, drawn=1)
    bed.run(60)
    again = bed.restart(off_s)
    # Of what the log and the clock tell: whole minutes, one more than passed, never too much.
    most = (340 - 8 * (1 + off_s / 60)) / 8
    assert max(0, most - 2) <= again.minutes <= max(0, most)


def test_a_restart_with_the_clock_unset_counts_on_nothing():
    bed = Bedside()
    bed.tell(340, 8, drawn=1)
    bed.run(60)
    again = bed.restart(5, clock_set=False)
    assert again.minutes == 0
    again.run(1)
    assert again.stands()


def test_a_restart_leaves_a_resting_cylinder_as_it_was():
    bed = Bedside()
    bed.tell(340, 8)
    bed.run(30)
    assert bed.restart(8 * 3600).minutes == 42


def test_a_standing_alarm_is_back_in_the_first_step():
    bed = Bedside()
    bed.tell(100, 8)
    bed.run(5)
    again = bed.restart(3)
    again.module.step(quiet(), 1)
    assert again.stands()


def test_every_number_stays_small():
    cylinder = Cylinder(lambda *words: None)
    cylinder.told(65535, 65535, 1)
    cylinder.restore(65535, 65535 | 3 << 16, 1 << 30)
    cylinder.told(65535, 1, 1)
    for _ in range(100):
        cylinder.second(True)
        assert max(cylinder.left_ml, cylinder.part, cylinder.minutes) < 1 << 30
