"""Two runtimes in step: both get the same inputs, and every byte, edge and flash write must be equal."""

from firmware_sim.board.flash import Flash
from firmware_sim.rig.runtimes import Runtime


class Twin(Runtime):
    """Drive `first`, which decides, and `second`, which must agree."""

    def __init__(self, first, second):
        super().__init__()
        self.first, self.second = first, second
        self.steps = self.bytes = 0

    def start(self, boot, flash):
        """Give the second a flash of its own with the same content."""
        self.flash = flash
        self.copy = Flash(flash.pages, bytes(flash.memory))
        self.copy.wear = flash.wear[:]
        self.first.start(boot, flash)
        self.second.start(boot, self.copy)

    def step(self, inputs, block):
        """Step both and compare."""
        self.first.step(inputs, block)
        self.second.step(inputs, block)
        self.steps += 1
        for name in ("up", "edges", "clock_set", "fed"):
            mine, other = getattr(self.first, name), getattr(self.second, name)
            assert mine == other, f"step {self.steps}: {name} differs"
            setattr(self, name, mine)
        self.bytes += len(self.up)

    def stop(self):
        """End both lives; their flashes must agree."""
        if hasattr(self, "copy"):
            assert self.flash.memory == self.copy.memory
        self.first.stop()
        self.second.stop()
        self.forget()
