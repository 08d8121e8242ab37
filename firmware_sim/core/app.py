"""The firmware: measure, judge, annunciate, record, talk; one `step` each 100 ms.

Order within a step: host's wishes, measurement, engine inputs, alarm system, records, link. The tick of a
step is its end: steps since boot times 100 ms, wrapping at 2^32.
"""

from array import array

from firmware_sim.contract import NONE, STEP_MS, digest, values
from firmware_sim.contract import commands as c
from firmware_sim.contract.channels import RAIL
from firmware_sim.core import link as links
from firmware_sim.core.alarm_system import AlarmSystem
from firmware_sim.core.commands import Commands
from firmware_sim.core.link import Link
from firmware_sim.core.measure import Measure
from firmware_sim.core.records import Records
from firmware_sim.core.ring import Ring
from firmware_sim.core.services import Services

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
        self.services = Services(self)
        self.commands = Commands(self.system, self.services, boot_id)
        self.link = Link(hal, self.ring, boot_id, digest.digest())
        self.link.nominal(self.system.settings)
        self.inputs = array("i", [NONE] * values.COUNT)
        self.system.send_settings()
        self.system.send_calibrations()

    def step(self, block):
        """Run one step on the samples in `block` (see `block.py`)."""
        self.hal.watchdog()
        link, records, system = self.link, self.records, self.system
        measure, inputs = self.measure, self.inputs
        wishes = link.receive()
        self.steps += 1
        tick = self.steps * STEP_MS & TICK_MASK
        records.tick = tick
        if wishes:
            self._obey(wishes)
        second = measure.step(block, inputs, system.warming_left)
        inputs[LINK_AGE] = link.age
        system.step(inputs)
        records.step(inputs, measure.wave)
        if measure.news:
            self.services.found(measure)
        if self.services.watching:
            self.services.watch(inputs)
        if second:
            system.doubt_rail(measure.sensors.conditions[RAIL])
            self.services.second(measure)
        link.send(tick)

    def _obey(self, wishes):
        for kind, fields, tail in wishes:
            if kind == links.SET_CLOCK:
                if self.link.trusted:
                    self.services.set_clock(fields[0], fields[1])
            elif self.link.trusted:
                self.commands.handle(fields, tail)
            else:
                self.records.command_result(fields[1], fields[3], c.REFUSED, 0, "say hello first")


