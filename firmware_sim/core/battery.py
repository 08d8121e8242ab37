"""How long the battery would carry the load, at least."""

import array

from firmware_sim.contract import NONE
from firmware_sim.contract.channels import STATE_UNDETERMINED
from firmware_sim.contract.settings import CURVE_NAMES, ID_OF
from firmware_sim.kernels import battery as words

# Of a test's voltage: one point each `every` seconds; when full, every other one is dropped.
TRACE = 128
VOLTS_MAX = 32767


class Battery:
    """Reckon the lower bound: call `second` each second.

    `left` is the engine's input `battery` (s, NONE when no discharge was ever proven), `left_s` the same
    for messages (None), `proven` whether the test is recent enough to count as proof, `by_voltage` whether
    the measured voltage is what allows no more.
    """

    def __init__(self, kernels, values):
        self.kernels = kernels
        self.words = array.array("i", bytes(4 * words.BATTERY_STATE))
        self.words[words.AMPERES_MEAN] = self.words[words.VOLTS_MEAN] = -1
        self.trace = array.array("h", bytes(2 * TRACE))
        self.before = STATE_UNDETERMINED
        self.left = NONE
        self.left_s = None
        self.proven = False
        self.by_voltage = False
        self.begin_test()
        self.configure(values)

    def configure(self, values, today=0):
        """Take the settings in force; `today` is the day since 1970-01-01, 0 when the clock isn't set."""
        state = self.words
        minutes = values[ID_OF["battery.proven_minutes"]]
        state[words.PROVEN_S] = minutes * 60
        day = values[ID_OF["battery.proven_day"]]
        state[words.TEST_AGE_D] = today - day if day and today >= day else -1
        state[words.AGE_MAX_D] = values[ID_OF["battery.proven_age_max"]]
        state[words.RECHARGE_S] = values[ID_OF["battery.recharge"]] * 360
        # What was measured in another test than the one in force counts for nothing.
        same = values[ID_OF["discharge.minutes"]] == minutes
        state[words.TEST_AMPERES] = values[ID_OF["discharge.load"]] if same else 0
        for k in range(words.CURVE_POINTS):
            state[words.CURVE + k] = values[ID_OF[CURVE_NAMES[k]]] if same else 0

    def restore(self, charge):
        """Take a charge (2^28 is full) known from before; without it the battery counts as empty at first."""
        self.words[words.CHARGE] = charge

    def charge(self):
        """Return the charge reckoned, 2^28 when full."""
        return self.words[words.CHARGE]

    def second(self, supply_state, volts=None, amperes=None):
        """Advance one second with the supply state in force; 0.01 V and 0.01 A, None where not fitted."""
        state = self.words
        state[words.VOLTS] = -1 if volts is None else min(volts, VOLTS_MAX)
        state[words.AMPERES] = -1 if amperes is None else amperes
        self.kernels.battery_second(state, supply_state, self.before)
        self.before = supply_state
        self.proven = bool(state[words.PROVEN])
        known = state[words.PROVEN_S] > 0
        self.left = state[words.LEFT_S] if known else NONE
        self.left_s = self.left if known else None
        self.by_voltage = known and bool(state[words.BY_VOLTAGE])
        if state[words.STORED_S] > words.FRESH_S:
            self._note(state[words.VOLTS_MEAN], state[words.AMPERES])

    def begin_test(self):
        """Note voltage and load from now on, for `tested`."""
        self.seconds = 0
        self.every = 1
        self.points = 0
        self.amperes = 0

    def tested(self, values):
        """Put what was measured since `begin_test` into a list of settings; zeros where nothing was."""
        values[ID_OF["discharge.minutes"]] = values[ID_OF["battery.proven_minutes"]]
        values[ID_OF["discharge.load"]] = self.amperes // self.seconds if self.amperes > 0 else 0
        # Falling only: a dip at the start, or one reading too low, must not promise more later.
        last = self.points - 1
        for k in range(words.CURVE_POINTS):
            at = last - (self.points >> (words.CURVE_POINTS - 1 - k)) if k else last
            highest = 0
            for later in range(max(at, 0), self.points):
                highest = max(highest, self.trace[later])
            values[ID_OF[CURVE_NAMES[k]]] = highest

    def _note(self, volts_mean, amperes):
        if self.seconds % self.every == 0 and volts_mean > 0:
            if self.points == TRACE:
                for at in range(TRACE // 2):
                    self.trace[at] = self.trace[2 * at]
                self.points = TRACE // 2
                self.every *= 2
            if self.seconds % self.every == 0:
                self.trace[self.points] = volts_mean >> 4
                self.points += 1
        self.seconds += 1
        # A whole day at 40 A stays below 2^30.
        if amperes > 0 and self.seconds <= 86400:
            self.amperes += amperes
