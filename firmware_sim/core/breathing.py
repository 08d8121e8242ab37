"""The breathing side of the module: pressure in the circuit each 100 ms, breath by breath."""

import array

from firmware_sim.contract import NONE, PRESSURE_BLOCK
from firmware_sim.contract.channels import MODE_HAND, MODE_SPONTANEOUS, MODE_STANDBY, MODE_VENTILATOR
from firmware_sim.contract.settings import ID_OF
from firmware_sim.kernels import breath as words
from firmware_sim.kernels import sensor

SUGGEST = 5  # pulls or pushes in a row before another mode is suggested
RECORDS = 4


class Breathing:
    """Measure circuit pressure. `step` each 100 ms; read the attributes; take and clear `records`.

    After each step: `wave` ('h', 10 values, 0.01 cmH2O, not filtered), and the engine's inputs
    `pressure_max`, `pressure_min` (of this block, one-sample spikes removed), `cycle_age`, `breath_age`
    (steps), `peak`, `end_expiratory`, `rate` (NONE until known). `records` holds fields of message
    `breath`, oldest first. `mean`, `low`, `high` of a second: see `second`.
    """

    def __init__(self, kernels, values):
        self.kernels = kernels
        self.pressure_block = kernels.pressure_block
        self.words = array.array("i", bytes(4 * sensor.PRESSURE_STATE))
        self.found = array.array("i", bytes(4 * words.BREATH_WORDS * RECORDS))
        self.wave = array.array("h", bytes(2 * PRESSURE_BLOCK))
        self.records = []
        self.total = 0
        self.count = 0
        self.mean = self.low = self.high = None
        self.second_low = 32767
        self.second_high = -32767
        kernels.breath_reset(self.words, MODE_STANDBY, 0)
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
        keep = (state[words.MODE], state[words.CYCLE_LIMIT], state[sensor.P_OFFSET], state[sensor.P_GAIN])
        self.kernels.breath_reset(state, keep[0], keep[1])
        state[sensor.P_OFFSET] = keep[2]
        state[sensor.P_GAIN] = keep[3]
        self.breaths = 0
        self.pressure_max = self.pressure_min = NONE
        self.cycle_age = self.breath_age = 0
        self.peak = self.end_expiratory = self.rate = NONE

    def step(self, codes):
        """Take one block of 10 codes ('h')."""
        state = self.words
        self.pressure_block(codes, PRESSURE_BLOCK, self.wave, state, self.found)
        self.pressure_max = high = state[BLOCK_MAX]
        self.pressure_min = low = state[BLOCK_MIN]
        self.cycle_age = state[CYCLE_AGE] // PRESSURE_BLOCK
        age = state[AGE] // PRESSURE_BLOCK
        if age < self.breath_age:
            self._sure()
        self.breath_age = age
        if high > self.second_high:
            self.second_high = high
        if low < self.second_low:
            self.second_low = low
        if self.peak != NONE:
            self.rate = state[RATE] or NONE
        if state[FOUND]:
            self._records()

    def second(self):
        """Close a second: `mean`, `low`, `high` (0.01 cmH2O) of it."""
        at = sensor.STATISTICS
        state = self.words
        count = state[at + sensor.COUNT]
        if count:
            total = state[at + sensor.SUM] - count * state[sensor.P_OFFSET]
            mean = (total * 150 // count * 100 + 2047) // sensor.P_CODES + sensor.P_LOW
            self.mean = mean + ((mean * (state[sensor.P_GAIN] - 16384) + 8192) >> 14)
            self.low = self.second_low
            self.high = self.second_high
        self.second_low = 32767
        self.second_high = -32767

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

    def _sure(self):
        state = self.words
        self.breaths += 1
        self.peak = state[words.LAST_PEAK]
        self.end_expiratory = state[words.LAST_END]

    def _records(self):
        found = self.found
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


# The words read in each step, as globals of this module: one look-up each.
FOUND = words.FOUND
AGE = words.AGE
CYCLE_AGE = words.CYCLE_AGE
BLOCK_MAX = words.BLOCK_MAX
BLOCK_MIN = words.BLOCK_MIN
RATE = words.RATE
