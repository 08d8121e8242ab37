"""The supply side of the module: both taps each 100 ms, events, captures, state, second values.

Time stamps: an event starts where the first Urms(1/2) window beyond the threshold starts, and ends where
the first window back starts. Thresholds are per cent of the set nominal voltage.
"""

import array

from firmware_sim.contract.channels import SUPPLY_IN, SUPPLY_OUT
from firmware_sim.contract.settings import ID_OF
from firmware_sim.core.capture import (
    ASKED,
    BEFORE,
    EVENT,
    FREE,
    LENGTH,
    NUMBERS,
    SNAPSHOT,
    SNAPSHOT_CYCLES,
    WAITING,
    Capture,
)
from firmware_sim.core.supply_state import SupplyState
from firmware_sim.kernels import supply as words
from firmware_sim.kernels.steps import EVENTS, SECOND_ENDED, WHAT

STEPS_A_SECOND = 10
TOKENS_MAX = 60  # events in a burst
TOKEN_S = 3  # seconds until another may follow: 20 a minute
CAPTURE_S = 5  # seconds from capture to capture at least, in the mean
CAPTURE_TOKENS_MAX = 8
RESTLESS_S = 600
AT_BLOCK = words.AT_BLOCK
OUT_LOW = words.COMMON + words.TAP + words.LOW_SHARE
FLAG_CLIPPED = 1  # the extreme is 'at least' that much
FLAG_DOUBTED = 2  # the sensor of this tap wasn't believed: no event of the supply


class Supply:
    """Keep what `supply_block` works on, and look after what it finds; take and clear `records`.

    `step` after one or more blocks; then `supply.state` is new (SupplyState). Once a second ended:
    `in_rms`, `in_min`, `in_max`, `in_frequency` (mHz, None without crossings), `in_clipped`, the
    same for `out`, `groups_in`, `groups_out` (10/12-cycle rms), `flagged_in`, `flagged_out` (bit n: value n
    overlaps an event). `records`: fields of messages `supply_event`, oldest first. `captures`: full
    buffers; call `release()` on each when its records are in the ring. `runs`: (tap, tick, period, values) of
    the half cycles of a second, where `study.half_cycles` asks for them; clear it too.
    """

    def __init__(self, kernels, values):
        self.kernels = kernels
        self.ring = array.array("h", bytes(4 * words.RING))
        self.words = array.array("i", bytes(4 * words.STATE_WORDS))
        self.state = SupplyState(kernels)
        self.buffers = (Capture(), Capture())
        self.captures = []
        self.records = []
        self.tick_start = 0  # tick of the first sample of block 0
        self.events_suppressed = 0
        self.captures_missed = 0
        self.tokens = TOKENS_MAX
        self.capture_tokens = CAPTURE_TOKENS_MAX
        self.quiet = [False, False]
        self.doubted = [False, False]
        self.capture_next = 0
        self.runs = []
        self.runs_at = [0, 0]
        self.asked = False
        self.restless_s = 0
        self.dips = array.array("h", bytes(2 * 60))
        self.dip_minute = 0
        self.dips_hour = 0
        self.block = -1
        self.seconds = 0
        self.waiting = 0  # captures not yet full
        kernels.supply_reset(self.words, values[ID_OF["supply.nominal_frequency"]])
        self.configure(values)
        self._publish_second()

    def configure(self, values):
        """Take the settings in force (a list as in contract.settings), at start and after each change."""
        nominal = values[ID_OF["supply.nominal_voltage"]] * 100
        hertz = values[ID_OF["supply.nominal_frequency"]]
        self.kernels.supply_limits(
            self.words, nominal, hertz, values[ID_OF["study.dip"]], values[ID_OF["study.swell"]],
            values[ID_OF["study.interruption"]], values[ID_OF["study.hysteresis"]],
        )
        self.words[words.COMMON + words.GAIN] = values[ID_OF["calibration.supply_in_gain"]]
        self.words[words.COMMON + words.OFFSET] = values[ID_OF["calibration.supply_in_offset"]]
        self.words[words.COMMON + words.TAP + words.GAIN] = values[ID_OF["calibration.supply_out_gain"]]
        self.words[words.COMMON + words.TAP + words.OFFSET] = values[ID_OF["calibration.supply_out_offset"]]
        self.nominal = nominal
        self.snapshot_s = values[ID_OF["study.snapshot_interval"]] * 60
        self.run_taps = values[ID_OF["study.half_cycles"]]
        self.state.configure(
            nominal, hertz, values[ID_OF["supply.window_low"]], values[ID_OF["supply.window_high"]],
            values[ID_OF["supply.ups_class"]],
        )

    def step(self, steps):
        """Look after `steps` blocks that the kernel measured."""
        words_now = self.words
        what = self.state.run[WHAT]
        self.block = words_now[AT_BLOCK]
        if what & EVENTS:
            self._events()
        if self.waiting:
            self._capture_step()
        state = self.state
        state.step(steps)
        if what & SECOND_ENDED:
            changed = state.changed
            self._publish_second()
            state.second(self.ring, words_now)
            state.changed = state.changed or changed
            self._second()

    def is_alive(self, least):
        """Tell whether the output's lowest value in the newest block is so many 0.01 % of nominal."""
        return self.words[OUT_LOW] >= least

    def ask(self):
        """Ask for a snapshot now; False when no buffer is free."""
        return self._snapshot(ASKED)

    def doubt(self, tap_in, tap_out):
        """Say each second whether the sensors of the taps are doubted; then nothing is inferred from them."""
        self.doubted[0] = bool(tap_in)
        self.doubted[1] = bool(tap_out)
        for tap in range(2):
            at = words.COMMON + tap * words.TAP
            if self.doubted[tap] and self.words[at + words.EVENT_KIND]:
                self.words[at + words.EVENT_FLAGS] |= FLAG_DOUBTED
        self.state.doubt(self.doubted[0] or self.doubted[1])

    def restless(self):
        """Return 1 when the input had an event within the last 10 min."""
        return 1 if self.restless_s else 0

    # What the kernel left.

    def _publish_second(self):
        state = self.words
        tap = words.COMMON
        self.in_rms, self.in_min, self.in_max = self._extremes(tap)
        self.in_frequency = state[tap + words.FREQUENCY] or None
        self.in_clipped = state[tap + words.WAS_CLIPPED]
        self.groups_in, self.flagged_in = self._groups(tap)
        tap += words.TAP
        self.out_rms, self.out_min, self.out_max = self._extremes(tap)
        self.out_frequency = state[tap + words.FREQUENCY] or None
        self.out_clipped = state[tap + words.WAS_CLIPPED]
        self.groups_out, self.flagged_out = self._groups(tap)

    def _extremes(self, tap):
        state = self.words
        if state[tap + words.MAX] < state[tap + words.MIN] or self.block < STEPS_A_SECOND - 1:
            return None, None, None
        return state[tap + words.MEAN], state[tap + words.MIN], state[tap + words.MAX]

    def _groups(self, tap):
        count = self.words[tap + words.GROUPS]
        first = tap + words.GROUP_FIRST
        groups = self.words[first:first + count]
        flags = self.words[tap + words.GROUP_FLAGS]
        self.words[tap + words.GROUPS] = 0
        self.words[tap + words.GROUP_FLAGS] = 0
        return groups, flags

    # Events.

    def _events(self):
        for n in range(self.words[words.EVENT_COUNT]):
            self._event(words.EVENTS_AT + n * words.EVENT_WORDS)

    def _event(self, at):
        state = self.words
        tap = state[at + words.RECORD_TAP]
        if state[at + words.RECORD_PHASE] == 0:
            self._opened(at, tap)
        if not self.quiet[tap]:
            self.records.append(self._record(at))

    def _opened(self, at, tap):
        """Count an event that begins; beyond the tokens it leaves no records."""
        self.quiet[tap] = self.tokens == 0
        if self.quiet[tap]:
            self.events_suppressed += 1
        else:
            self.tokens -= 1
            self._capture_event(at)
        if tap == 0:
            self.restless_s = RESTLESS_S
            if self.words[at + words.RECORD_KIND] != 1:
                self.dips[self.dip_minute] += 1
                self.dips_hour += 1

    def _record(self, at):
        state = self.words
        start = self._ms(state[at + words.RECORD_START])
        first = state[at + words.RECORD_START_BLOCK] * 100 + start
        duration = 0
        closed = state[at + words.RECORD_PHASE] == 1
        if closed:
            blocks = state[at + words.RECORD_END_BLOCK] - state[at + words.RECORD_START_BLOCK]
            duration = blocks * 100 + self._ms(state[at + words.RECORD_END] - state[at + words.RECORD_START])
        tap = SUPPLY_OUT if state[at + words.RECORD_TAP] else SUPPLY_IN
        return (
            state[at + words.RECORD_ID], tap, state[at + words.RECORD_KIND], 1 if closed else 0,
            (self.tick_start + first) & 0xFFFFFFFF, duration, min(65534, state[at + words.RECORD_EXTREME]),
            state[at + words.RECORD_FLAGS] | (FLAG_DOUBTED if self.doubted[tap] else 0),
        )

    @staticmethod
    def _ms(position):
        """Turn 1/256 samples into whole milliseconds, rounded."""
        return (position * 5 + 2048) >> 12

    # Captures.

    def _free(self):
        for buffer in self.buffers:
            if buffer.state == FREE:
                return buffer
        return None

    def _capture_event(self, at):
        block = self.words[at + words.RECORD_START_BLOCK]
        for buffer in self.buffers:
            if buffer.state == WAITING and buffer.kind == EVENT and block - buffer.block < 5:
                return  # both taps are in that one
        buffer = self._free()
        if buffer is None or self.capture_tokens == 0:
            self.captures_missed += 1
            return
        self.capture_tokens -= 1
        self.capture_next = self.capture_next % 0xFFFF + 1  # 0: of no capture
        self.waiting += 1
        start = (self.words[at + words.RECORD_START] >> 8) - BEFORE
        buffer.ask(
            self.capture_next, self.words[at + words.RECORD_ID], EVENT, block, start, LENGTH,
        )

    def _snapshot(self, kind):
        buffer = self._free()
        if buffer is None:
            self.captures_missed += 1
            return False
        self.capture_next = self.capture_next % 0xFFFF + 1  # 0: of no capture
        tap = words.COMMON if self.words[words.COMMON + words.FREQUENCY] else words.COMMON + words.TAP
        count = (2 * SNAPSHOT_CYCLES * self.words[tap + words.HALF] >> 8) + 2
        self.waiting += 1
        buffer.ask(self.capture_next, None, kind, self.block + 1, 0, count)
        return True

    def _capture_step(self):
        for buffer in self.buffers:
            if buffer.state == WAITING and buffer.step(self.block, self.ring, self.words):
                self.waiting -= 1
                self._stamp(buffer)
                self.captures.append(buffer)

    def _stamp(self, buffer):
        """Give the capture the time of its first sample and the calibration in force."""
        us = buffer.start * 625 // 2
        buffer.start_tick = (self.tick_start + buffer.block * 100 + us // 1000) & 0xFFFFFFFF
        buffer.start_us = us % 1000
        for tap in range(2):
            at = words.COMMON + tap * words.TAP
            buffer.gain[tap] = self.words[at + words.GAIN]
            buffer.offset[tap] = self.words[at + words.OFFSET]
            buffer.period_us[tap] = self.words[at + words.HALF] * 625 // 512

    def _second(self):
        """Refill tokens, take the snapshot that is due, and age what is counted by the second."""
        self.seconds += 1
        if self.seconds % TOKEN_S == 0 and self.tokens < TOKENS_MAX:
            self.tokens += 1
        if self.seconds % CAPTURE_S == 0 and self.capture_tokens < CAPTURE_TOKENS_MAX:
            self.capture_tokens += 1
        for tap in range(2):
            self._run(tap)
        if self.snapshot_s and self.seconds % self.snapshot_s == 0:
            self._snapshot(SNAPSHOT)
        if self.restless_s:
            self.restless_s -= 1
        if self.seconds % 60 == 0:
            self.dip_minute = (self.dip_minute + 1) % 60
            self.dips_hour -= self.dips[self.dip_minute]
            self.dips[self.dip_minute] = 0

    def _run(self, tap):
        """Take the half cycles of this second; what lies before a change of the setting is left out."""
        state = self.words
        at = words.COMMON + tap * words.TAP
        first = self.runs_at[tap]
        count = (state[at + words.HALF_AT] - first) % words.HALVES
        self.runs_at[tap] = state[at + words.HALF_AT]
        if tap >= self.run_taps or count == 0 or self.block < 2 * STEPS_A_SECOND:
            return
        values = words.HALVES_AT + tap * 2 * words.HALVES
        past = ((self.block + 1 & 0xFFFF) * words.BLOCK - state[values + words.HALVES + first]) & NUMBERS
        tick = (self.tick_start + (self.block + 1) * 100 - (past * 5 + 8) // 16) & 0xFFFFFFFF
        rms = [state[values + (first + n) % words.HALVES] for n in range(count)]
        self.runs.append((tap, tick, state[at + words.HALF] * 625 // 512, rms))
