"""How long the battery would carry the load, at least."""

import array

from firmware_sim.contract import NONE
from firmware_sim.contract.channels import STATE_UNDETERMINED
from firmware_sim.contract.settings import ID_OF
from firmware_sim.kernels import battery as words


class Battery:
    """Reckon the lower bound: call `second` each second.

    `left` is the engine's input `battery` (s, NONE when no discharge was ever proven), `left_s` the same
    for messages (None), `proven` whether the test is recent enough to count as proof.
    """

    def __init__(self, kernels, values):
        self.kernels = kernels
        self.words = array.array("i", bytes(4 * words.BATTERY_STATE))
        self.before = STATE_UNDETERMINED
        self.left = NONE
        self.left_s = None
        self.proven = False
        self.configure(values)

    def configure(self, values, today=0):
        """Take the settings in force; `today` is the day since 1970-01-01, 0 when the clock isn't set."""
        self.words[words.PROVEN_S] = values[ID_OF["battery.proven_minutes"]] * 60
        day = values[ID_OF["battery.proven_day"]]
        self.words[words.TEST_AGE_D] = today - day if day and today >= day else -1
        self.words[words.AGE_MAX_D] = values[ID_OF["battery.proven_age_max"]]
        self.words[words.RECHARGE_S] = values[ID_OF["battery.recharge"]] * 360

    def restore(self, charge):
        """Take a charge (2^28 is full) known from before; without it the battery counts as empty at first."""
        self.words[words.CHARGE] = charge

    def charge(self):
        """Return the charge reckoned, 2^28 when full."""
        return self.words[words.CHARGE]

    def second(self, supply_state):
        """Advance one second with the supply state in force."""
        self.kernels.battery_second(self.words, supply_state, self.before)
        self.before = supply_state
        self.proven = bool(self.words[words.PROVEN])
        known = self.words[words.PROVEN_S] > 0
        self.left = self.words[words.LEFT_S] if known else NONE
        self.left_s = self.left if known else None
