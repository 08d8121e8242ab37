"""The timer's interrupt, 3200 times a second: two taps, every 32nd time the pressure, and due pin edges.

It allocates nothing: two blocks are filled in turn, and the coming edges stand in arrays made once.
"""

from array import array

from machine import ADC, PWM, Pin

from firmware_sim.contract import PRESSURE_BLOCK, SUPPLY_BLOCK
from firmware_sim.core.block import Block
from firmware_sim.ports.micropython.pins import PIN_OF

LAMPS = ("lamp_high", "lamp_medium", "lamp_low", "lamp_paused")
SOUND = 4
EDGES_MAX = 64
EVERY = SUPPLY_BLOCK // PRESSURE_BLOCK
# Level 255 is a pulse width of 1/8; `duty_u16` is full at 65535.
DUTY_OF_LEVEL = 65535 // 8 // 255


def converter(role):
    """Return the converter of a role, None where it is not fitted."""
    pin = PIN_OF[role]
    return None if pin is None else ADC(Pin(pin))


class Sampler:
    """Fill one block while the other is worked on; `take()` gives the full one, once."""

    def __init__(self):
        self.blocks = (Block(), Block())
        self.filling = self.blocks[0]
        self.full = None
        self.at = 0
        self.overruns = 0
        self.supply_in = converter("supply_in")
        self.supply_out = converter("supply_out")
        self.pressure = converter("pressure")
        self.lamps = [Pin(PIN_OF[role], Pin.OUT, value=0) for role in LAMPS]
        self.sounder = PWM(Pin(PIN_OF["sounder"]), freq=600, duty_u16=0)
        self.due = array("h", bytes(2 * EDGES_MAX))
        self.what = array("h", bytes(2 * EDGES_MAX))
        self.first = array("h", bytes(2 * EDGES_MAX))
        self.second = array("h", bytes(2 * EDGES_MAX))
        self.edges = 0
        self.played = 0

    def tick(self, timer):
        """Take one sample of everything that is due (the timer's callback)."""
        at = self.at
        block = self.filling
        block.supply_in[at] = (self.supply_in.read_u16() >> 4) - 2048
        block.supply_out[at] = (self.supply_out.read_u16() >> 4) - 2048
        if at % EVERY == EVERY - 1:
            block.pressure[at // EVERY] = self.pressure.read_u16() >> 4
        while self.played < self.edges and self.due[self.played] <= at:
            self.play(self.played)
            self.played += 1
        at += 1
        if at == SUPPLY_BLOCK:
            at = 0
            if self.full is not None:
                self.overruns += 1
            self.full = block
            self.filling = self.blocks[1] if block is self.blocks[0] else self.blocks[0]
        self.at = at

    def play(self, index):
        """Set one pin as its edge says."""
        what = self.what[index]
        if what < SOUND:
            self.lamps[what].value(self.first[index])
            return
        level = self.second[index]
        if level:
            self.sounder.freq(self.first[index])
        self.sounder.duty_u16(level * DUTY_OF_LEVEL)

    def take(self):
        """Return the full block, or None while there is none."""
        block = self.full
        self.full = None
        return block

    def plan(self):
        """Play what is left of the last step's edges and begin a new list."""
        while self.played < self.edges:
            self.play(self.played)
            self.played += 1
        self.edges = self.played = 0

    def edge(self, what, first, second, at_ms):
        """Add an edge of the running step; the firmware gives them in order."""
        index = self.edges
        if index == EDGES_MAX:
            raise ValueError("more edges in a step than any sound has")
        self.due[index] = at_ms * SUPPLY_BLOCK // 100
        self.what[index] = what
        self.first[index] = first
        self.second[index] = second
        self.edges = index + 1
