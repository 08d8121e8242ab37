"""What the converter gave, channel by channel, since the last `raw` record: mean, lowest, highest code."""

from array import array

from firmware_sim.contract import NONE
from firmware_sim.contract.channels import CHANNELS

# The record's steps in a code.
SCALE = 8
MISSING = -32768


class RawCodes:
    """Gather codes; `take` hands them out and begins again. The longest sum: ten seconds of a supply tap."""

    def __init__(self):
        self.total = array("i", [0] * len(CHANNELS))
        self.count = array("i", [0] * len(CHANNELS))
        self.low = array("i", [NONE] * len(CHANNELS))
        self.high = array("i", [NONE] * len(CHANNELS))

    def one(self, channel, code):
        """Take one code; None where the channel isn't fitted or not due."""
        if code is not None:
            self.add(channel, 1, code, code, code)

    def add(self, channel, count, total, low, high):
        """Take the statistics of some codes."""
        if self.count[channel] == 0 or low < self.low[channel]:
            self.low[channel] = low
        if self.count[channel] == 0 or high > self.high[channel]:
            self.high[channel] = high
        self.count[channel] += count
        self.total[channel] += total

    def take(self):
        """Return mean, lowest, highest of each channel, in 1/8 code, and begin again."""
        out = []
        for channel in range(len(CHANNELS)):
            count = self.count[channel]
            if count:
                mean = (self.total[channel] * SCALE + (count >> 1)) // count
                out += [mean, self.low[channel] * SCALE, self.high[channel] * SCALE]
            else:
                out += [MISSING, MISSING, MISSING]
            self.count[channel] = self.total[channel] = 0
        return out
