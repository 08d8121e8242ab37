"""The firmware: measure, judge, annunciate, record, talk; one `step` each 100 ms.

Order within a step: host's wishes, what persons and the module itself say, measurement, alarm engine,
records, link. What is done in every step is a kernel (`kernels.steps`), which goes on by itself while nothing
is found, where a block holds several steps; here stands what is done about what it finds. The tick of a step
is its end: steps since boot times 100 ms, wrapping at 2^32.
"""

from array import array

from firmware_sim.contract import NONE, STEP_MS, digest, values
from firmware_sim.contract import commands as c
from firmware_sim.contract.channels import RAIL
from firmware_sim.contract.inputs import GROWTH
from firmware_sim.core import link as links
from firmware_sim.core.alarm_system import AlarmSystem
from firmware_sim.core.commands import Commands
from firmware_sim.core.link import Link
from firmware_sim.core.measure import Measure
from firmware_sim.core.records import Records
from firmware_sim.core.ring import Ring
from firmware_sim.core.services import Services
from firmware_sim.kernels.steps import WHAT

TICK_MASK = 0xFFFFFFFF
LINK_AGE = values.LINK_AGE


class App:
    """Run the firmware on a `hal` with a namespace of `kernels` (`firmware_sim.kernels`, or compiled)."""

    def __init__(self, hal, kernels):
        self.hal = hal
        self.steps = 0
        boot_id = hal.random32()
        self.ring = Ring(hal.ring_bytes)
        self.records = Records(self.ring, kernels)
        self.system = AlarmSystem(hal, self.records, kernels.alarm_steps)
        self.measure = Measure(kernels, self.system.settings)
        self.quiet_steps = kernels.quiet_steps
        self.services = Services(self)
        self.commands = Commands(self.system, self.services, boot_id)
        self.link = Link(hal, self.ring, boot_id, digest.digest())
        self.link.nominal(self.system.settings)
        self.inputs = array("i", [NONE] * values.COUNT)
        self.system.send_settings()
        self.system.send_calibrations()

    def step(self, block):
        """Run the steps in `block` (see `block.py`), or up to one that finds something; return how many."""
        self.hal.watchdog()
        link, records, system = self.link, self.records, self.system
        measure, inputs = self.measure, self.inputs
        wishes = link.receive()
        self._count(1)
        if wishes:
            self._obey(wishes)
        measure.begin(block, inputs)
        system.prepare(inputs)
        inputs[LINK_AGE] = link.age
        count = self._run(block)
        second = measure.step(count, block, inputs, system.warming_left)
        if measure.run[WHAT]:
            system.judge(inputs)
            system.signal(count)
            records.step(inputs, measure.wave)
        else:
            system.signal(count)
        if measure.news:
            self.services.found(measure)
        if self.services.watching:
            self.services.watch(inputs)
        if second:
            system.doubt_rail(measure.sensors.conditions[RAIL])
            self.services.second(measure)
        link.send(records.tick)
        return count

    def _count(self, steps):
        self.steps += steps
        self.records.tick = self.steps * STEP_MS & TICK_MASK

    def _run(self, block):
        """Let the kernel take the steps of a block; return how many it measured."""
        measure, records, engine = self.measure, self.records, self.system.engine
        supply, breathing = measure.supply, measure.breathing
        count = block.steps
        if count > 1 and not self._is_still(count):
            count = 1
        count = self.quiet_steps(
            block.supply_in, block.supply_out, block.pressure, block.first, count, measure.run, self.inputs,
            supply.ring, supply.words, breathing.wave, breathing.words, breathing.breaths,
            measure.oxygen.words, records.seen, GROWTH, records.changes, records.wave, records.in_hand,
            engine.table, engine.state, engine.low, engine.high, engine.seen, engine.out)
        if count > 1:
            self._count(count - 1)
            self.link.wait(count - 1)
            self.system.wait(count - 1)
            self.hal.wait(count - 1)
        return count

    def _is_still(self, steps):
        """Tell whether all that is not measured stays as it is for some steps."""
        return (not self.services.watching and not self.measure.supply.waiting
                and self.link.is_idle(steps) and self.system.is_still(steps))

    def _obey(self, wishes):
        for kind, fields, tail in wishes:
            if kind == links.SET_CLOCK:
                if self.link.trusted:
                    self.services.set_clock(fields[0], fields[1])
            elif self.link.trusted:
                self.commands.handle(fields, tail)
            else:
                self.records.command_result(fields[1], fields[3], c.REFUSED, 0, "say hello first")


