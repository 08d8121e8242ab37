"""The hal of an emulated board: takes in one step's inputs, collects one step's outputs."""

PAGE = 4096

LAMP = 0
SOUND = 1


class StepHal:
    """What the firmware sees of an emulated board.

    The board calls `begin()` before each step and reads `up` (bytes sent), `edges` (tuples of LAMP, index,
    on, at_ms or SOUND, frequency_hz, level, at_ms), `clock_set` (None or Unix seconds and
    milliseconds) and `fed` (the watchdog) after it. `flash` has read, erase and write.
    """

    PAGE = PAGE
    emulated = True

    def __init__(self, flash, boot):
        """Take the flash and a tuple (profile, flash_pages, ring_bytes, memory_free, unique_id, cause,
        off_time_s or None, random_seed, key)."""
        self._flash = flash
        (self.profile, self.flash_pages, self.ring_bytes, self._memory_free, self._unique_id, self._cause,
         self._off_time_s, self._random, self._key) = boot
        self.flash_read = flash.read
        self.flash_erase = flash.erase
        self.flash_write = flash.write
        self._unix_s = 0
        self._unix_ms = 0
        self._is_set = False
        self._buttons = 0
        self._budget = 0
        self._down = b""
        self._loop_us = 0
        self.up = bytearray()
        self.edges = []
        self.clock_set = None
        self.fed = False

    def begin(self, unix_s, unix_ms, is_set, buttons, budget, down, loop_us):
        """Set the inputs of one step: `budget` in bytes, `buttons` a bit each, 4 for a damaged program."""
        self._unix_s = unix_s
        self._unix_ms = unix_ms
        self._is_set = is_set
        self._buttons = buttons
        self._budget = budget
        self._down = down
        self._loop_us = loop_us
        self.up = bytearray()
        self.edges = []
        self.clock_set = None
        self.fed = False

    def wait(self, steps):
        """Let the clock go on by some steps that the firmware took without looking around."""
        ms = self._unix_ms + 100 * steps
        self._unix_s += ms // 1000
        self._unix_ms = ms % 1000

    def rtc(self):
        """Return the clock: Unix seconds, milliseconds, is it set."""
        return self._unix_s, self._unix_ms, self._is_set

    def rtc_set(self, unix_s, unix_ms):
        """Set the clock."""
        self._unix_s = unix_s
        self._unix_ms = unix_ms
        self._is_set = True
        self.clock_set = (unix_s, unix_ms)

    def lamp(self, index, on, at_ms=0):
        """Switch a lamp at a moment of the coming step."""
        self.edges.append((LAMP, index, 1 if on else 0, at_ms))

    def sound(self, frequency_hz, level, at_ms=0):
        """Start a tone, or silence with level 0, at a moment of the coming step."""
        self.edges.append((SOUND, frequency_hz, level, at_ms))

    def button(self, index):
        """Tell whether a button is down."""
        return bool(self._buttons >> index & 1)

    def program_sound(self):
        """Tell whether the program's memory reads as it was written (an emulated fault says no)."""
        return not self._buttons & 4

    def uart_write(self, data):
        """Take what the line carries in this step; return how many bytes."""
        count = len(data)
        if count > self._budget:
            count = self._budget
            data = data[:count]
        self._budget -= count
        self.up += data
        return count

    def uart_read(self):
        """Return the bytes that came in."""
        data = self._down
        self._down = b""
        return data

    def watchdog(self):
        """Feed the watchdog."""
        self.fed = True

    def reset_cause(self):
        """Return 0 power, 1 watchdog, 2 button, 3 software."""
        return self._cause

    def off_time_s(self):
        """Return seconds without power, or None when nobody knows."""
        return self._off_time_s

    def unique_id(self):
        """Return the board's own number."""
        return self._unique_id

    def random32(self):
        """Return 32 random bits, the same in every run of one seed."""
        # xorshift32: Marsaglia, "Xorshift RNGs", Journal of Statistical Software 8(14), 2003.
        x = self._random
        x ^= x << 13 & 0xFFFFFFFF
        x ^= x >> 17
        x ^= x << 5 & 0xFFFFFFFF
        self._random = x
        return x

    def memory_free(self):
        """Return free bytes."""
        return self._memory_free

    def loop_us(self):
        """Return the longest step since the last time it was asked, in microseconds; 0 when not measured."""
        return self._loop_us

    def link_key(self):
        """Return the shared key of the link, empty for none."""
        return self._key

    def flash_wear(self):
        """Return the most erasures of any page."""
        return self._flash.worst_wear()
