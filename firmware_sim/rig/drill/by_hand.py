"""A drill on a real module: a person applies each stimulus, the answer is watched on the line."""

from collections.abc import Callable, Iterable
from typing import Any, Protocol

from firmware_sim.contract import alarms, digest, values
from firmware_sim.contract import messages as m
from firmware_sim.contract import settings as s
from firmware_sim.contract.errors import UserError
from firmware_sim.kernels import alarms as k
from firmware_sim.rig.drill.cases import CASES
from firmware_sim.rig.drill.listener import Listener
from firmware_sim.rig.drill.run import NOT_TRIED, Report, RowResult, digests, limits_of

# From the word 'now' to a person's hand.
REACTION_S = 3.0
HELLO_WAIT_S = 15.0
SETTINGS_WAIT_S = 4.0
POLL_S = 0.05


class Line(Protocol):
    """What the drill needs of an open port."""

    def read(self) -> bytes:
        """Return what has arrived, empty when nothing has."""

    def write(self, data: bytes) -> None:
        """Send."""


class ByHand:
    """Drill rows over a line; `clock` gives seconds that never jump, `ask(text)` returns an answer."""

    def __init__(
        self, line: Line, ask: Callable[[str], str], clock: Callable[[], float], wait: Callable[[float], None]
    ) -> None:
        self.line, self.ask, self.clock, self.wait = line, ask, clock, wait
        self.listener = Listener()

    def run(self, rows: Iterable[Any], done: Callable[[RowResult], None]) -> Report:
        """Drill the rows one by one; raise UserError when no module of this contract answers."""
        self._listen(HELLO_WAIT_S, lambda: self.listener.hello is not None)
        if self.listener.hello is None:
            raise UserError("No module answers on this line; check cable and port.")
        if self.listener.digest_differs():
            raise UserError("The module's tables are of another revision; install the same firmware first.")
        settings = self._settings()
        found = []
        for row in rows:
            found.append(self._row(row, settings))
            done(found[-1])
        return Report(
            rows=tuple(found),
            emulated=bool(self.listener.hello[6]),
            firmware_digest=digests()[0],
            settings_digest=f"{digest.settings_digest(settings):08x}",
            settings_named="in force on the module",
        )

    def _settings(self) -> list[int]:
        """Ask for the settings in force: it is by them that a row is told and timed."""
        self._listen(2.0, lambda: False)
        # A module obeys numbers above those it has seen; nobody here knows them.
        for seq in (1, 1_000, 1_000_000, 1_000_000_000):
            self.line.write(self.listener.ask_settings(seq))
            self._listen(SETTINGS_WAIT_S, lambda: len(self.listener.settings) == s.COUNT)
            if len(self.listener.settings) == s.COUNT:
                return [self.listener.settings[one] for one in range(s.COUNT)]
        raise UserError("The module does not tell its settings; stop what else uses this port, reset it.")

    def _row(self, row: Any, settings: list[int]) -> RowResult:
        result = RowResult(name=row.name, priority=alarms.PRIORITIES[row.priority])
        case = CASES[row.name]
        on_s, _ = limits_of(row, settings)
        result.on_delay_s = on_s
        result.lag_s, result.why = case.lag_s, case.why
        result.allowed_s = round(on_s + case.period_s + 0.2 + result.lag_s + REACTION_S, 1)
        said = self.ask(f"{instruction(row, settings)} Press Enter as you do it, or type s to leave it out: ")
        if said.strip():
            result.result = NOT_TRIED
            return result
        began = self.clock()
        raised = self._watch(row.id, k.RAISED, result.allowed_s + REACTION_S)
        result.measured_s = None if raised is None else round(raised - began, 1)
        in_time = result.measured_s is not None and result.measured_s <= result.allowed_s
        result.check("raised in time", in_time)
        if raised is not None:
            seen = self.ask("Did lamp and sounder show it? Press Enter for yes, type n for no: ")
            result.check("seen and heard", not seen.strip())
            self.ask("Take it away and press Enter: ")
            ended = self._watch(row.id, k.LATCHED_ON if row.latching else k.CLEARED, result.allowed_s + 90.0)
            result.check("latch" if row.latching else "clear", ended is not None)
        return result

    def _watch(self, row: int, code: int, seconds: float) -> float | None:
        """Return when a transition came, None when it didn't."""
        found: list[float] = []

        def take(kind: int, fields: tuple[Any, ...]) -> None:
            if kind == m.ALARM and fields[0] == row and fields[1] == code:
                found.append(self.clock())

        self._listen(seconds, lambda: bool(found), take)
        return found[0] if found else None

    def _listen(
        self,
        seconds: float,
        enough: Callable[[], bool],
        take: Callable[[int, tuple[Any, ...]], None] = lambda kind, fields: None,
    ) -> None:
        until = self.clock() + seconds
        answered = -1.0
        while not enough() and self.clock() < until:
            for kind, _, fields in self.listener.feed(self.line.read()):
                take(kind, fields)
            if self.clock() - answered >= 1.0:
                answered = self.clock()
                self.line.write(self.listener.answer())
            self.wait(POLL_S)


def instruction(row: Any, settings: list[int]) -> str:
    """Return in words what a person must do, by the settings in force."""
    what = values.VALUES[row.value][1].replace("_", " ")
    if row.kind == k.STATE:
        return f"{row.name.replace('_', ' ')}: bring it about ({what})."
    limit = s.SETTINGS[s.ID_OF[row.limit]]
    side = "below" if row.kind == k.BELOW else "above"
    value = s.in_units(limit.id, settings[limit.id])
    return f"{row.name.replace('_', ' ')}: bring {what} just {side} {value}."
