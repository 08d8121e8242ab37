"""The oxygen cylinder that a person told of: what it holds, counted down by the module itself.

The host works out a lower bound of the content and the largest likely use from the gauge, size and flows
that a person entered (command `cylinder`); from then on the module needs no host. It counts down while gas is
being drawn: while the oxygen reading is that of a cylinder, or since two gauge readings fell (`drawn`). What
it holds is noted in the event log, so that a restart goes on where it was. Whether gas was drawn while the
module was off is told by the log and the clock; with the clock unset nobody knows for how long, and nothing
is left.
"""

from firmware_sim.contract import log_codes
from firmware_sim.kernels.alarms import NONE

# A note in the log every five minutes while gas is drawn, else every six hours.
NOTE_DRAWN_S = 300
NOTE_RESTING_S = 21600
# Words of a log entry: first litres, second rate in 0.01 L/min and these bits.
DRAWN = 1 << 16
FLOWING = 1 << 17
ML_OF_RATE = 10
MINUTES_MAX = 16000


class Cylinder:
    """Count down: `second(seen)` each second, `minutes` is the engine's input (NONE: nobody told).

    `note(code, first, second)` writes to the event log. mL and 0.01 L/min, both within 2^30.
    """

    def __init__(self, note):
        self.note = note
        self.left_ml = 0
        self.rate = 0
        self.drawn = False
        self.flowing = False
        self.part = 0
        self.note_in = 0
        self.minutes = NONE

    def told(self, litres, rate, drawn):
        """Take what a person told: usable litres at least, 0.01 L/min at most; a rate of 0: no cylinder."""
        self.left_ml = litres * 1000
        self.rate = rate
        self.drawn = bool(drawn)
        self.flowing = self.drawn
        self.part = 0
        self._reckon()
        self._write()

    def restore(self, first, second, off_s):
        """Go on from a log entry that was written `off_s` seconds ago, None when nobody knows."""
        self.rate = second & 0xFFFF
        self.drawn = bool(second & DRAWN)
        self.flowing = bool(second & FLOWING)
        self.left_ml = first * 1000
        if self.flowing:
            known = off_s is not None and off_s >= 0
            # In 0.01 L, and of at most eleven days, so that no product passes 2^30.
            gone = min(off_s // 60 + 1, MINUTES_MAX) * self.rate if known else self.left_ml
            self.left_ml = max(self.left_ml // ML_OF_RATE - gone, 0) * ML_OF_RATE
        self._reckon()

    def second(self, seen):
        """Go on a second; `seen`: the oxygen reading is that of a cylinder."""
        if self.rate == 0:
            return
        flowing = self.drawn or seen
        if flowing:
            self.part += self.rate * ML_OF_RATE
            self.left_ml = max(self.left_ml - self.part // 60, 0)
            self.part %= 60
            self._reckon()
        self.note_in -= 1
        if flowing != self.flowing or self.note_in <= 0:
            self.flowing = flowing
            self._write()

    def _reckon(self):
        self.minutes = self.left_ml // (self.rate * ML_OF_RATE) if self.rate else NONE

    def _write(self):
        self.note_in = NOTE_DRAWN_S if self.flowing else NOTE_RESTING_S
        bits = (DRAWN if self.drawn else 0) | (FLOWING if self.flowing else 0)
        self.note(log_codes.CYLINDER, self.left_ml // 1000, self.rate | bits)
