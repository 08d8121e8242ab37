"""Run one part of the firmware over recorded steps, for a counter of instructions; for MicroPython.

`micropython instruction_driver.py RECORDING PART STEPS`: the recording is what the board would hand to the
firmware (see `firmware_sim/ports/bridge/wire.py`). Part 'read' only reads it: what the others cost beyond
that is their own. Every part loads the same modules, since the interpreter's look-up cache depends on them.
"""

import sys
from array import array

from firmware_sim import kernels
from firmware_sim.core.app import App
from firmware_sim.core.block import Block
from firmware_sim.kernels import breath, sensor, steps, supply
from firmware_sim.ports.bridge import main as bridge
from firmware_sim.ports.micropython.sampler import Sampler


class Converter:
    """A converter whose reading costs a call of a built-in function, as on a board."""

    read_u16 = int


def next_block(before, after, first, ring, state):
    """Leave the taps as they were, a block later."""
    state[supply.AT_BLOCK] += 1
    state[supply.EVENT_COUNT] = 0


def stand_still(codes, first, count, wave, state, records):
    """Leave the breaths as they were."""
    state[breath.FOUND] = 0


class Parts:
    """What can be run, each on the step that was just read."""

    def __init__(self, hal, flash):
        self.flash, self.hal, self.steps = flash, hal, 0
        self.app = App(hal, kernels)
        self.ring = array("h", bytes(4 * supply.RING))
        self.state = array("i", bytes(4 * supply.STATE_WORDS))
        kernels.supply_reset(self.state, 50)
        kernels.supply_limits(self.state, 23000, 50, 9000, 11000, 1000, 200)
        self.breaths = array("i", bytes(4 * sensor.PRESSURE_STATE))
        self.wave = array("h", bytes(20))
        self.found = array("i", bytes(16 * breath.BREATH_WORDS))
        kernels.breath_reset(self.breaths, 1, 1000)
        self.breaths[sensor.P_GAIN] = 16384
        self.sampler = Sampler()
        self.sampler.supply_in = self.sampler.supply_out = self.sampler.pressure = Converter()

    def read(self, block):
        """Do nothing."""

    def whole(self, block):
        """Step the whole firmware."""
        self.app.step(block)
        self.flash.operations = []

    def beside(self, block):
        """Step the whole firmware, from the second second on without measuring taps and breaths anew."""
        self.steps += 1
        if self.steps == 15:
            steps.supply_block, steps.pressure_block = next_block, stand_still
        self.whole(block)

    def power_up(self, block):
        """Build the firmware anew, as after a reset with a blank flash."""
        self.app = None
        self.app = App(self.hal, kernels)

    def alarms(self, block):
        """Step the alarm system alone, on inputs that don't change."""
        system = self.app.system
        system.prepare(self.app.inputs)
        system.judge(self.app.inputs)
        system.signal()

    def taps(self, block):
        """Measure both taps."""
        kernels.supply_block(block.supply_in, block.supply_out, 0, self.ring, self.state)

    def one_tap(self, block):
        """Measure one tap."""
        supply._tap_block(block.supply_in, 0, 0, self.ring, self.state)

    def breathing(self, block):
        """Find breaths."""
        kernels.pressure_block(block.pressure, 0, 10, self.wave, self.breaths, self.found)

    def sampling(self, block):
        """Take every sample in the timer's callback."""
        tick = self.sampler.tick
        for _ in range(len(block.supply_in)):
            tick(None)
        self.sampler.take()


def main():
    """Run the part that the command line names."""
    path, part, steps = sys.argv[1:4]
    with open(path, "rb") as stream:
        hal, flash = bridge.boot(stream)
        block = Block()
        parts = Parts(hal, flash)
        run = getattr(parts, part)
        for _ in range(int(steps)):
            bridge.begin(stream, hal, block)
            run(block)


main()
