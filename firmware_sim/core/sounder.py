"""What the sounder plays: bursts of pulses as data, one cycle a priority, and the one who steps through it.

Within IEC 60601-1-8, Tables 3 and 4 (quoted and from memory; the tests hold each row). Levels go to a pulse
width of at most 1/8: a square of 50 % has only two harmonics within 15 dB of the fundamental, one of 1/8 has
five. A level of 255 is the full width; the ramp is the rise and fall of a pulse.
"""

from firmware_sim.kernels.alarms import HIGH, LOW, MEDIUM

DUTY_MAX_DIVISOR = 8
LEVEL_MAX = 255
RAMP = (51, 102, 153, 204, 255)

# Priority: (frequency Hz, pulse ms, ramp step ms, silent ms before each pulse, silent ms after the burst).
# High is 3 + 2 pulses, a pause, 3 + 2: spacings x, x, 2x + td, x, 500 ms, x, x, 2x + td, x.
BURSTS = {
    HIGH: (600, 125, 6, (0, 75, 75, 275, 75, 500, 75, 75, 275, 75), 3000),
    MEDIUM: (500, 180, 9, (0, 180, 180), 8000),
    LOW: (400, 180, 9, (0, 180), 20000),
}
TEST = (600, 180, 9, (400,), 60000)


def edges(burst):
    """Return ((ms, level), ...) of one cycle and the ms of the burst's end and of the cycle's end."""
    _, pulse, ramp, gaps, silence = burst
    out = []
    at = 0
    for gap in gaps:
        at += gap
        for index in range(len(RAMP)):
            out.append((at + index * ramp, RAMP[index]))
        for index in range(1, len(RAMP)):
            out.append((at + pulse - (len(RAMP) - index) * ramp, RAMP[len(RAMP) - 1 - index]))
        at += pulse
        out.append((at, 0))
    return tuple(out), at, at + silence


class Sounder:
    """Give the sounder's edges of each 100 ms step to `hal.sound(frequency_hz, level, at_ms)`."""

    def __init__(self, hal, step_ms=100):
        self.hal = hal
        self.step_ms = step_ms
        self.cycles = {priority: edges(burst) for priority, burst in BURSTS.items()}
        self.test_cycle = edges(TEST)
        self.priority = 0
        self.serial = 0
        self.at = 0
        self.next = 0
        self.loud = False

    def step(self, priority, serial, finish):
        """Play one step of the priority's cycle.

        A new `serial` or another priority starts a burst anew. With priority 0 the sound stops at once, but
        with `finish` (the condition ended by itself) a burst that was begun is played to its end.
        """
        if priority == 0 and self.priority:
            burst_end = self.cycles[self.priority][1]
            if not finish or self.at >= burst_end:
                self._silence()
                self.priority = 0
        elif priority != self.priority or serial != self.serial:
            self._silence()
            self.priority = priority
            self.at = 0
            self.next = 0
        self.serial = serial
        if self.priority:
            self._play(self.cycles[self.priority], BURSTS[self.priority][0])

    def start_test(self):
        """Begin the power-up pulse; play it by `step_test`."""
        self._silence()
        self.priority = 0
        self.at = 0
        self.next = 0

    def step_test(self):
        """Play one step of the power-up pulse."""
        self._play(self.test_cycle, TEST[0])

    def _play(self, cycle, frequency):
        points, _, length = cycle
        end = self.at + self.step_ms
        while self.next < len(points) and points[self.next][0] < end:
            level = points[self.next][1]
            self.hal.sound(frequency, level, points[self.next][0] - self.at)
            self.loud = level > 0
            self.next += 1
        self.at = end
        if self.at >= length:
            self.at = 0
            self.next = 0

    def _silence(self):
        if self.loud:
            self.hal.sound(0, 0, 0)
            self.loud = False
