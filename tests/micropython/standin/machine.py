"""Stands in for a board's `machine` at the level of its documented calls, fed by the emulated board.

Standard input brings a packet each 100 ms of codes; `idle()` lets the timer fire once, with the heap locked,
so that a callback that allocates ends the run. Standard output answers each packet with what the pins did.
The serial line is a real pseudo-terminal, its descriptor in the environment.
"""

import os
import select
import struct
import sys
from array import array

import micropython

EMULATED = True
PWRON_RESET, HARD_RESET, WDT_RESET, DEEPSLEEP_RESET, SOFT_RESET = range(1, 6)
# Unix date and time (7 numbers of RTC.datetime), buttons, six slow codes by pin order below
PACKET = "<8HB6H"
SAMPLES = 320
SLOW_PINS = (4, 5, 6, 7, 8, 16)
LOG_MAX = 256
RESET_STATUS = 42

_packet = None
_samples = array("H", bytes(2 * (2 * SAMPLES + 10)))
_log = array("H", bytes(6 * LOG_MAX))
_state = array("i", [0, 0, 0, 0])  # sample, entries in the log, watchdog fed, packets read
_timers = []
_clock = []


def reset_cause():
    """Return why the board started."""
    return PWRON_RESET


def reset():
    """Start again: the process ends, and who holds it starts another."""
    sys.exit(RESET_STATUS)


def unique_id():
    """Return the board's number."""
    return b"\x01\x02\x03\x04\x05\x06"


def note(pin, value):
    """Log a pin's change: sample, pin, value."""
    at = 3 * _state[1]
    _log[at], _log[at + 1], _log[at + 2] = _state[0], pin, value
    _state[1] += 1


def idle():
    """Wait for an interrupt: the next tick of the timer."""
    if not _timers:
        return
    if _state[0] == 0:
        exchange()
    timer = _timers[0]
    micropython.heap_lock()
    try:
        timer.callback(timer)
    finally:
        micropython.heap_unlock()
    _state[0] = (_state[0] + 1) % SAMPLES


def exchange():
    """Answer the packet that is over, and take the next."""
    global _packet
    out = sys.stdout.buffer
    if _state[3]:
        out.write(struct.pack("<HBB", _state[1], _state[2], len(_clock)))
        out.write(bytes(_log)[:6 * _state[1]])
        for date in _clock:
            out.write(struct.pack("<8H", *date))
        del _clock[:]
        _state[1] = _state[2] = 0
        if hasattr(out, "flush"):
            out.flush()
    head = sys.stdin.buffer.read(struct.calcsize(PACKET))
    if not head:
        sys.exit(0)
    _packet = struct.unpack(PACKET, head)
    data = sys.stdin.buffer.read(2 * len(_samples))
    _samples[:] = array("H", data)
    _state[3] += 1


class Pin:
    """A pin; inputs read the packet's buttons."""

    IN, OUT, PULL_UP = 0, 1, 2

    def __init__(self, number, mode=-1, pull=-1, value=None):
        self.number = number

    def value(self, x=None):
        """Set or read the pin."""
        if x is not None:
            note(self.number, x)
            return None
        pressed = _packet[8] >> (0 if self.number == 9 else 1) & 1
        return 1 - pressed


class ADC:
    """A converter of 12 bits, read in 16."""

    def __init__(self, pin):
        self.number = pin.number

    def read_u16(self):
        """Return the code at this sample."""
        number, at = self.number, _state[0]
        if number < 3:
            return _samples[(number - 1) * SAMPLES + at] << 4
        if number == 3:
            return _samples[2 * SAMPLES + at // 32] << 4
        return _packet[9 + SLOW_PINS.index(number)] << 4


class PWM:
    """A pulse-width output."""

    def __init__(self, pin, freq=0, duty_u16=0):
        self.number = pin.number

    def freq(self, value):
        """Set the frequency."""
        note(100, value)

    def duty_u16(self, value):
        """Set the pulse width."""
        note(self.number, value)


class UART:
    """The serial line, on a pseudo-terminal."""

    def __init__(self, number, baudrate, tx=None, rx=None, txbuf=256, rxbuf=256):
        fd = int(os.getenv("STANDIN_PTY"))
        self.file = open(fd, "r+b")  # noqa: SIM115  (open as long as the board lives)
        self.poll = select.poll()
        self.poll.register(self.file, select.POLLIN)

    def any(self):
        """Tell whether bytes wait."""
        return 1 if self.poll.poll(0) else 0

    def read(self):
        """Return what waits."""
        return os_read(self.file)

    def write(self, data):
        """Send; return how many bytes were taken, None when the line's buffer is full."""
        try:
            return self.file.write(data)
        except OSError:
            return None


def os_read(file):
    """Read what there is at once."""
    buffer = bytearray(4096)
    count = file.readinto(buffer, 4096)
    return bytes(buffer[:count]) if count else None


class RTC:
    """The clock; what the firmware sets goes back in the answer."""

    def datetime(self, date=None):
        """Set or read (year, month, day, weekday, hour, minute, second, subsecond)."""
        if date is not None:
            _clock.append(date)
            return None
        return _packet[:8] if _packet else (2000, 1, 1, 5, 0, 0, 0, 0)


class WDT:
    """The watchdog."""

    def __init__(self, timeout):
        self.timeout = timeout

    def feed(self):
        """Feed it."""
        _state[2] = 1


class Timer:
    """A periodic timer."""

    PERIODIC = 1

    def __init__(self, number):
        self.callback = None

    def init(self, mode=1, freq=0, callback=None):
        """Start it."""
        assert freq == 3200
        self.callback = callback
        _timers.append(self)
