"""Settings in two flash slots: a power cut at any byte of a write leaves the old set or the new one whole.

A slot is one page: magic, format, count, version, the integers, and eight bytes of SHA-256 over all of it,
written last. The slot with the highest version whose sum is right is in force; the other is the one to be
written next.
"""

import hashlib
import struct

from firmware_sim.contract import settings

MAGIC = 0x4B4E
FORMAT = 1
HEAD = "<HHHI"
HEAD_SIZE = 10
SUM_SIZE = 8
PAGES = (0, 1)

SOUND = 0
BLANK = 1
DAMAGED = 2


class SettingsStore:
    """Keep the settings in force; a class of its own keeps other numbers the same way.

    `values` list of integers, `version` grows by one a save, `condition` SOUND, BLANK (never written:
    defaults) or DAMAGED (both slots unreadable or of a newer firmware: defaults, and a memory fault).
    """

    magic = MAGIC
    count = settings.COUNT
    check = staticmethod(settings.check)

    def __init__(self, hal, pages=PAGES):
        self.hal = hal
        self.pages = pages
        self.values = self.blank()
        self.version = 0
        self.slot = 1
        self.condition = BLANK
        self._load()

    @staticmethod
    def blank():
        """Return what stands where nothing was ever written."""
        return settings.defaults()

    def _load(self):
        blank = 0
        for slot in range(2):
            found = self._read(slot)
            if found is None:
                blank += 1
            elif found and found[0] > self.version:
                self.version, self.values = found
                self.slot = slot
        if self.version:
            self.condition = SOUND
        elif blank < 2:
            self.condition = DAMAGED

    def _read(self, slot):
        """Return (version, values) of a slot, None for a blank page, () for one that can't be trusted."""
        page = self.pages[slot]
        size = HEAD_SIZE + 4 * self.count + SUM_SIZE
        data = self.hal.flash_read(page, 0, size)
        if data == b"\xff" * size:
            return None
        magic, layout, count, version = struct.unpack(HEAD, data[:HEAD_SIZE])
        if magic != self.magic or layout != FORMAT or count > self.count:
            return ()
        data = data[:HEAD_SIZE + 4 * count + SUM_SIZE]
        if data[-SUM_SIZE:] != _sum(data[:-SUM_SIZE]):
            return ()
        values = list(struct.unpack("<" + str(count) + "i", data[HEAD_SIZE:-SUM_SIZE]))
        # An older firmware knew fewer: what came later stands behind, as on a new module.
        values += self.blank()[count:]
        return (version, values) if self.check(values) is None else ()

    def mend(self):
        """Write the set in force into a slot that can't be read; return False when it doesn't read back.

        What a power cut tore is no fault as long as the flash takes it; two unreadable slots are a fault of
        their own.
        """
        other = self._read(1 - self.slot)
        if self.condition != SOUND or other or (other is None and self.version < 2):
            return True
        return self.save(self.values)

    def save(self, values):
        """Write a set to the other slot; return True when it reads back whole. Then it is in force."""
        slot = 1 - self.slot
        page = self.pages[slot]
        body = struct.pack(HEAD, self.magic, FORMAT, self.count, self.version + 1)
        body += struct.pack("<" + str(self.count) + "i", *values)
        self.hal.flash_erase(page)
        self.hal.flash_write(page, 0, body)
        self.hal.flash_write(page, len(body), _sum(body))
        found = self._read(slot)
        if not found or found[1] != list(values):
            return False
        self.version, self.values = found
        self.slot = slot
        self.condition = SOUND
        return True


def _sum(data):
    return hashlib.sha256(data).digest()[:SUM_SIZE]
