"""Run the drill: each row on a fresh board, step by step; what the table promises is what is checked."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from firmware_sim.contract import alarms, digest
from firmware_sim.contract import settings as s
from firmware_sim.contract.engine import number, on_delay
from firmware_sim.kernels import alarms as k
from firmware_sim.rig.drill.bench import ACKNOWLEDGE, PAUSE, Bench
from firmware_sim.rig.drill.cases import CASES, Case
from firmware_sim.rig.runtimes import InProcess, Runtime

# Beside on-delay and period: common practice of the trade, no source.
ALLOWED_S = 0.2
LAMPS = {k.HIGH: (0,), k.MEDIUM: (0, 1), k.LOW: (0, 1, 2)}
PASSED, FAILED, NOT_TRIED = "passed", "failed", "not tried"
# The silence of a pause is listened for so long: longer than from one burst to the next.
LISTEN_S = {k.HIGH: 6.5, k.MEDIUM: 9.0}
NEW_WITHIN_S = 6.0
# From burst to burst of low rows; one that stands beside a louder row is heard within that.
LOUD_CYCLE_MS = 21_000
CUT_STEPS = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """Hold one check of a row: what was tried, whether it held, what was seen."""

    name: str
    held: bool
    seen: str = ""


@dataclass(slots=True, kw_only=True)
class RowResult:
    """Hold what the drill found of one row; delays in s, None: not measured.

    `allowed_s` = on-delay + one period of the channel (or one breath) + 0.2 s + the disclosed lag.
    """

    name: str
    priority: str
    result: str = PASSED
    on_delay_s: float = 0.0
    lag_s: float = 0.0
    why: str = ""
    allowed_s: float = 0.0
    measured_s: float | None = None
    checks: list[Check] = field(default_factory=list)

    def check(self, name: str, held: bool, seen: str = "") -> bool:
        """Note one check; one that fails fails the row."""
        self.checks.append(Check(name=name, held=bool(held), seen=seen))
        if not held:
            self.result = FAILED
        return bool(held)


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Hold a whole drill."""

    rows: tuple[RowResult, ...]
    emulated: bool
    firmware_digest: str
    settings_digest: str
    settings_named: str = "defaults, adult"

    @property
    def passed(self) -> int:
        """Return how many rows passed."""
        return sum(row.result == PASSED for row in self.rows)

    @property
    def failed(self) -> int:
        """Return how many rows failed."""
        return sum(row.result == FAILED for row in self.rows)

    def as_json(self) -> dict[str, Any]:
        """Return one object with rows, passed, failed."""
        return {
            "rows": [asdict(row) for row in self.rows],
            "passed": self.passed,
            "failed": self.failed,
            "not_tried": len(self.rows) - self.passed - self.failed,
            "simulated": self.emulated,
            "firmware_digest": self.firmware_digest,
            "settings_digest": self.settings_digest,
        }


def digests() -> tuple[str, str]:
    """Return the digests of the firmware's tables and of the default settings, in hexadecimal digits."""
    low, high = digest.digest()
    return f"{high:08x}{low:08x}", f"{digest.settings_digest(s.defaults()):08x}"


def limits_of(row: Any, settings: list[int]) -> tuple[float, float]:
    """Return on-delay and off-delay of a row in s."""
    return on_delay(row, settings) / 10, number(row.off_delay, settings) / 10


def drill(
    names: Sequence[str] | None = None,
    done: Callable[[RowResult], None] = lambda row: None,
    runtime: Runtime | None = None,
) -> Report:
    """Drill rows (None: all) on the emulated board; `done` is called after each."""
    board = runtime or InProcess()
    rows = []
    for row in alarms.ROWS:
        if names is None or row.name in names:
            rows.append(drill_row(row, board))
            done(rows[-1])
    firmware, settings = digests()
    return Report(rows=tuple(rows), emulated=True, firmware_digest=firmware, settings_digest=settings)


def drill_row(row: Any, runtime: Runtime) -> RowResult:
    """Drill one row of the alarm table."""
    found = RowResult(name=row.name, priority=alarms.PRIORITIES[row.priority])
    trial = _Trial(row, CASES[row.name], found, runtime)
    trial.inside()
    trial.outside_and_silence()
    trial.waves()
    if row.latching or CASES[row.name].survives_cut:
        trial.power_cut()
    return found


class _Trial:
    """The steps of one row's drill; times in s, steps of 100 ms."""

    def __init__(self, row: Any, case: Case, found: RowResult, runtime: Runtime) -> None:
        self.row, self.case, self.found, self.runtime = row, case, found, runtime
        settings = s.defaults()
        for name, value in case.settings.items():
            settings[s.ID_OF[name]] = value
        self.on_s, self.off_s = limits_of(row, settings)
        found.on_delay_s, found.lag_s, found.why = self.on_s, case.lag_s, case.why
        found.allowed_s = round(self.on_s + case.period_s + ALLOWED_S + case.lag_s, 1)

    def bench(self) -> Bench:
        bench = Bench(self.runtime, self.case.settings)
        if self.case.first:
            self.case.first(bench)
        bench.start()
        if self.case.before:
            self.case.before(bench)
            bench.run(self.steps(2 * self.case.period_s + 10) if self.case.inside_s is None else 20)
        return bench

    @staticmethod
    def steps(seconds: float) -> int:
        return round(seconds * 10)

    def inside(self) -> None:
        """Just inside the limit, or outside for less than the delay: nothing may be said."""
        bench = self.bench()
        since = bench.now_ms
        hold_s = self.case.inside_s
        if self.case.inside:
            self.case.inside(bench)
        bench.run(self.steps(self.found.allowed_s + 5 if hold_s is None else hold_s))
        if hold_s is not None:
            self.case.back(bench)
            bench.run(self.steps(self.case.lag_s + 3))
        raised = bench.first(self.row.id, "raised", since)
        seen = "silent" if raised is None else f"raised after {(raised.at_ms - since) / 1000:.1f} s"
        self.found.check("just inside", raised is None, seen)

    def outside_and_silence(self) -> None:
        """Just outside: raised in time, shown and heard; then pause, a new alarm, and the end of it."""
        bench = self.bench()
        at_ms = self.delay(bench)
        if at_ms is None:
            return
        self.signal(bench, at_ms)
        self.pause(bench)
        self.clear(bench)

    def delay(self, bench: Bench) -> int | None:
        """Bring the row up and measure how long it took; return when, None when it never came."""
        before = bench.now_ms
        (self.case.sure or self.case.outside)(bench)
        since = bench.now_ms
        bench.run(self.steps(self.found.allowed_s + 5))
        raised = bench.first(self.row.id, "raised", before)
        if not self.found.check("just outside" if not self.case.sure else "outside", raised is not None):
            return None
        assert raised is not None
        measured = max(0, raised.at_ms - since) / 1000
        self.found.measured_s = round(measured, 1)
        # A breath's time runs from the last one, which was over before the stimulus.
        soonest = 0.0 if since > before else self.on_s - self.case.period_s
        in_time = soonest <= measured <= self.found.allowed_s
        self.found.check("delay", in_time, f"{measured:.1f} s of {self.found.allowed_s:g} s allowed")
        self.found.check("priority", raised.priority == self.row.priority)
        if self.case.sure:
            self.just_outside()
        return raised.at_ms

    def just_outside(self) -> None:
        """Where the delay was measured with a larger step: just outside must come too, however late."""
        bench = self.bench()
        since = bench.now_ms
        self.case.outside(bench)
        bench.run(self.steps(self.found.allowed_s + 60))
        self.found.check("just outside", bench.first(self.row.id, "raised", since) is not None)

    def waves(self) -> None:
        """A state of the supply that the contact reported: the same from the two taps alone."""
        if self.case.waves is None:
            return
        bench = Bench(self.runtime, self.case.settings, contact=False).start()
        since = bench.now_ms
        self.case.waves(bench)
        bench.run(self.steps(self.case.waves_s + 1))
        raised = bench.first(self.row.id, "raised", since)
        taken_s = None if raised is None else (raised.at_ms - since) / 1000
        seen = "not raised" if taken_s is None else f"{taken_s:.1f} s of {self.case.waves_s:g} s allowed"
        self.found.check("without the contact", taken_s is not None and taken_s <= self.case.waves_s, seen)

    def signal(self, bench: Bench, at_ms: int) -> None:
        """The lamp and, but for low rows and those under a cause, the sounder."""
        lamps = LAMPS[self.row.priority]
        self.found.check("lamp", bench.lamp_on(lamps, at_ms - 100, at_ms + 2200))
        if not self.grouped(bench):
            wait_ms = 500 if self.is_loudest(bench) else LOUD_CYCLE_MS
            bench.run(self.steps(max(0.0, (at_ms + wait_ms - bench.now_ms) / 1000)))
            self.found.check("sound", bench.heard(at_ms - 100, at_ms + wait_ms))

    def is_loudest(self, bench: Bench) -> bool:
        """Tell whether its own burst begins at once: nothing as loud stood before it."""
        others = [one for one in alarms.ROWS if one.id != self.row.id and bench.stands(one.id)]
        return all(one.priority < self.row.priority for one in others)

    def grouped(self, bench: Bench) -> bool:
        mine = [one for one in bench.seen if one.row == self.row.id and one.flags & k.F_GROUPED]
        return bool(mine)

    def pause(self, bench: Bench) -> None:
        """Pause: silent where it may be; a new medium alarm is heard all the same."""
        if self.row.priority < k.MEDIUM or self.grouped(bench):
            return
        bench.run(40 + self.steps(self.case.pause_after_s))
        bench.press(PAUSE)
        bench.run(15)
        since = bench.now_ms
        bench.run(self.steps(LISTEN_S[self.row.priority]))
        heard = bench.heard(since, bench.now_ms)
        if not self.row.may_pause:
            self.found.check("never paused", heard)
            return
        self.found.check("paused", not heard, "sound" if heard else "silent")
        since = bench.now_ms
        new = "rail_low" if self.row.name != "rail_low" else "oxygen_sensor_fault"
        CASES[new].outside(bench)
        # A pressure-high row of 0 delay would be quicker, but must not touch the circuit under test.
        bench.run(self.steps(NEW_WITHIN_S + CASES[new].lag_s + CASES[new].period_s))
        self.found.check("new alarm during pause", bench.heard(since, bench.now_ms))
        CASES[new].back(bench)

    def clear(self, bench: Bench) -> None:
        """The end: cleared in time, or latched until somebody acknowledges."""
        since = bench.now_ms
        self.case.back(bench)
        if self.case.clear_s > 1000:
            return
        bench.run(self.steps(self.off_s + self.case.clear_s + self.case.lag_s + 2 * self.case.period_s + 2))
        if not self.row.latching:
            self.found.check("clear", not bench.stands(self.row.id))
            return
        kept = bench.stands(self.row.id) and bench.first(self.row.id, "cleared", since) is None
        self.found.check("latch", kept)
        bench.press(ACKNOWLEDGE)
        bench.run(15)
        self.found.check("latch let go", bench.first(self.row.id, "cleared", since) is not None)

    def power_cut(self) -> None:
        """A cut of 10 s while the row stands: it comes back by itself; a latched one in any case."""
        bench = self.bench()
        self.case.outside(bench)
        bench.run(self.steps(self.found.allowed_s + 3))
        if self.row.latching:
            self.case.back(bench)
        bench.cut_power(CUT_STEPS)
        since = bench.now_ms
        bench.run(self.steps(self.found.allowed_s + self.case.lag_s + 25))
        kind = "restored" if self.row.latching else "raised"
        back = bench.first(self.row.id, kind, since) or bench.first(self.row.id, "restored", since)
        self.found.check("power cut", back is not None)
