"""The breathing side of the module: pressure in the circuit each 100 ms, breath by breath."""

import array

from firmware_sim.contract import NONE, PRESSURE_BLOCK
from firmware_sim.contract.channels import MODE_HAND, MODE_SPONTANEOUS, MODE_STANDBY, MODE_VENTILATOR
from firmware_sim.contract.settings import ID_OF
from firmware_sim.kernels import breath as words
from firmware_sim.kernels import sensor

SUGGEST = 5  # pulls or pushes in a row before another mode is suggested
RECORDS = 4
# What a new patient doesn't change: the first two in this order, as `breath_reset` takes them.
KEPT = (words.MODE, words.CYCLE_LIMIT, sensor.P_OFFSET, sensor.P_GAIN, sensor.P_SECOND_LOW,
        sensor.P_SECOND_HIGH)


class Breathing:
    """Keep what `pressure_block` works on, and gather what it finds; take and clear `records`.

    After each block: `wave` ('h', 10 values, 0.01 cmH2O, not filtered); in `words` the pressure's extremes
    (one-sample spikes removed), ages, and the breath seen last. `found()` after a block with breaths:
    `records` holds fields of message `breath`, oldest first. `mean`, `low`, `high` of a second: see `second`.
    """

    def __init__(self, kernels, values):
        self.kernels = kernels
        self.words = array.array("i", bytes(4 * sensor.PRESSURE_STATE))
        self.breaths = array.array("i", bytes(4 * words.BREATH_WORDS * RECORDS))
        self.wave = array.array("h", bytes(2 * PRESSURE_BLOCK))
        self.records = []
        self.total = 0
        self.count = 0
        self.mean = self.low = self.high = None
        kernels.breath_reset(self.words, MODE_STANDBY, 0)
        self._begin_second()
        self.configure(values)
        self.forget()

    def configure(self, values):
        """Take the settings in force, at start and after each change."""
        state = self.words
        state[words.MODE] = values[ID_OF["module.mode"]]
        state[words.CYCLE_LIMIT] = values[ID_OF["pressure.disconnect"]]
        state[sensor.P_OFFSET] = values[ID_OF["calibration.pressure_offset"]]
        state[sensor.P_GAIN] = values[ID_OF["calibration.pressure_gain"]]

    def forget(self):
        """Begin with a new patient: no breath has been seen."""
        state = self.words
        kept = [state[word] for word in KEPT]
        self.kernels.breath_reset(state, kept[0], kept[1])
        for word, value in zip(KEPT, kept):
            state[word] = value
        state[sensor.P_PEAK] = state[sensor.P_END] = state[sensor.P_RATE] = NONE

    def second(self):
        """Close a second: `mean`, `low`, `high` (0.01 cmH2O) of it."""
        at = sensor.STATISTICS
        state = self.words
        count = state[at + sensor.COUNT]
        if count:
            total = state[at + sensor.SUM] - count * state[sensor.P_OFFSET]
            mean = (total * 150 // count * 100 + 2047) // sensor.P_CODES + sensor.P_LOW
            self.mean = mean + ((mean * (state[sensor.P_GAIN] - 16384) + 8192) >> 14)
            self.low = state[sensor.P_SECOND_LOW]
            self.high = state[sensor.P_SECOND_HIGH]
        self._begin_second()

    def _begin_second(self):
        self.words[sensor.P_SECOND_LOW] = 32767
        self.words[sensor.P_SECOND_HIGH] = -32767

    def suggested_mode(self):
        """Return the mode that the signal suggests, None when it agrees or doesn't tell. Never applied."""
        state = self.words
        mode = state[words.MODE]
        if mode in (MODE_VENTILATOR, MODE_HAND):
            return MODE_SPONTANEOUS if state[words.PULLS] >= SUGGEST else None
        if state[words.STEADY] >= SUGGEST:
            return MODE_VENTILATOR
        return MODE_HAND if state[words.RESTLESS] >= SUGGEST and mode == MODE_SPONTANEOUS else None

    def sustained(self):
        """Return whether the last push never ended."""
        return bool(self.words[words.SUSTAINED])

    def gather(self):
        """Take the breaths that the last block brought into `records`."""
        found = self.breaths
        for n in range(self.words[words.FOUND]):
            at = n * words.BREATH_WORDS
            plateau = found[at + words.R_PLATEAU]
            rate = found[at + words.R_RATE]
            self.records.append((
                found[at + words.R_KIND], found[at + words.R_PEAK],
                None if plateau == words.MISSING else plateau, found[at + words.R_END],
                found[at + words.R_MEAN], found[at + words.R_LOWEST], found[at + words.R_TI],
                found[at + words.R_TE], rate if rate < 65535 else None, found[at + words.R_FLAGS],
            ))

