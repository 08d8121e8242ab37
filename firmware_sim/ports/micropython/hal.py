"""The hal of a MicroPython board: `machine` as its documentation describes it, and nothing of one maker."""

import gc
import os
import time

import machine
from machine import Pin

from firmware_sim.contract import WRITTEN_UNIX_S
from firmware_sim.ports.micropython import pins
from firmware_sim.ports.micropython.page_files import PageFiles
from firmware_sim.ports.micropython.program import is_sound
from firmware_sim.ports.micropython.sampler import SOUND, converter

PAGE = 4096
# Ten bits a byte, ten steps a second.
BYTES_PER_STEP = pins.BAUD // 100
# Some ports count time() from 2000, some from 1970.
EPOCH_S = 946684800 if time.gmtime(0)[0] == 2000 else 0
BUTTONS = ("pause_sound", "acknowledge")
SLOW = ("rail", "product_pressure", "battery_voltage", "ups_current", "surge_peak")


def known_cause():
    """Return 0 power, 1 watchdog, 2 button, 3 software; what a port does not tell apart counts as power."""
    cause = machine.reset_cause()
    for number, name in ((1, "WDT_RESET"), (3, "SOFT_RESET"), (2, "HARD_RESET")):
        # On some ports two names share one number; power is then the careful reading.
        if cause == getattr(machine, name, None) and cause != getattr(machine, "PWRON_RESET", None):
            return number
    return 0


class Hal:
    """What the firmware sees of the board. `begin(step)` renews the line's budget and the slow channels."""

    PAGE = PAGE

    def __init__(self, sampler):
        # Before the watchdog runs: reading every file takes its time.
        self._program_sound = is_sound()
        self.sampler = sampler
        # A stand-in of the board says so itself, and so does then every screen.
        self.emulated = getattr(machine, "EMULATED", False)
        self.profile = pins.PROFILE
        self.ring_bytes = pins.RING_BYTES
        self.flash_pages = pins.FLASH_PAGES
        self._flash = PageFiles(pins.FLASH_FOLDER)
        self.flash_read = self._flash.read
        self.flash_erase = self._flash.erase
        self.flash_write = self._flash.write
        self._uart = machine.UART(pins.UART, pins.BAUD, tx=Pin(pins.PIN_OF["tx"]), rx=Pin(pins.PIN_OF["rx"]),
                                  txbuf=2 * BYTES_PER_STEP, rxbuf=2 * BYTES_PER_STEP)
        self._rtc = machine.RTC()
        # Started with the first step: building the firmware takes longer than the watchdog waits.
        self._wdt = None
        self._buttons = [Pin(pins.PIN_OF[role], Pin.IN, Pin.PULL_UP) for role in BUTTONS]
        contact = pins.PIN_OF["ups_contact"]
        self._contact = None if contact is None else Pin(contact, Pin.IN, Pin.PULL_UP)
        self._oxygen = converter("oxygen")
        self._slow = [converter(role) for role in SLOW]
        self._cause = known_cause()
        self._budget = 0
        self.loop_us_max = 0

    def begin(self, step, block):
        """Fill the block's slow channels where this step is their turn; renew the line's budget."""
        self._budget = BYTES_PER_STEP
        self.sampler.plan()
        block.oxygen = None if step % 5 else self._oxygen.read_u16() >> 4
        due = step % 10 == 0
        (block.rail, block.product_pressure, block.battery_voltage, block.ups_current,
         block.surge_peak) = [adc.read_u16() >> 4 if due and adc else None for adc in self._slow]
        block.ups_contact = self._contact.value() if due and self._contact else None

    def rtc(self):
        """Return the clock in whole seconds: Unix seconds, 0 ms, is it set."""
        year, month, day, _, hour, minute, second, _ = self._rtc.datetime()
        unix_s = int(time.mktime((year, month, day, hour, minute, second, 0, 0))) + EPOCH_S
        return unix_s, 0, unix_s >= WRITTEN_UNIX_S

    def rtc_set(self, unix_s, unix_ms):
        """Set the clock."""
        year, month, day, hour, minute, second, weekday, _ = time.gmtime(unix_s - EPOCH_S)[:8]
        self._rtc.datetime((year, month, day, weekday, hour, minute, second, 0))

    def lamp(self, index, on, at_ms=0):
        """Switch a lamp at a moment of the running step."""
        self.sampler.edge(index, 1 if on else 0, 0, at_ms)

    def sound(self, frequency_hz, level, at_ms=0):
        """Start a tone, or silence with level 0, at a moment of the running step."""
        self.sampler.edge(SOUND, frequency_hz, level, at_ms)

    def button(self, index):
        """Tell whether a button is down."""
        return self._buttons[index].value() == 0

    def uart_write(self, data):
        """Hand over what the line carries in a step; return how many bytes."""
        count = min(len(data), self._budget)
        if count == 0:
            return 0
        taken = self._uart.write(data[:count]) or 0
        self._budget -= taken
        return taken

    def uart_read(self):
        """Return the bytes that came in."""
        return self._uart.read() or b"" if self._uart.any() else b""

    def watchdog(self):
        """Feed the watchdog; the first time starts it."""
        if self._wdt is None:
            self._wdt = machine.WDT(timeout=pins.WATCHDOG_MS)
        self._wdt.feed()

    def reset_cause(self):
        """Return 0 power, 1 watchdog, 2 button, 3 software."""
        return self._cause

    def off_time_s(self):
        """Return None after a power cut: nothing on a plain board measures it."""
        return None if self._cause == 0 else 0

    def unique_id(self):
        """Return 26 bits of the board's own number."""
        number = 0
        for byte in machine.unique_id():
            number = (number * 31 + byte) & 0x3FFFFFF
        return number

    def random32(self):
        """Return 32 random bits."""
        data = os.urandom(4)
        return data[0] | data[1] << 8 | data[2] << 16 | data[3] << 24

    def program_sound(self):
        """Tell whether the program's files read as they were written, at power-up; None: nobody knows."""
        return self._program_sound

    def memory_free(self):
        """Return free bytes of the heap."""
        return gc.mem_free()

    def loop_us(self):
        """Return the longest step since the last time it was asked, in microseconds."""
        longest = self.loop_us_max
        self.loop_us_max = 0
        return longest

    def link_key(self):
        """Return the shared key of the link from its file, empty for none."""
        try:
            with open(pins.KEY_FILE, "rb") as file:
                return file.read().strip()
        except OSError:
            return b""

    def flash_wear(self):
        """Return the most erasures of any page."""
        return self._flash.worst_wear()
