"""The event log in flash: what happened, with a CRC an entry; it outlives power, and says when it is full.

A ring of pages with one page always erased. When the head page is full, the spare page becomes the head, the
entries of weight 2 (high-priority alarms) of the oldest page are carried over into it, and the oldest page
is erased: ordinary entries are overwritten first, high ones only when they alone fill the log. A power cut
tears at most the entry being written, or leaves entries twice, which are told apart by their serial number.

An entry, 32 bytes: serial u32, code u8, weight u8, boot u16, tick u32, unix_s u32 (0: clock unset), first,
second, third i32, CRC-16/CCITT-FALSE u16, two bytes free.
"""

import struct
from collections import namedtuple

from firmware_sim.contract import alarms, log_codes
from firmware_sim.contract.frames import crc16
from firmware_sim.kernels.alarms import ACKNOWLEDGED, CLEARED, LATCHED_ON, RAISED, RESTORED

LAYOUT = "<IBBHIIiii"
BODY = 28
ENTRY = 32
FIRST_PAGE = 2
PAGES = 16
PAGE = 4096
PER_PAGE = PAGE // ENTRY
BLANK = b"\xff" * ENTRY
# A page that takes over carried entries keeps this much room for new ones.
ROOM = 32

Entry = namedtuple("Entry", (
    "serial", "code", "weight", "boot", "tick", "unix_s", "first", "second", "third",
))


class EventLog:
    """Append to the ring and read it back.

    `boot` number of this life, `damaged` entries whose CRC is wrong, `overwritten` entries lost to the ring
    since somebody last said the log was read.
    """

    def __init__(self, hal, first_page=FIRST_PAGE, pages=PAGES):
        self.hal = hal
        self.first_page = first_page
        self.pages = pages
        self.next_serial = 1
        self.boot = 1
        self.damaged = 0
        self.overwritten = 0
        self.read_until = 0
        self.head = 0
        self.used = 0
        self._scan()

    def capacity(self):
        """Return how many entries the log holds when one page is spare."""
        return (self.pages - 1) * PER_PAGE

    def fill(self):
        """Return per cent of the log that nobody has read yet; 100 once unread entries were overwritten."""
        if self.overwritten:
            return 100
        return min(100, (self.next_serial - 1 - self.read_until) * 100 // self.capacity())

    def mark_read(self):
        """Note that the log was read up to here: what is older may go without notice."""
        self.read_until = self.next_serial - 1
        self.overwritten = 0
        self.add(log_codes.LOG_READ, self.read_until)

    def add(self, code, first=0, second=0, third=0, tick=0, weight=None):
        """Append one entry, return its serial number. Integers of 32 bits; `weight` None: as the code's."""
        if self.used >= PER_PAGE:
            self._advance()
        unix_s, _, is_set = self.hal.rtc()
        entry = Entry(self.next_serial, code, log_codes.WEIGHTS[code] if weight is None else weight,
                      self.boot & 0xFFFF, tick, unix_s if is_set else 0, first, second, third)
        self.next_serial += 1
        self._write(entry)
        return entry.serial

    def entries(self, first_serial=1, count=None):
        """Return entries in the order of their serials, from one on; at most `count`."""
        found = {}
        for page in range(self.pages):
            for entry in self._page(page):
                if entry.serial >= first_serial:
                    found[entry.serial] = entry
        serials = sorted(found)
        return [found[serial] for serial in (serials if count is None else serials[:count])]

    def reads_back(self):
        """Tell whether the newest entry reads back whole; True while there is none."""
        if self.next_serial == 1:
            return True
        data = self.hal.flash_read(self.first_page + self.head, (self.used - 1) * ENTRY, ENTRY)
        entry = _open(data)
        return entry is not None and entry.serial == self.next_serial - 1

    def newest(self, code):
        """Return the newest entry of a code, None when the log holds none."""
        found = None
        for page in range(self.pages):
            for entry in self._page(page):
                if entry.code == code and (found is None or entry.serial > found.serial):
                    found = entry
        return found

    def latched_rows(self):
        """Return the latching rows that were raised and never acknowledged nor cleared: a reset's duty."""
        last = {}
        for entry in self.entries():
            if entry.code == log_codes.ALARM:
                row, transition, _, _ = log_codes.alarm_parts(entry.first)
                if row < alarms.COUNT and alarms.ROWS[row].latching and transition in _LIFE:
                    last[row] = transition
        return sorted([row for row, transition in last.items() if transition not in (ACKNOWLEDGED, CLEARED)])

    def _write(self, entry):
        body = struct.pack(LAYOUT, *entry)
        data = body + struct.pack("<H", crc16(body)) + b"\xff\xff"
        self.hal.flash_write(self.first_page + self.head, self.used * ENTRY, data)
        self.used += 1

    def _scan(self):
        """Find head and spare page, the last serial, and what was said to be read."""
        newest = 0
        for page in range(self.pages):
            for entry in self._page(page):
                if entry.serial > newest:
                    newest = entry.serial
                    self.head = page
                    self.boot = entry.boot + 1
                if entry.code == log_codes.LOG_READ:
                    self.read_until = max(self.read_until, entry.first)
            self.damaged += self._torn(page)
        self.next_serial = newest + 1
        self.used = self._used(self.head)
        if newest:
            self._resume()

    def _resume(self):
        """Finish what a power cut interrupted: carrying over, or erasing the oldest page."""
        following = (self.head + 1) % self.pages
        if self.used >= PER_PAGE and self._used(following):
            # Behind a full head the spare page holds only what was being carried over.
            self.head = following
            self.used = self._used(following)
        self._make_spare()

    def _torn(self, page):
        """Count the entries of a page that can't be trusted."""
        data = self.hal.flash_read(self.first_page + page, 0, PAGE)
        slots = [data[at:at + ENTRY] for at in range(0, PAGE, ENTRY)]
        return len([slot for slot in slots if slot != BLANK and _open(slot) is None])

    def _page(self, page):
        """Return the sound entries of a page."""
        data = self.hal.flash_read(self.first_page + page, 0, PAGE)
        found = []
        for at in range(0, PAGE, ENTRY):
            entry = _open(data[at:at + ENTRY])
            if entry is not None:
                found.append(entry)
        return found

    def _used(self, page):
        """Return the place behind the last entry of a page, sound or torn."""
        data = self.hal.flash_read(self.first_page + page, 0, PAGE)
        used = PER_PAGE
        while used and data[(used - 1) * ENTRY:used * ENTRY] == BLANK:
            used -= 1
        return used

    def _advance(self):
        """Take the spare page as head, carry high entries over, erase the oldest page as the next spare."""
        self.head = (self.head + 1) % self.pages
        self.used = self._used(self.head)
        self._make_spare()

    def _make_spare(self):
        victim = (self.head + 1) % self.pages
        if self._used(victim) == 0:
            return
        old = self._page(victim)
        here = [entry.serial for entry in self._page(self.head)]
        high = [entry for entry in old if entry.weight == log_codes.WEIGHT_HIGH and entry.serial not in here]
        room = max(0, PER_PAGE - ROOM - self.used)
        kept = high[-room:] if room else []
        for entry in kept:
            self._write(entry)
        lost = [entry for entry in old if entry not in kept and entry.serial not in here
                and entry.serial > self.read_until]
        self.hal.flash_erase(self.first_page + victim)
        if lost:
            first_loss = self.overwritten == 0
            self.overwritten += len(lost)
            if first_loss:
                self.add(log_codes.LOG_FULL, self.overwritten)


# Transitions that open or close a latched life.
_LIFE = (RAISED, CLEARED, LATCHED_ON, ACKNOWLEDGED, RESTORED)


def _open(data):
    """Return the Entry in 32 bytes, or None when its CRC is wrong."""
    if data[:4] == b"\xff\xff\xff\xff" or data[BODY] | data[BODY + 1] << 8 != crc16(data[:BODY]):
        return None
    return Entry(*struct.unpack(LAYOUT, data[:BODY]))
