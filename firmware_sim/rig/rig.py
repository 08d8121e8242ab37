"""World, board and firmware wired together, in virtual time: as fast as it goes, the same at any pace."""

import dataclasses
from collections.abc import Callable

from firmware_sim.board.board import (
    BROWN_OUT_MV,
    CAUSE_BUTTON,
    CAUSE_POWER,
    CAUSE_WATCHDOG,
    Board,
)
from firmware_sim.board.clock import RealTimeClock
from firmware_sim.board.converter import SLOW_STEPS, Converter
from firmware_sim.board.faults import CHANNEL_OF
from firmware_sim.board.flash import PowerCut
from firmware_sim.board.profiles import PROFILES
from firmware_sim.contract import STEP_MS
from firmware_sim.contract.errors import UserError
from firmware_sim.rig import runtimes
from firmware_sim.rig.actors import Actors
from firmware_sim.rig.persons import Persons
from firmware_sim.rig.runtimes import Edge, Runtime
from firmware_sim.scenarios import start_utc
from firmware_sim.world.plant import Lines, Plant
from firmware_sim.world.scenario import Event, Scenario

# Steps that the plant runs ahead; nothing that the module does reaches the plant.
AHEAD_STEPS = 300
# ... where nobody reaches in from outside: what happens by itself is known beforehand.
ALONE_STEPS = 1200
# A crystal without compensation (common practice).
CLOCK_DRIFT_PPM = 12

Trace = Callable[[int, list[Edge]], None]
Watch = Callable[[int], None]


class Rig:
    """Play a scenario on an emulated board.

    `run(steps)` returns what the module sent in that time; `send(data)` puts the host's bytes on the line.
    `step` counts 100 ms steps since the scenario's start. `fitted` names optional channels beside the
    scenario's. `trace` is called with the step and the edges of lamps and sounder (see
    `ports/bridge/hal.py`); `watch`, which may be set later, with each step once it is over, dark ones too.
    """

    def __init__(
        self,
        scenario: Scenario,
        seed: int | None = None,
        *,
        profile: str = "large",
        runtime: Runtime | str = "cpython",
        key: bytes = b"",
        fitted: tuple[str, ...] = (),
        start_utc_ms: int | None = None,
        ahead_steps: int = AHEAD_STEPS,
        trace: Trace | None = None,
    ) -> None:
        if profile not in PROFILES:
            raise UserError(f"There is no board profile '{profile}'; choose {' or '.join(PROFILES)}.")
        self.scenario = scenario
        self.plant = Plant(scenario, seed)
        self.runtime = runtimes.make(runtime) if isinstance(runtime, str) else runtime
        self.start_utc_ms = (
            round(start_utc(scenario).timestamp() * 1000) if start_utc_ms is None else start_utc_ms
        )
        clock = RealTimeClock(self.start_utc_ms, CLOCK_DRIFT_PPM)
        has = frozenset(CHANNEL_OF[name] for name in (*scenario.fitted, *fitted))
        converter = Converter(self.plant.seed & 0x7FFFFFFF, has)
        self.board = Board(PROFILES[profile], self.plant.seed & 0x7FFFFFFF, clock, converter, key)
        self.persons = Persons(key, self.board.send, lambda: self.now_ms() // 1000)
        self.actors = Actors(self)
        self.ahead_steps = ahead_steps
        self.trace = trace
        self.watch: Watch | None = None
        self.step = 0
        self.lines: Lines | None = None
        self.rails: list[int] = []
        self.bright = False
        self.first = 0
        self.converted = 0
        self.dark_until = 0
        self.host_is_on = True
        self.host_clock_offset_s = 0.0
        self.resets = 0
        # Step of each power-up: the true time of a record is that of its boot's step plus its tick.
        self.boot_steps: list[int] = []

    def run(self, steps: int) -> bytes:
        """Play `steps` steps of 100 ms and return the bytes that reached the host."""
        out = bytearray()
        end = self.step + steps
        while self.step < end:
            if self.step >= self.actors.next_step:
                self.actors.play()
            if self.step >= self.first + len(self.rails):
                self._look_ahead()
            elif self.step >= self.converted:
                self._convert()
            upto = min(end, self.converted, self.actors.next_step)
            while self.step < upto:
                self._go_on(upto, out)
                if self.watch is not None:
                    self.watch(self.step - 1)
        return bytes(out)

    def skip(self, steps: int) -> None:
        """Let the plant run on with the module dark; what persons set up meanwhile is told at power-up."""
        while steps > 0:
            part = min(steps, AHEAD_STEPS)
            self.plant.advance(part)
            self.step += part
            steps -= part
        self.first, self.rails, self.converted = self.step, [], self.step
        self.actors.catch_up()

    def send(self, data: bytes) -> None:
        """Put bytes from the host on the line."""
        if data and self.host_is_on and self.board.plugged:
            self.persons.watch(data)
            self.board.send(data)

    def inject(self, event: Event) -> None:
        """Let one more thing happen, as soon as it can."""
        self.plant.inject(event)
        self.actors.add(event)

    def stop(self) -> None:
        """End the firmware."""
        self.runtime.stop()

    def now_ms(self) -> int:
        """Return true UTC in ms."""
        return self.start_utc_ms + self.step * STEP_MS

    def host_ms(self) -> int:
        """Return what the host's clock believes UTC to be, in ms."""
        return self.now_ms() + round(self.host_clock_offset_s * 1000)

    def _look_ahead(self) -> None:
        self.lines = self.plant.advance(self.ahead_steps)
        self.first = self.step
        self.rails = self.lines.rail_mv.tolist()
        self.bright = min(self.rails) >= BROWN_OUT_MV
        self.converted = self.first
        self._convert()

    def _convert(self) -> None:
        """Convert up to the next moment at which a person or a fault may touch the converter."""
        assert self.lines is not None
        upto = min(self.first + len(self.rails), max(self.actors.next_step, self.step + 1))
        self.board.converter.run(cut(self.lines, self.step - self.first, upto - self.first), self.step)
        self.converted = upto

    def touch_converter(self) -> None:
        """Convert anew from here on: something changes at the converter's input."""
        self.converted = min(self.converted, self.step)

    def _go_on(self, upto: int, out: bytearray) -> None:
        """Play one step, or the several that the firmware takes together."""
        board, runtime, step = self.board, self.runtime, self.step
        if self.rails[step - self.first] < BROWN_OUT_MV or step < self.dark_until:
            if board.alive:
                self._lose_power()
            self.step = step + 1
            return
        steps = self._together(upto)
        if not board.alive:
            self._begin(CAUSE_POWER)
        board.converter.fill(board.block, step - board.converter.first_step, steps)
        self.step = step + 1
        if board.hung:
            runtime.forget()
        else:
            try:
                runtime.step(board.inputs(step), board.block)
            except PowerCut:
                self.actors.torn()
                return
            self.step = step + runtime.taken
        if runtime.up:
            if self.persons.hello is None or self.persons.key:
                self.persons.heard(runtime.up)
            if board.plugged and self.host_is_on:
                out += runtime.up
        if self.trace is not None and runtime.edges:
            self.trace(step, runtime.edges)
        if runtime.clock_set is not None:
            unix_s, unix_ms = runtime.clock_set
            board.clock.write(step * STEP_MS, unix_s * 1000 + unix_ms)
        if runtime.fed:
            board.hungry = 0
        elif board.is_starved():
            self.restart(CAUSE_WATCHDOG)

    def _together(self, upto: int) -> int:
        """Return how many steps the firmware may take at once: nothing else that it sees changes in them."""
        step, board = self.step, self.board
        if not (self.runtime.together and self.bright and board.is_left_alone(step)):
            return 1
        if self.trace is not None or self.watch is not None:
            return 1
        steps = min(upto - step, SLOW_STEPS - step % SLOW_STEPS)
        return steps if board.clock.is_even(step * STEP_MS, (step + steps - 1) * STEP_MS) else 1

    def _begin(self, cause: int) -> None:
        self.boot_steps.append(self.step)
        self.runtime.start(self.board.boot(self.step, cause), self.board.flash)

    def _lose_power(self) -> None:
        self.runtime.stop()
        self.board.die(self.step)
        self.persons.begin_life()

    def cut_power(self, steps: int) -> None:
        """Take the module's power away for some steps."""
        if self.board.alive:
            self._lose_power()
        self.dark_until = self.step + steps

    def restart(self, cause: int = CAUSE_BUTTON) -> None:
        """Reset the module; flash and clock stay."""
        if self.board.alive:
            self._lose_power()
            self.resets += 1
            self._begin(cause)


def cut(lines: Lines, first: int, upto: int) -> Lines:
    """Return the part of a run of lines from step `first` up to `upto`."""
    if first == 0 and upto == lines.blocks:
        return lines
    parts = {}
    for field in dataclasses.fields(lines)[2:]:
        line = getattr(lines, field.name)
        width = len(line) // lines.blocks
        parts[field.name] = line[first * width : upto * width]
    return Lines(first_tick_ms=lines.first_tick_ms + first * STEP_MS, blocks=upto - first, **parts)
