"""Go through a list: who began which step when, what came of it. All of it is marks, so it can be resumed.

A mark's data: {"list", "run", "do"} with `do` one of begin, step, again, result, stop. `run` is the UTC ms
of the run's beginning. Nothing is kept elsewhere: a browser closed or a machine restarted loses nothing, and
a step that ended while nobody looked is judged from the record.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any, Final

from ingest.analysis.guided.sight import FAILED, PASSED, WAITING, Sight, Store, Verdict
from ingest.analysis.guided.supply_steps import ended_discharge
from ingest.analysis.guided.table import KIND, LISTS, STEPS, Command, Step, command_values
from ingest.analysis.refusal import Refused
from ingest.analysis.written import Written
from ingest.errors import UserError

COMMIT_MS: Final = 5_000  # the record of a moment is there by then
OBEYED: Final = ("done", "started", "nothing_to_do", "busy")
SAID: Final[Mapping[str, str]] = {
    "breath_seen": "refused.breath_seen", "button_first": "refused.button_first",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """Hold a step that was begun and has no result; `measured_ms` None: to be asked for again first."""

    step: Step
    begun_ms: int
    measured_ms: int | None
    author: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """Hold what came of a step."""

    step: str
    verdict: Verdict
    at_ms: int
    author: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Hold one going through a list; of a step done twice the newest result counts."""

    list_name: str
    begun_ms: int
    author: str
    attempt: Attempt | None = None
    results: Mapping[str, Result] = field(default_factory=dict)

    @property
    def next_step(self) -> str | None:
        """Return the first step without a pass, None when all have passed."""
        for name in LISTS[self.list_name]:
            if name not in self.results or self.results[name].verdict.state != PASSED:
                return name
        return None


def runs(marks: Iterable[Written]) -> list[Run]:
    """Read all runs from marks, oldest first; what can't be read is left out."""
    found: dict[int, Run] = {}
    for mark in marks:
        data = mark.data
        run_id, what = data.get("run"), data.get("do")
        if what == "begin" and data.get("list") in LISTS and isinstance(run_id, int):
            found[run_id] = Run(list_name=str(data["list"]), begun_ms=run_id, author=mark.author)
        elif isinstance(run_id, int) and run_id in found:
            found[run_id] = _stepped(found[run_id], mark, str(what))
    return [found[one] for one in sorted(found)]


def _stepped(run: Run, mark: Written, what: str) -> Run:
    name = mark.data.get("step")
    step = STEPS.get(str(name))
    if step is None:
        return run
    if what == "step":
        measured = None if step.again else mark.utc
        attempt = Attempt(step=step, begun_ms=mark.utc, measured_ms=measured, author=mark.author)
        return replace(run, attempt=attempt)
    if what == "again" and run.attempt is not None and run.attempt.step.name == name:
        return replace(run, attempt=replace(run.attempt, measured_ms=mark.utc))
    if what == "stop":
        return replace(run, attempt=None)
    if what == "result":
        result = Result(step=step.name, verdict=_verdict(mark), at_ms=mark.utc, author=mark.author)
        return replace(run, attempt=None, results={**run.results, step.name: result})
    return run


def _verdict(mark: Written) -> Verdict:
    data = mark.data
    value = data.get("value")
    return Verdict(
        state=PASSED if data.get("state") == PASSED else FAILED, key=str(data.get("key", "")),
        params=dict(data.get("params") or {}), value=None if value is None else float(value),
        unit=str(data.get("unit", "")), digits=int(data.get("digits", 1)), at_ms=data.get("at_ms"),
    )  # fmt: skip


Note = Callable[[int, dict[str, Any], str], None]
Tell = Callable[[str, tuple[int, ...]], str]


class Guide:
    """Take a person through one list. `note(utc, data, text)` writes a mark, `tell(command, values)` asks
    the module and returns the name of its answer; both raise UserError. `now`: UTC ms.
    """

    def __init__(self, store: Store, module: int, now: int, *, note: Note, tell: Tell) -> None:
        self.store, self.module, self.now = store, module, now
        self._note, self._tell = note, tell

    def run(self, list_name: str) -> Run | None:
        """Return the newest run of a list, None before the first."""
        found = [one for one in runs(self.store.marks(self.module, kind=KIND)) if one.list_name == list_name]
        return found[-1] if found else None

    def begin(self, list_name: str) -> Run:
        """Begin a list anew; older runs stay in the record."""
        if list_name not in LISTS:
            raise Refused("refused.no_list", given=repr(list_name), known=", ".join(LISTS))
        run = Run(list_name=list_name, begun_ms=self.now, author="")
        self._write(run, "begin", "", f"{list_name}: begun")
        return self.open(list_name)

    def open(self, list_name: str) -> Run:
        """Return the run of a list that can be gone on with; raise Refused when none was begun."""
        run = self.run(list_name)
        if run is None:
            raise Refused("refused.not_begun", list=list_name)
        return run

    def start(self, list_name: str, name: str, *, second_source: bool = False) -> Run:
        """Begin one step: check who is on the circuit, tell the module, write it down."""
        run = self.open(list_name)
        if name not in LISTS[list_name]:
            raise Refused("refused.no_step", given=repr(name), known=", ".join(LISTS[list_name]))
        if run.attempt is not None:
            raise Refused("refused.step_open", step=run.attempt.step.name)
        step = STEPS[name]
        self._admit(step, second_source)
        for command in step.first:
            self._obeyed(command)
        said = f"{list_name}: {name} begun" + (", second source confirmed" if second_source else "")
        self._write(run, "step", name, said, {"second_source": second_source})
        return self.open(list_name)

    def _admit(self, step: Step, second_source: bool) -> None:
        sight = Sight(self.store, self.module, self.now - 60_000, self.now)
        if step.needs == "no_breath" and sight.breath_seen():
            raise Refused("refused.breath_seen")
        if step.needs == "patient_off" and not second_source and sight.patient_may_be_on():
            raise Refused("refused.patient_on")
        if step.needs == "normal":
            states = sight.states()
            if not states or states[-1][2] != "normal":
                raise Refused("refused.not_normal")

    def _obeyed(self, command: Command) -> None:
        answer = self._tell(command[0], command_values(command, self.now))
        if answer not in OBEYED:
            raise Refused(SAID.get(answer, "refused.module"), answer=answer.replace("_", " "))

    def again(self, list_name: str) -> Run:
        """Say a second time that the patient is off; from now on it is measured."""
        run, attempt = self._attempt(list_name)
        if attempt.measured_ms is None:
            self._admit(attempt.step, False)
            assert attempt.step.again is not None, "only a step that asks twice waits"
            self._obeyed(attempt.step.again)
            self._write(run, "again", attempt.step.name, f"{list_name}: {attempt.step.name} asked twice")
        return self.open(list_name)

    def stop(self, list_name: str) -> Run:
        """Leave a step without a result."""
        run, attempt = self._attempt(list_name)
        with suppress(UserError):
            self._ended(attempt.step)
        self._write(run, "stop", attempt.step.name, f"{list_name}: {attempt.step.name} left")
        return self.open(list_name)

    def confirm(self, list_name: str, *, right: bool) -> Run:
        """Say whether what the module can't see was right, or that a step ends now; write its result."""
        run, attempt = self._attempt(list_name)
        verdict = self.standing(attempt)
        if attempt.step.by_hand and verdict.state == WAITING:
            minutes = int(verdict.value or 0)
            return self._result(run, attempt, ended_discharge(self._sight(attempt), minutes, self.now))
        if not attempt.step.confirm:
            raise Refused("refused.measured_only")
        if not right:
            verdict = replace(verdict, state=FAILED, key="guided.person_says_no", params={})
        elif verdict.state != PASSED:
            raise Refused("refused.not_yet")
        return self._result(run, attempt, verdict)

    def look(self, list_name: str) -> tuple[Run, Verdict | None]:
        """Judge the open step; a result that needs no person is written. Return the run and the verdict."""
        run = self.open(list_name)
        if run.attempt is None:
            return run, None
        verdict = self.standing(run.attempt)
        if verdict.state == FAILED or (verdict.state == PASSED and not run.attempt.step.confirm):
            return self._result(run, run.attempt, verdict), verdict
        return run, verdict

    def standing(self, attempt: Attempt) -> Verdict:
        """Judge a step now, from the record between its beginning and its time-out."""
        if attempt.measured_ms is None:
            return self._late(attempt, Verdict(state=WAITING, key="guided.asked_once"))
        return self._late(attempt, attempt.step.judge(self._sight(attempt)))

    def _sight(self, attempt: Attempt) -> Sight:
        begun = attempt.begun_ms if attempt.measured_ms is None else attempt.measured_ms
        return Sight(self.store, self.module, begun, min(self.now, begun + attempt.step.timeout_s * 1000))

    def _late(self, attempt: Attempt, verdict: Verdict) -> Verdict:
        begun = attempt.begun_ms if attempt.measured_ms is None else attempt.measured_ms
        ended = self.now > begun + attempt.step.timeout_s * 1000 + COMMIT_MS
        if verdict.state != WAITING or not ended:
            return verdict
        return replace(verdict, state=FAILED, key="guided.timed_out",
                       params={"seconds": attempt.step.timeout_s})  # fmt: skip

    def _attempt(self, list_name: str) -> tuple[Run, Attempt]:
        run = self.open(list_name)
        if run.attempt is None:
            raise Refused("refused.no_open_step")
        return run, run.attempt

    def _result(self, run: Run, attempt: Attempt, verdict: Verdict) -> Run:
        answer = self._ended(attempt.step)
        if attempt.step.by_hand and verdict.state == PASSED and answer != "done":
            # Its own count was lost, by a restart: the reserves would not know of this test.
            verdict = replace(verdict, state=FAILED, key="guided.discharge_uncounted", params={})
        figure = "" if verdict.value is None else f" {verdict.value:.{verdict.digits}f} {verdict.unit}"
        self._write(run, "result", attempt.step.name,
                    f"{run.list_name}: {attempt.step.name} {verdict.state}{figure}",
                    {"state": verdict.state, "key": verdict.key, "params": dict(verdict.params),
                     "value": verdict.value, "unit": verdict.unit, "digits": verdict.digits,
                     "at_ms": verdict.at_ms})  # fmt: skip
        return self.open(run.list_name)

    def _ended(self, step: Step) -> str:
        """Tell the module that a step is over; return its answer, '' where it need not be told."""
        return self._tell(step.last[0], command_values(step.last, self.now)) if step.last else ""

    def _write(
        self, run: Run, what: str, name: str, text: str, more: Mapping[str, Any] | None = None
    ) -> None:
        data = {"run": run.begun_ms, "list": run.list_name, "do": what, **(more or {})}
        if name:
            data["step"] = name
        self._note(self.now, data, text)


