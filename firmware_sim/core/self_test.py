"""The module's test of itself: in the first seconds of each life, and on command; what failed alarms.

Parts (log_codes.SELF_TEST_PARTS): the program's files read back as they were written; a slot of settings
that a power cut tore is written anew and reads back; the newest entry of the log reads back; the converter
gives the rail's voltage, which a module that runs can't be without; the clock goes; no button is held down
all the while.
Lamps and sounder say nothing back: they are for a person to see and hear.
"""

from firmware_sim.contract import log_codes
from firmware_sim.kernels.alarms import NONE

STEPS = 50
# A module that runs has at least its reset's threshold, and at most what its regulator bears (definition).
RAIL_MIN_MV = 2900
RAIL_MAX_MV = 5600


class SelfTest:
    """Run the test: `start()`, then `step` in each step. `failed`: bits of the last whole test, 0 before.

    `stores` are what keeps numbers in two slots (SettingsStore), `log` the EventLog, `buttons` Buttons.
    """

    def __init__(self, hal, stores, log, buttons):
        self.hal = hal
        self.stores = stores
        self.log = log
        self.buttons = buttons
        self.failed = 0
        self.left = 0
        self.bits = 0
        self.began_s = 0

    def start(self):
        """Begin: what can be told at once is looked at now."""
        self.left = STEPS
        self.bits = 0
        self.began_s = self.hal.rtc()[0]
        if self.hal.program_sound() is False:
            self.bits |= log_codes.TEST_PROGRAM
        if not all([store.mend() for store in self.stores]):
            self.bits |= log_codes.TEST_SETTINGS
        if not self.log.reads_back():
            self.bits |= log_codes.TEST_LOG

    def step(self, rail_mv):
        """Take the newest reading of the rail; return True in the step that ends the test."""
        if self.left == 0:
            return False
        self.left -= 1
        if self.left:
            return False
        if rail_mv == NONE or rail_mv < RAIL_MIN_MV or rail_mv > RAIL_MAX_MV:
            self.bits |= log_codes.TEST_CONVERTER
        if self.hal.rtc()[0] == self.began_s:
            self.bits |= log_codes.TEST_CLOCK
        if max(self.buttons.down) >= STEPS - 1:
            self.bits |= log_codes.TEST_BUTTON
        self.failed = self.bits
        return True
