"""All measurement: a block of samples in, engine inputs and the second's trend out."""

from array import array

from firmware_sim.contract import NONE, values
from firmware_sim.core.supply import Supply


class Measure:
    """Measure one block after the other."""

    def __init__(self, kernels, settings):
        self.supply = Supply(kernels, settings)
        self.wave = array("h", [0] * 10)
        self.news = False

    def configure(self, settings):
        """Take other settings in force."""
        self.supply.configure(settings)

    def new_patient(self):
        pass

    def step(self, block, inputs):
        supply = self.supply
        supply.step(block.supply_in, block.supply_out)
        inputs[values.SUPPLY_IN_LOW] = supply.in_low
        inputs[values.SUPPLY_IN_HIGH] = supply.in_high
        inputs[values.SUPPLY_OUT_LOW] = supply.out_low
        inputs[values.SUPPLY_OUT_HIGH] = supply.out_high
        inputs[values.SUPPLY_STATE] = supply.state.state
        inputs[values.UNDETERMINED_AGE] = supply.undetermined_age()
        inputs[values.DIPS_HOUR] = supply.dips_hour
        inputs[values.RESTLESS] = supply.restless()
        for n in range(10):
            self.wave[n] = block.pressure[n] * 15000 // 4095 - 3000
        self.news = bool(supply.records or supply.captures or supply.state.changed)

    def trend(self, system, inputs):
        s = self.supply
        return (s.in_rms, s.in_min, s.in_max, s.out_rms, s.out_min, s.out_max, s.in_frequency, s.out_frequency,
                0, 0, 0, None, None, None, s.state.state, 0, system.mode(), system.preset(), 0, 0, 0, None, None, None, None)
