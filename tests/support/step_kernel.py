"""Parts of the firmware with the kernel of a step before them: Supply and Breathing that take codes."""

from array import array

from firmware_sim.contract import PRESSURE_BLOCK, SUPPLY_BLOCK, inputs, values
from firmware_sim.core.breathing import Breathing
from firmware_sim.core.supply import Supply
from firmware_sim.kernels import alarms, oxygen, steps
from tests.support.taps import module_settings

PLACE = {row[1]: row[0] for row in values.VALUES}
SILENT = array("h", bytes(2 * SUPPLY_BLOCK))
AT_REST = array("h", [819] * PRESSURE_BLOCK)  # 0 cmH2O


class StepKernel:
    """Step the kernel on a Supply and a Breathing, on an engine without rows; `inputs` are the engine's."""

    def __init__(self, kernels, supply, breathing):
        self.kernels, self.supply, self.breathing = kernels, supply, breathing
        self.run = supply.state.run
        self.oxygen = array("i", [0] * oxygen.OXYGEN_WORDS)
        self.inputs = array("i", [0] * values.COUNT)
        self.table = array("i", [0] * alarms.T_SIZE)
        self.engine = [array("i", [0] * size) for size in (alarms.G_SIZE, 1, 1, 1, 1)]

    def step(self, before=SILENT, after=SILENT, pressure=AT_REST):
        """Take one step's codes; return the bits of what it found."""
        supply, breathing = self.supply, self.breathing
        supply.state.begin()
        self.kernels.quiet_steps(
            before, after, pressure, 0, 1, self.run, self.inputs, supply.ring, supply.words,
            breathing.wave, breathing.words, breathing.breaths, self.oxygen,
            array("i", [0] * values.COUNT), inputs.GROWTH,
            array("h", [0] * inputs.STEP_MAX), array("h", [0] * PRESSURE_BLOCK),
            array("i", [0] * steps.RECORD_WORDS), self.table, *self.engine,
        )  # fmt: skip
        return self.run[steps.WHAT]

    def __getattr__(self, name):
        return self.inputs[PLACE[name]]


class Taps(Supply):
    """A Supply that takes the codes of both taps; `seen` are the engine's inputs by name."""

    def __init__(self, kernels, settings):
        super().__init__(kernels, settings)
        self.seen = StepKernel(kernels, self, Breathing(kernels, settings))

    def take(self, before, after):
        """Take one block of each tap; return True when it ends a second."""
        what = self.seen.step(before, after)
        self.step(1)
        return bool(what & steps.SECOND_ENDED)


class Circuit(Breathing):
    """A Breathing that takes the codes of the pressure; `seen` are the engine's inputs by name."""

    def __init__(self, kernels, settings):
        super().__init__(kernels, settings)
        self.seen = StepKernel(kernels, Supply(kernels, module_settings()), self)

    def take(self, codes):
        """Take one block of 10 codes."""
        if self.seen.step(pressure=codes) & steps.BREATHS:
            self.gather()
