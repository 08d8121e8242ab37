"""Lamps, sounder and buttons: what the engine says becomes edges within the coming 100 ms.

Lamps within IEC 60601-1-8, Table 2: high red 2 Hz, medium yellow 0.5 Hz, both 40 % on; low cyan steady. The
indicator shows the highest priority that stands, acknowledged or not; a fourth lamp shows a paused sound.
"""

from firmware_sim.core.sounder import Sounder
from firmware_sim.kernels.alarms import HIGH, LOW, MEDIUM

LAMP_HIGH, LAMP_MEDIUM, LAMP_LOW, LAMP_PAUSED = 0, 1, 2, 3
BUTTON_PAUSE, BUTTON_ACKNOWLEDGE = 0, 1
# In this order: a board's dictionaries keep none, and edges must be equal everywhere.
LAMP_OF = ((HIGH, LAMP_HIGH), (MEDIUM, LAMP_MEDIUM), (LOW, LAMP_LOW))
# Priority: (period, on) in steps of 100 ms; a period of 1 is steady.
FLASH = {HIGH: (5, 2), MEDIUM: (20, 8), LOW: (1, 1)}
# A button that is down for so many steps is stuck, or something lies on it.
STUCK_STEPS = 300
# Power-up test: all lamps, and one pulse, for so many steps.
TEST_STEPS = 20


class Buttons:
    """Two buttons, debounced: a change counts when two readings 100 ms apart agree.

    `down`: for how many steps each has been down; `stuck`: one of them for 30 s.
    """

    def __init__(self, hal):
        self.hal = hal
        self.read = [False, False]
        self.held = [False, False]
        self.down = [0, 0]
        self.resting = True
        self.stuck = False
        self.since_press = None

    def wait(self, steps):
        """Let some steps pass in which nobody presses."""
        if self.since_press is not None:
            self.since_press += steps

    def step(self):
        """Read both buttons; return the bits of those newly pressed (1 pause, 2 acknowledge)."""
        self.wait(1)
        hal = self.hal
        if self.resting and not (hal.button(BUTTON_PAUSE) or hal.button(BUTTON_ACKNOWLEDGE)):
            return 0
        pressed = 0
        for index in (BUTTON_PAUSE, BUTTON_ACKNOWLEDGE):
            now = bool(hal.button(index))
            self.down[index] = self.down[index] + 1 if now else 0
            if now == self.read[index] and now != self.held[index]:
                self.held[index] = now
                if now:
                    pressed |= 1 << index
                    self.since_press = 0
            self.read[index] = now
        self.resting = not (any(self.read) or any(self.held))
        self.stuck = max(self.down) >= STUCK_STEPS
        return pressed


class Annunciator:
    """Drive lamps and sounder from an Engine, `step()` after the engine's."""

    def __init__(self, hal, engine):
        self.hal = hal
        self.engine = engine
        self.sounder = Sounder(hal)
        self.lit = [False, False, False, False]
        # (lamp, paused, sound, serial) of the engine in the step before.
        self.wanted = (0, False, 0, 0)
        self.shown = 0
        self.phase = 0
        self.test_left = 0

    def start_test(self):
        """Begin the test of all lamps and the sounder (power-up, or asked for)."""
        self.test_left = TEST_STEPS
        self.sounder.start_test()

    def is_testing(self):
        """Tell whether the test still runs."""
        return self.test_left > 0

    def step(self, steps=1):
        """Give the hal the edges of some steps; in all but the last the engine wanted what it had wanted."""
        engine = self.engine
        testing = self.test_left
        if testing:
            self._step_test()
        else:
            for _ in range(steps - 1):
                self._signal()
        self.wanted = (engine.lamp(), engine.pause_left() > 0, engine.sound(), engine.sound_serial())
        if not testing:
            self._signal()

    def _signal(self):
        lamp, paused, sound, serial = self.wanted
        if lamp or self.shown or self.sounder.priority or self.lit[LAMP_PAUSED]:
            self._lamps(lamp, paused)
            self.sounder.step(sound, serial, lamp == 0)

    def _step_test(self):
        self.test_left -= 1
        on = self.test_left > 0
        for index in range(4):
            if on != self.lit[index]:
                self._light(index, on)
        self.sounder.step_test()
        if self.test_left:
            return
        # Whatever stands begins its own burst now.
        self.sounder.serial = -1
        self.shown = 0

    def _lamps(self, priority, paused):
        if priority != self.shown:
            self.shown = priority
            self.phase = 0
        lit = self.lit
        for each, lamp in LAMP_OF:
            on = False
            if each == priority:
                period, bright = FLASH[each]
                on = self.phase % period < bright
            if on != lit[lamp]:
                self._light(lamp, on)
        self.phase += 1
        if paused != lit[LAMP_PAUSED]:
            self._light(LAMP_PAUSED, paused)

    def _light(self, index, on):
        self.lit[index] = on
        self.hal.lamp(index, on, 0)
