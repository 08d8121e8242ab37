"""Whether the sensors can be believed: open, short, stuck, noisy, saturated, drifting; one word a channel.

'Stuck' means the same code for longer than the converter's own noise allows; it never hides 'no breath',
which looks at the pressure alone. A drift of the pressure's zero is guessed from an end-expiratory pressure
that creeps on while the breaths stay alike: check against the atmosphere.
"""

import array

from firmware_sim.contract import SUPPLY_BLOCK
from firmware_sim.contract.channels import (
    OXYGEN,
    PRESSURE,
    RAIL,
    SENSOR_DRIFT,
    SENSOR_NOISY,
    SENSOR_OK,
    SENSOR_OPEN,
    SENSOR_SATURATED,
    SENSOR_SHORT,
    SENSOR_STUCK,
    SUPPLY_IN,
    SUPPLY_OUT,
)
from firmware_sim.core.raw_codes import RawCodes
from firmware_sim.kernels import breath
from firmware_sim.kernels import sensor as words

WATCHED = (SUPPLY_IN, SUPPLY_OUT, PRESSURE, OXYGEN, RAIL)
# Second difference (codes) that noise may reach: harmonics make up to 50 on a supply tap.
SUPPLY_ROUGH = 120
OXYGEN_ROUGH = 80
SUPPLY_ZERO_MAX = 12 * 16  # 1/16 code; 12 codes are 4.7 V
SATURATED_ZERO = 400
PRESSURE_TOP = 2457  # 60 cmH2O: no circuit rests there
PRESSURE_STUCK = 500  # samples: 5 s
PRESSURE_TOP_S = 5
OXYGEN_STUCK = 40  # samples: 20 s
OXYGEN_WINDOW = 10  # samples judged together
RAIL_STUCK = 600
CREEP_S = 15  # marks of the end-expiratory pressure
CREEP = 40  # 0.01 cmH2O from mark to mark
CREEP_MARKS = 5


class Sensors:
    """Judge the sensors: `oxygen` and `rail` with each code of theirs, `second` each second.

    `conditions` holds one of contract.channels.SENSOR_* for each channel of WATCHED, by channel id; `raw`
    gathers codes for the record of that name.
    """

    def __init__(self, kernels):
        self.kernels = kernels
        self.conditions = [SENSOR_OK] * len(WATCHED)
        self.words = array.array("i", bytes(4 * words.SENSOR_WORDS * len(WATCHED)))
        self.one = array.array("h", [0])
        self.raw = RawCodes()
        self.zeros = [0, 0]
        self.top_s = 0
        self.mark_s = 0
        self.mark = 0
        self.mark_height = 0
        self.creeps = 0

    def packed(self):
        """Return the conditions as in `trend.sensors`: three bits a channel."""
        total = 0
        for channel in WATCHED:
            total |= self.conditions[channel] << (3 * channel)
        return total

    def oxygen(self, code):
        """Take an oxygen code."""
        base = OXYGEN * words.SENSOR_WORDS
        self.raw.one(OXYGEN, code)
        self._one(code, base, OXYGEN_ROUGH)
        count = self.words[base + words.COUNT]
        if count < OXYGEN_WINDOW:
            return
        state = self._ends(self.words, base)
        if state == SENSOR_OK:
            if self.words[base + words.RUN] >= OXYGEN_STUCK:
                state = SENSOR_STUCK
            elif self.words[base + words.ROUGH] * 2 >= count:
                state = SENSOR_NOISY
        self.conditions[OXYGEN] = state
        self.kernels.sensor_clear(self.words, base)

    def rail(self, code):
        """Take a code of the module's own rail."""
        base = RAIL * words.SENSOR_WORDS
        self.raw.one(RAIL, code)
        self._one(code, base, 4095)
        state = self._ends(self.words, base)
        if state == SENSOR_OK and self.words[base + words.RUN] >= RAIL_STUCK:
            state = SENSOR_STUCK
        self.conditions[RAIL] = state
        self.kernels.sensor_clear(self.words, base)

    def second(self, before, after, first, pressure):
        """Judge a block of both taps from place `first`, and a second of the words of Breathing."""
        self._supply(SUPPLY_IN, before, first)
        self._supply(SUPPLY_OUT, after, first)
        base = words.STATISTICS
        self.conditions[PRESSURE] = self._pressure(pressure, base)
        self._gather(PRESSURE, pressure, base)
        self.kernels.sensor_clear(pressure, base)

    def _one(self, code, base, rough):
        self.one[0] = code
        self.kernels.sensor_block(self.one, 0, 1, self.words, base, 0, 4095, rough)

    @staticmethod
    def _ends(state, base):
        """Return open or short when nine tenths of the samples lie at an end of the converter."""
        count = state[base + words.COUNT]
        if state[base + words.HIGHS] * 10 >= count * 9:
            return SENSOR_OPEN
        if state[base + words.LOWS] * 10 >= count * 9:
            return SENSOR_SHORT
        return SENSOR_OK

    def _supply(self, tap, codes, first):
        base = tap * words.SENSOR_WORDS
        state = self.words
        self.kernels.sensor_block(codes, first, SUPPLY_BLOCK, state, base, -2048, 2047, SUPPLY_ROUGH)
        mean = state[base + words.SUM] * 16 // SUPPLY_BLOCK
        self.zeros[tap] += (mean - self.zeros[tap]) >> 2
        condition = self._ends(state, base)
        if condition == SENSOR_OK:
            clipped = state[base + words.HIGHS] or state[base + words.LOWS]
            if state[base + words.RUN] >= SUPPLY_BLOCK:
                condition = SENSOR_STUCK
            elif clipped and abs(mean) >= SATURATED_ZERO * 16:
                condition = SENSOR_SATURATED
            elif state[base + words.ROUGH] * 10 >= SUPPLY_BLOCK * 4:
                condition = SENSOR_NOISY
            elif abs(self.zeros[tap]) >= SUPPLY_ZERO_MAX:
                condition = SENSOR_DRIFT
        self.conditions[tap] = condition
        self._gather(tap, state, base)
        self.kernels.sensor_clear(state, base)

    def _gather(self, channel, state, base):
        count = state[base + words.COUNT]
        if count:
            self.raw.add(channel, count, state[base + words.SUM], state[base + words.MIN],
                         state[base + words.MAX])

    def _pressure(self, state, base):
        count = state[base + words.COUNT]
        if count == 0:
            return self.conditions[PRESSURE]
        self.top_s = self.top_s + 1 if state[base + words.MIN] >= PRESSURE_TOP else 0
        creeping = self._creep(state)
        condition = self._ends(state, base)
        if condition != SENSOR_OK:
            return condition
        if self.top_s >= PRESSURE_TOP_S:
            return SENSOR_SATURATED
        if state[base + words.RUN] >= PRESSURE_STUCK:
            return SENSOR_STUCK
        if creeping:
            return SENSOR_DRIFT
        return SENSOR_NOISY if state[base + words.ROUGH] * 100 >= count * 35 else SENSOR_OK

    def _creep(self, state):
        """Tell whether the resting pressure creeps in one direction while the breaths stay alike."""
        self.mark_s += 1
        if self.mark_s >= CREEP_S:
            self.mark_s = 0
            rest = state[breath.REST] >> 4
            height = state[breath.HEIGHT]
            step = rest - self.mark
            alike = height and abs(height - self.mark_height) * 10 <= height
            up = alike and CREEP <= step <= 10 * CREEP
            down = alike and -10 * CREEP <= step <= -CREEP
            if up:
                self.creeps = self.creeps + 1 if self.creeps >= 0 else 1
            elif down:
                self.creeps = self.creeps - 1 if self.creeps <= 0 else -1
            else:
                self.creeps = 0
            self.mark = rest
            self.mark_height = height
        return abs(self.creeps) >= CREEP_MARKS
