"""A test bench: the emulated board with a generator on its inputs, a host on its line, eyes on its pins."""

from dataclasses import dataclass
from typing import Any

from firmware_sim.board import faults
from firmware_sim.contract import STEP_MS, alarms, commands
from firmware_sim.contract import messages as m
from firmware_sim.contract import settings as s
from firmware_sim.ports.bridge.hal import SOUND
from firmware_sim.rig.drill.listener import Listener
from firmware_sim.rig.drill.signals import Generator, Signals
from firmware_sim.rig.rig import Rig
from firmware_sim.rig.runtimes import Edge, Runtime
from firmware_sim.world.scenario import Scenario

# The host says it is there at least this often.
TALK_STEPS = 50
PAUSE, ACKNOWLEDGE = 0, 1
SETTLE_STEPS = 350
BENCH = Scenario(name="drill", title="Drill", description="A bench, nobody on it.", duration_s=86_400.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One alarm transition: true time in ms on the bench, row, transition, priority, flags."""

    at_ms: int
    row: int
    transition: str
    priority: int
    flags: int


class Bench:
    """Play signals on a fresh board and collect transitions, lamps and sound, times in ms of the bench."""

    def __init__(
        self, runtime: Runtime, changes: dict[str, int] | None = None, *, contact: bool = True
    ) -> None:
        # The small board: its memory is there at once, and the host listens all the time.
        self.rig = Rig(
            BENCH, runtime=runtime, profile="small", fitted=("product_pressure",), trace=self._trace
        )
        self.generator = Generator()
        self.rig.plant = self.generator  # type: ignore[assignment]
        self.rig.board.converter.contact_fitted = contact
        self.settings = s.defaults()
        for name, value in (changes or {}).items():
            self.settings[s.ID_OF[name]] = value
        self.seen: list[Seen] = []
        self.trends: list[tuple[int, dict[str, Any]]] = []
        self.lamps: list[tuple[int, int, bool]] = []
        self.sounds: list[tuple[int, int]] = []
        self.lit = [False] * 4
        self.talks = True
        self.listener = Listener()

    @property
    def signals(self) -> Signals:
        """Return what lies on the inputs."""
        return self.generator.signals

    @property
    def now_ms(self) -> int:
        """Return the time on the bench."""
        return self.rig.step * STEP_MS

    def start(self) -> "Bench":
        """Switch on, set up, and let the measurement settle."""
        self.run(5)
        usual = s.defaults()
        changed = [(row.id, self.settings[row.id]) for row in s.SETTINGS
                   if self.settings[row.id] != usual[row.id] and row.name not in s.OWN_COMMAND]  # fmt: skip
        if changed:
            self.tell(commands.SET_SETTINGS, (), changed)
        mode = self.settings[s.ID_OF["module.mode"]]
        if mode != usual[s.ID_OF["module.mode"]]:
            self.tell(commands.SET_MODE, (mode,))
        self.run(SETTLE_STEPS)
        return self

    def tell(self, command: int, fields: tuple[int, ...] = (), pairs: Any = ()) -> None:
        """Give a command as a person at the bed."""
        self.rig.persons.tell(command, commands.pack(command, fields, pairs))

    def put(self, **changes: float | str) -> None:
        """Change what lies on the inputs, from the next step on."""
        for name, value in changes.items():
            setattr(self.generator.signals, name, value)

    def fault(self, channel: str, condition: str, value: float = faults.LAST) -> None:
        """Break a sensor at the converter's input, or mend it with 'ok'."""
        faults.begin(self.rig.board.converter, channel, condition, value, self.rig.step)

    def press(self, button: int) -> None:
        """Press a button of the module."""
        self.rig.board.press(button, self.rig.step)

    def cut_power(self, steps: int) -> None:
        """Take the power away."""
        self.rig.cut_power(steps)
        self.run(steps)

    def run(self, steps: int) -> None:
        """Go on for some steps."""
        while steps > 0:
            part = min(steps, TALK_STEPS)
            self.rig.ahead_steps = part
            # What was looked ahead with the old signals is not used.
            self.rig.first, self.rig.rails, self.rig.converted = self.rig.step, [], self.rig.step
            self._hear(self.rig.run(part))
            steps -= part

    def _hear(self, data: bytes) -> None:
        for kind, tick, values in self.listener.feed(data):
            at_ms = self.rig.boot_steps[-1] * STEP_MS + tick
            if kind == m.ALARM:
                row, code, priority, flags = values[:4]
                transition = alarms.TRANSITIONS[code]
                self.seen.append(
                    Seen(at_ms=at_ms, row=row, transition=transition, priority=priority, flags=flags)
                )
            elif kind == m.TREND:
                self.trends.append((at_ms, dict(zip(m.field_names(m.TREND), values, strict=True))))
        if self.talks:
            self.rig.send(self.listener.answer())

    def _trace(self, step: int, edges: list[Edge]) -> None:
        for what, first, second, at_ms in edges:
            # The firmware hands over the edges of the coming step.
            time_ms = (step + 1) * STEP_MS + at_ms
            if what == SOUND:
                self.sounds.append((time_ms, second))
            else:
                self.lit[first] = bool(second)
                self.lamps.append((time_ms, first, bool(second)))

    # What was seen.

    def first(self, row: int, transition: str, since_ms: int) -> Seen | None:
        """Return the first such transition after a time, None when there was none."""
        for one in self.seen:
            if one.row == row and one.transition == transition and one.at_ms > since_ms:
                return one
        return None

    def stands(self, row: int) -> bool:
        """Tell whether a row stands, by its transitions in this life of the module."""
        since = self.rig.boot_steps[-1] * STEP_MS
        mine = [one.transition for one in self.seen if one.row == row and one.at_ms > since]
        ends = [one for one in mine if one in ("raised", "cleared", "restored")]
        return bool(ends) and ends[-1] != "cleared"

    def lamp_on(self, lamps: tuple[int, ...], from_ms: int, to_ms: int) -> bool:
        """Tell whether one of the lamps went on within a time, or was on all through it."""
        for lamp in lamps:
            before = [on for at, index, on in self.lamps if index == lamp and at <= from_ms]
            inside = [on for at, index, on in self.lamps if index == lamp and from_ms < at <= to_ms]
            if any(inside) or (not inside and before and before[-1]):
                return True
        return False

    def heard(self, from_ms: int, to_ms: int) -> bool:
        """Tell whether the sounder gave a tone within a time."""
        return any(level > 0 for at, level in self.sounds if from_ms < at <= to_ms)
