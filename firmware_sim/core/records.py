"""Build the records that go up: what is gathered over a second or a breath becomes one entry of the ring."""

from array import array

from firmware_sim.contract import PRESSURE_BLOCK, inputs, values
from firmware_sim.contract import messages as m
from firmware_sim.kernels import steps

STEPS_A_SECOND = 10
# A record of inputs that stands alone comes once a minute, so that a lost one costs a minute at most.
WHOLE_EVERY = 60
SETTINGS_A_PART = 60
CAPTURE_CODES = 400
TEXT_MAX = 200


def bounded(value, low, high):
    """Return a value held between low and high, None as None."""
    if value is None:
        return None
    return low if value < low else high if value > high else value


class Records:
    """Put records into the ring; `tick` is the end of the step in hand, in ms, wrapping at 2^32."""

    def __init__(self, ring, kernels):
        self.ring = ring
        self.steps_record = kernels.steps_record
        self.tick = 0
        self.wave = array("h", [0] * (PRESSURE_BLOCK * STEPS_A_SECOND))
        self.changes = array("h", [0] * (inputs.STEP_MAX * STEPS_A_SECOND))
        self.in_hand = array("i", [0] * steps.RECORD_WORDS)
        self.since_whole = WHOLE_EVERY
        self.seen = array("i", [0] * values.COUNT)
        self._begin()

    def put(self, kind, fields, tail=None):
        """Encode one record and store it."""
        self.ring.put(kind, self.tick, m.encode(kind, fields, tail))

    def step(self, now, samples):
        """Take what the engine saw in this step and ten samples of pressure in 0.01 cmH2O.

        Ten steps make a record of each; steps in which nothing is found are taken by their own kernel.
        """
        in_hand = self.in_hand
        self.steps_record(now, samples, self.seen, inputs.GROWTH, self.changes, self.wave, in_hand)
        if in_hand[steps.STEPS] == STEPS_A_SECOND:
            whole = 1 if self.since_whole == 0 else 0
            self.put(m.INPUTS, (STEPS_A_SECOND, whole), list(self.changes[:in_hand[steps.CODED]]))
            # Every processor this runs on stores the low byte first, as the wire does.
            self.ring.put(m.PRESSURE_WAVE, self.tick, bytes(self.wave))
            self.since_whole += 1
            self._begin()

    def _begin(self):
        self.in_hand[steps.CODED] = 0
        self.in_hand[steps.STEPS] = 0
        if self.since_whole >= WHOLE_EVERY:
            inputs.start(self.seen)
            self.since_whole = 0

    def settings(self, version, digest, numbers):
        """Send the settings in force, in parts."""
        parts = (len(numbers) + SETTINGS_A_PART - 1) // SETTINGS_A_PART
        for part in range(parts):
            first = part * SETTINGS_A_PART
            some = numbers[first:first + SETTINGS_A_PART]
            self.put(m.SETTINGS, (version, digest, part, parts, first), some)

    def capture(self, capture_id, event_id, kind, tap, start, gain, offset, codes):
        """Send a captured wave in parts; `start` is (tick ms, microseconds) of the first code.

        Each part carries the start of its own first code.
        """
        parts = (len(codes) + CAPTURE_CODES - 1) // CAPTURE_CODES
        for part in range(parts):
            first = part * CAPTURE_CODES
            # 3.2 kS/s: a code lasts 312.5 us.
            micros = start[1] + first * 625 // 2
            tick = (start[0] + micros // 1000) & 0xFFFFFFFF
            self.put(
                m.CAPTURE,
                (capture_id, event_id, kind, tap, part, parts, tick, micros % 1000, gain, offset),
                codes[first:first + CAPTURE_CODES])

    def calibration(self, channel, row, in_force):
        """Send where the gain and offset of a channel come from (core.calibration_store.Row)."""
        self.put(m.CALIBRATION, (channel, 1 if in_force else 0, row.gain, row.offset, row.day, row.points,
                                 row.gain_u, row.offset_u), row.reference)

    def log(self, code, first=0, second=0, text=""):
        """Send a log entry."""
        self.put(m.LOG, (code, first, second), text.encode()[:TEXT_MAX])

    def command_result(self, command_seq, command, result, detail=0, text=""):
        """Answer a command."""
        self.put(m.COMMAND_RESULT, (command_seq, command, result, detail), text.encode()[:TEXT_MAX])
