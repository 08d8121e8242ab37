"""A step's samples; a board allocates their buffers once and fills them anew each 100 ms."""

from array import array

from firmware_sim.contract import PRESSURE_BLOCK, SUPPLY_BLOCK


class Block:
    """What the converter delivered in one step: codes, None where a channel is not fitted or not due.

    Where time isn't waited for, taps and pressure may hold those of several `steps` on end, from step `first`
    of longer arrays; what else is due, is due in the first of them, but for a second code of oxygen in the
    step `later_step` of the block, 0 for none.
    """

    def __init__(self):
        self.first = 0
        self.steps = 1
        self.supply_in = array("h", bytes(2 * SUPPLY_BLOCK))
        self.supply_out = array("h", bytes(2 * SUPPLY_BLOCK))
        self.pressure = array("h", bytes(2 * PRESSURE_BLOCK))
        self.oxygen = None
        self.later_step = 0
        self.later_oxygen = 0
        self.rail = None
        self.product_pressure = None
        self.battery_voltage = None
        self.ups_current = None
        self.ups_contact = None
        self.surge_peak = None
