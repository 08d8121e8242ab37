"""Play a rig against the wall clock, its line at a far end. The only place that looks at the time."""

import time
from collections.abc import Callable

from firmware_sim.contract import STEP_MS
from firmware_sim.rig.ends import End
from firmware_sim.rig.rig import Rig

STEP_S = STEP_MS / 1000
# Without pacing, so many steps between two looks at the line.
STEPS_AT_MOST = 10
# When the machine was busy or asleep for longer, the clock is set anew instead of hurrying after it.
LATE_S = 2.0


class Paced:
    """Run a rig; `speed` 1 is real time, None as fast as it goes. `loop_us` is the longest step of late."""

    def __init__(self, rig: Rig, end: End, speed: float | None) -> None:
        self.rig, self.end, self.speed = rig, end, speed
        self._start_s = 0.0
        self._start_step = 0

    def run(
        self,
        steps: int | None = None,
        stopped: Callable[[], bool] = lambda: False,
        between: Callable[[], None] = lambda: None,
    ) -> None:
        """Play `steps` steps (None: for ever), or until `stopped()` says so; `between` runs between steps."""
        rig = self.rig
        last = None if steps is None else rig.step + steps
        self._start_s, self._start_step = time.monotonic(), rig.step
        while not stopped() and (last is None or rig.step < last):
            due = STEPS_AT_MOST if self.speed is None else self._wait()
            due = min(due, STEPS_AT_MOST)
            if last is not None:
                due = min(due, last - rig.step)
            between()
            data = self.end.read()
            if data:
                rig.send(data)
            began = time.monotonic()
            up = rig.run(due)
            rig.board.loop_us = round((time.monotonic() - began) / max(due, 1) * 1e6)
            if up:
                self.end.write(up, wait=self.speed is None or self.speed > 1)

    def _wait(self) -> int:
        """Sleep until the next step is due; return how many are."""
        assert self.speed is not None
        while True:
            gone = (time.monotonic() - self._start_s) * self.speed / STEP_S - (
                self.rig.step - self._start_step
            )
            if gone > LATE_S * self.speed / STEP_S + STEPS_AT_MOST:
                self._start_s, self._start_step = time.monotonic(), self.rig.step
            if gone >= 1:
                return int(gone)
            time.sleep((1 - gone) * STEP_S / self.speed)
