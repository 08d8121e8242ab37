"""Where each channel's gain and offset come from: day, reference, uncertainty; in two flash slots.

The numbers that act are settings; a row says who vouches for them. A row whose numbers are not those in force
vouches for nothing: a power cut between the two writes, or somebody who set a gain by hand.
"""

import struct
from collections import namedtuple

from firmware_sim.contract import settings as s
from firmware_sim.contract.channels import CHANNELS
from firmware_sim.core.settings_store import SettingsStore

PAGES = (18, 19)
REFERENCE_MAX = 40
WORDS = 16
_NUMBERS = 6
_TEXT = "<" + str(WORDS - _NUMBERS) + "i"

Row = namedtuple("Row", ("gain", "offset", "day", "points", "gain_u", "offset_u", "reference"))


class CalibrationStore(SettingsStore):
    """Keep one row a channel; `values` as SettingsStore, WORDS a channel, all zero where there is none."""

    magic = 0x434E
    count = WORDS * len(CHANNELS)

    def __init__(self, hal):
        SettingsStore.__init__(self, hal, PAGES)

    @staticmethod
    def blank():
        """Return no row at all."""
        return [0] * (WORDS * len(CHANNELS))

    @staticmethod
    def check(values):
        """Return None: what the sum vouches for was checked before it was written."""
        return None

    def row(self, channel):
        """Return the Row of a channel, None when it was never calibrated."""
        at = channel * WORDS
        numbers = self.values[at:at + _NUMBERS]
        if not numbers[3]:
            return None
        text = struct.pack(_TEXT, *self.values[at + _NUMBERS:at + WORDS])
        return Row(*numbers, text.rstrip(b"\0"))

    def put(self, channel, row):
        """Write a Row; return True when it reads back whole."""
        text = row.reference[:REFERENCE_MAX]
        text = text + b"\0" * (REFERENCE_MAX - len(text))
        wanted = list(self.values)
        at = channel * WORDS
        wanted[at:at + WORDS] = list(row[:_NUMBERS]) + list(struct.unpack(_TEXT, text))
        return self.save(wanted)

    def oldest_day(self, settings):
        """Return the day of the oldest calibration that vouches for the settings, 0 when none does.

        A zero check is no calibration.
        """
        days = [row.day for channel in range(len(CHANNELS)) for row in [self.row(channel)]
                if row is not None and row.points > 1 and self.vouches(channel, row, settings)]
        return min(days) if days else 0

    def vouches(self, channel, row, settings):
        """Tell whether a row's numbers are those in force."""
        gain, offset = ids(channel)
        return settings[gain] == row.gain and settings[offset] == row.offset


def ids(channel):
    """Return the settings (gain, offset) of a channel."""
    name = "calibration." + CHANNELS[channel][1]
    return s.ID_OF[name + "_gain"], s.ID_OF[name + "_offset"]


def merged(old, gain, offset, day, points, gain_u, offset_u, reference):
    """Return the Row to keep after a calibration: a zero check leaves what an earlier calibration proved."""
    if points > 1 or old is None:
        return Row(gain, offset, day, points, gain_u, offset_u, reference)
    return Row(old.gain, offset, old.day, old.points, old.gain_u, offset_u, old.reference)
