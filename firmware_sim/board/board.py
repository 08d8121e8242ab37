"""The emulated microcontroller's devices and its power: what a life of the firmware starts from."""

from firmware_sim.board.clock import RealTimeClock
from firmware_sim.board.converter import Converter
from firmware_sim.board.flash import Flash
from firmware_sim.board.profiles import BYTES_PER_STEP, Profile
from firmware_sim.contract import STEP_MS
from firmware_sim.core.block import Block

CAUSE_POWER, CAUSE_WATCHDOG, CAUSE_BUTTON, CAUSE_SOFTWARE = range(4)
# The reset line holds the board down below this rail; the parts are specified from 3.0 V.
BROWN_OUT_MV = 2_900
WATCHDOG_STEPS = 20


class Board:
    """Hold flash, clock, converter, line and buttons; say when the firmware lives and how it woke.

    Steps count from the board's making, 100 ms each. `key`: shared key of the link, empty for none.
    """

    def __init__(
        self,
        profile: Profile,
        seed: int,
        clock: RealTimeClock,
        converter: Converter,
        key: bytes = b"",
        flash: Flash | None = None,
    ) -> None:
        self.profile = profile
        self.seed = seed
        self.clock = clock
        self.converter = converter
        self.key = key
        self.flash = flash or Flash(profile.flash_pages)
        self.block = Block()
        self.unique_id = (seed * 2_654_435_761 + 97) & 0x7FFFFFFF
        self.alive = False
        self.lives = 0
        self.off_since_ms: int | None = None
        self.hungry = 0
        self.hung = False
        self.buttons_until = [0, 0]
        self.program_sound = True
        self.plugged = True
        self.down = bytearray()
        self.loop_us = 0

    def press(self, index: int, step: int, steps: int = 3) -> None:
        """Hold a button down for some steps."""
        self.buttons_until[index] = step + steps

    def boot(self, step: int, cause: int) -> tuple[int, int, int, int, int, int, int | None, int, bytes]:
        """Begin a life; return what the runtime needs (see `ports/bridge/hal.py`)."""
        self.alive = True
        self.lives += 1
        self.hungry = 0
        self.hung = False
        off_time_s = self._off_time_s(step) if cause == CAUSE_POWER else 0
        profile = self.profile
        # The step too: a life that begins later in the scenario is another one, also in another process.
        seed = ((self.seed * 48_271 + self.lives * 69_621 + step * 16_807) & 0x7FFFFFFF) + 1
        return (
            profile.number,
            profile.flash_pages,
            profile.ring_bytes,
            profile.memory_free,
            self.unique_id,
            cause,
            off_time_s,
            seed,
            self.key,
        )

    def _off_time_s(self, step: int) -> int | None:
        """Return the seconds without power, rounded up, by the module's clock; None when it can't tell."""
        if self.off_since_ms is None or not self.clock.is_set:
            return None
        return max(0, (self.clock.read(step * STEP_MS) - self.off_since_ms + 999) // 1000)

    def die(self, step: int) -> None:
        """Lose power: memory and line are gone, flash and clock stay."""
        self.alive = False
        self.off_since_ms = self.clock.read(step * STEP_MS)
        self.down.clear()

    def inputs(self, step: int) -> tuple[int, int, bool, int, int, bytes, int]:
        """Return the inputs of one step (see `ports/bridge/hal.py`)."""
        now = self.clock.read(step * STEP_MS)
        first, second = self.buttons_until
        buttons = 0 if self.program_sound else 4
        if step < first:
            buttons |= 1
        if step < second:
            buttons |= 2
        down = b""
        if self.down:
            down = bytes(self.down[:BYTES_PER_STEP])
            del self.down[:BYTES_PER_STEP]
        return now // 1000, now % 1000, self.clock.is_set, buttons, BYTES_PER_STEP, down, self.loop_us

    def is_left_alone(self, step: int) -> bool:
        """Tell whether it lives, nobody presses or cuts a write, and this step takes all that was sent."""
        first, second = self.buttons_until
        calm = first <= step and second <= step and len(self.down) <= BYTES_PER_STEP
        return calm and self.alive and not self.hung and self.flash.left is None

    def send(self, data: bytes) -> None:
        """Put bytes on the line to the module; nothing arrives at a dead board."""
        if self.alive:
            self.down += data

    def unplug(self) -> None:
        """Pull the cable; what was on its way is lost."""
        self.plugged = False
        self.down.clear()

    def is_starved(self) -> bool:
        """Count a step in which nobody fed the watchdog; tell whether it resets the board now."""
        self.hungry += 1
        return self.hungry >= WATCHDOG_STEPS
