"""Raw waveforms kept for the host: both taps around an event, or a few cycles at an interval."""

import array

from firmware_sim.kernels import supply as words

BEFORE = 640  # samples before an event: 0.2 s
LENGTH = 3200  # samples of an event capture: 1.0 s
SNAPSHOT_CYCLES = 10
SETTLE = 96  # samples after the last one until its window is closed
NUMBERS = 0x3FFFFF  # window ends are sample numbers modulo 2^22
HALF_CYCLES_MAX = 140

EVENT = 0  # as in contract.channels.CAPTURE_KINDS
SNAPSHOT = 1
ASKED = 2

FREE = 0
WAITING = 1
FULL = 2


class Capture:
    """One buffer: waits until its last sample is in the ring, then holds until released.

    `codes` are the raw converter codes of each tap ('h', the first `count` count), `rms` the Urms(1/2)
    values (0.01 V) of the windows that end inside, `rms_count` of them each; `rms_first` is the sample at
    which the first window ends, `period_us` the distance of two. `start_tick` (ms) and `start_us` are the
    time of the first sample, `gain` (16384 is one) and `offset` (codes) the calibration in force by tap.
    """

    def __init__(self):
        self.state = FREE
        self.capture_id = 0
        self.event_id = None
        self.kind = EVENT
        self.block = 0
        self.start = 0
        self.count = 0
        self.codes = tuple([array.array("h", bytes(2 * LENGTH)) for _ in range(2)])
        self.rms = tuple([array.array("i", bytes(4 * HALF_CYCLES_MAX)) for _ in range(2)])
        self.rms_count = [0, 0]
        self.rms_first = [0, 0]
        self.start_tick = 0
        self.start_us = 0
        self.gain = [16384, 16384]
        self.offset = [0, 0]
        self.period_us = [10000, 10000]

    def ask(self, capture_id, event_id, kind, block, start, count):
        """Wait for `count` samples from `start` samples after the beginning of block `block`."""
        self.state = WAITING
        self.capture_id = capture_id
        self.event_id = event_id
        self.kind = kind
        self.block = block + start // words.BLOCK
        self.start = start % words.BLOCK
        self.count = count

    def step(self, block, ring, state):
        """Copy from the ring once block `block` brought the last sample; return True then."""
        if (block - self.block + 1) * words.BLOCK < self.start + self.count + SETTLE:
            return False
        for tap in range(2):
            self._copy(tap, ring)
            self._half_cycles(tap, state)
        self.state = FULL
        return True

    def release(self):
        """Free the buffer: the records made of it are in the ring of records."""
        self.state = FREE

    def _copy(self, tap, ring):
        size = words.SLOTS * words.BLOCK
        base = tap * words.RING + words.GUARD
        at = (self.block % words.SLOTS) * words.BLOCK + self.start
        codes = self.codes[tap]
        for n in range(self.count):
            codes[n] = ring[base + at]
            at += 1
            if at == size:
                at = 0

    def _half_cycles(self, tap, state):
        at = state[words.COMMON + tap * words.TAP + words.HALF_AT]
        values = words.HALVES_AT + tap * 2 * words.HALVES
        ends = values + words.HALVES
        first = (self.block & 0xFFFF) * words.BLOCK + self.start
        count = 0
        for n in range(words.HALVES):
            index = (at + n) % words.HALVES
            inside = (state[ends + index] - first) & NUMBERS
            if inside < self.count and state[values + index] >= 0 and count < HALF_CYCLES_MAX:
                if count == 0:
                    self.rms_first[tap] = inside
                self.rms[tap][count] = state[values + index]
                count += 1
        self.rms_count[tap] = count
