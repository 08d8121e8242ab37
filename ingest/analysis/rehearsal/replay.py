"""Step the engine over a recording: the module's own class and kernel, with settings of one's choice."""

from array import array
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from firmware_sim.contract import inputs, values
from firmware_sim.contract.engine import Engine, compile_table
from firmware_sim.kernels import alarms as k
from ingest.analysis.rehearsal.recording import STEP_MS, Act, Recording, Transition
from ingest.errors import UserError

Kernels = Any
Settings = Sequence[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tape:
    """Hold a recording with its inputs decoded, `values.COUNT` integers a step; decode once, run often."""

    recording: Recording
    blocks: tuple["array[int]", ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """Hold what the engine did: transitions, and (tick, sounding priority, shown priority) at each."""

    recording: Recording
    transitions: tuple[Transition, ...]
    sounds: tuple[tuple[int, int, int], ...]
    end_tick: int


def load_tape(recording: Recording, kernels: Kernels) -> Tape:
    """Decode a recording's inputs; raise UserError when they are damaged."""
    growth = inputs.GROWTH
    blocks = []
    for stretch in recording.stretches:
        now = array("i", [0] * values.COUNT)
        inputs.start(now)
        block = array("i", [0]) * (values.COUNT * stretch.steps)
        data = array("h", np.frombuffer(stretch.codes, np.uint8).astype(np.int16).tobytes())
        if kernels.inputs_steps(data, 0, stretch.steps, growth, now, block) != len(data):
            raise UserError(
                f"The alarm inputs of boot {recording.boot} are damaged from step {stretch.first_step} on; "
                "run `nightkeel verify` on the store."
            )
        blocks.append(block)
    return Tape(recording=recording, blocks=tuple(blocks))


def replay(tape: Tape, kernels: Kernels, change: Callable[[Settings], Settings] = tuple) -> Replay:
    """Run the engine over a tape; `change` turns each set of settings in force into the one to try.

    Buttons and commands are pressed again at their steps. Over a hole the engine stands still and then finds
    its place in time: what holds on both sides counts as having held; presses inside are left out.
    """
    return _Run(tape, kernels, change).whole()


class _Run:
    def __init__(self, tape: Tape, kernels: Kernels, change: Callable[[Settings], Settings]) -> None:
        self.tape, self.change = tape, change
        self.engine = Engine(compile_table(change(tape.recording.settings)), kernels.alarm_steps)
        self.transitions: list[Transition] = []
        self.sounds: list[tuple[int, int, int]] = []

    def whole(self) -> Replay:
        recording = self.tape.recording
        acts = list(recording.acts)
        for stretch, block in zip(recording.stretches, self.tape.blocks, strict=True):
            first, end = stretch.first_step, stretch.first_step + stretch.steps
            while acts and acts[0].step < first:
                self._act(acts.pop(0), presses=False)
            if first == 0:
                self.engine.restore(recording.restored)
            self.engine.state[k.G_NOW] = first
            self.engine.state[k.G_DEADLINE] = 0
            while acts and acts[0].step < end:
                self._steps(block, first, acts[0].step)
                self._act(acts.pop(0))
            self._steps(block, first, end)
        last = recording.stretches[-1] if recording.stretches else None
        return Replay(
            recording=recording,
            transitions=tuple(self.transitions),
            sounds=tuple(self.sounds),
            end_tick=0 if last is None else (last.first_step + last.steps) * STEP_MS,
        )

    def _act(self, act: Act, presses: bool = True) -> None:
        if act.settings is not None:
            self.engine.set_table(compile_table(self.change(act.settings)))
        elif presses and act.row is None:
            self.engine.pause(act.from_page)
        elif presses:
            self.engine.acknowledge(act.row, act.from_page)

    def _steps(self, block: "array[int]", first: int, upto: int) -> None:
        """Run from where the engine is up to a step."""
        engine, state = self.engine, self.engine.state
        while (now := state[k.G_NOW]) < upto:
            engine.run(block, now - first, upto - now)
            if state[k.G_OUT]:
                self._take(state[k.G_NOW] * STEP_MS)

    def _take(self, tick: int) -> None:
        engine = self.engine
        for index in range(engine.state[k.G_OUT]):
            row, code, priority, flags, value, limit, cause = engine.transition(index)
            self.transitions.append(
                Transition(
                    tick=tick, row=row, transition=code, priority=priority, flags=flags, value=value,
                    limit=limit, cause=cause,
                )
            )  # fmt: skip
        engine.clear()
        if self.sounds and self.sounds[-1][0] > tick:
            self.sounds.pop()
        self.sounds.append((tick, engine.sound(), engine.lamp()))
        end = self._reminder_end()
        if end is not None:
            self.sounds.append((end * STEP_MS, 0, engine.lamp()))

    def _reminder_end(self) -> int | None:
        """Return the step at which sound ends by itself: when only reminders of silenced rows are heard."""
        engine, state = self.engine, self.engine.state
        rows = [row for row in engine.standing() if k.alarm_sounds(row, engine.table, state)]
        if not rows or not all(engine.acknowledged(row) for row in rows):
            return None
        return max(int(state[k.G_SIZE + row * k.S_SIZE + k.S_REMIND_UNTIL]) for row in rows)
