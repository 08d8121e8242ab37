"""Everything a rehearsal works on, decoded once; and what each try would have done."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from firmware_sim.contract import alarms
from ingest.analysis.rehearsal.compare import Comparison, compare
from ingest.analysis.rehearsal.judge import Judged, TrueEvent, judge
from ingest.analysis.rehearsal.outcome import Outcome, outcome_of
from ingest.analysis.rehearsal.overlay import Overlay
from ingest.analysis.rehearsal.recording import Recording
from ingest.analysis.rehearsal.replay import Tape, load_tape, replay

# Kind of a person's mark that says what truly happened.
EVENT = "event"


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """Hold what is rehearsed: recordings of one module, the window in UTC ms, what truly happened."""

    module: int
    emulated: bool
    start_ms: int
    end_ms: int
    recordings: tuple[Recording, ...]
    events: tuple[TrueEvent, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsed:
    """Hold one rehearsal: what was tried, what it would have done, held against truth."""

    overlay: Overlay
    outcome: Outcome
    judged: Judged


class Stage:
    """Hold decoded recordings and the outcome with the settings in force; rehearse on it."""

    def __init__(self, material: Material) -> None:
        # Here alone: a server of pages loads the compiler when somebody rehearses.
        from firmware_sim.compiled import load

        self.material = material
        self.kernels: Any = load("alarms", "inputs")
        self.tapes: list[Tape] = [load_tape(one, self.kernels) for one in material.recordings]
        runs = [replay(tape, self.kernels) for tape in self.tapes]
        self.comparison: Comparison = compare(runs)
        self.in_force: Outcome = outcome_of(runs, material.start_ms, material.end_ms)

    def rehearse(self, overlay: Overlay) -> Rehearsed:
        """Run all recordings with other settings; raise UserError where they contradict those in force."""
        runs = [replay(tape, self.kernels, overlay) for tape in self.tapes]
        outcome = outcome_of(runs, self.material.start_ms, self.material.end_ms)
        judged = judge(self.material.events, self.in_force.episodes, outcome.episodes)
        return Rehearsed(overlay=overlay, outcome=outcome, judged=judged)


def event_of(utc: int, utc_end: int | None, text: str, data: Mapping[str, object]) -> TrueEvent:
    """Return a person's mark as a true event; its condition stands in its data or is its whole text."""
    named = data.get("condition") or text
    condition = named if isinstance(named, str) and named in alarms.ID_OF else None
    end = utc if utc_end is None else utc_end
    return TrueEvent(start_ms=utc, end_ms=end, condition=condition, text=text)
