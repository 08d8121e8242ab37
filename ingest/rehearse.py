"""Rehearse recorded nights: read once, run the engine as often as asked, on all processors."""

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firmware_sim.compiled import load
from firmware_sim.contract import alarms
from ingest.analysis.rehearsal import (
    Comparison,
    Judged,
    Outcome,
    Overlay,
    Recording,
    Tape,
    TrueEvent,
    compare,
    judge,
    load_tape,
    outcome_of,
    replay,
)
from ingest.errors import UserError
from ingest.store.reader import Mark, open_reader

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
        self.material = material
        self.kernels: Any = load()
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


def gather(
    store: str | Path,
    module: int | None = None,
    start_ms: int | None = None,
    end_ms: int | None = None,
    truth: Sequence[TrueEvent] = (),
) -> Material:
    """Read what a rehearsal needs of one module (None: the only one); raise UserError when there is none.

    True events are those handed in and the store's marks of kind 'event'.
    """
    with open_reader(store) as reader:
        modules = {one.id: one for one in reader.modules()}
        if not modules:
            raise UserError(f"{store} holds no module; record into it before you rehearse.")
        if module is None and len(modules) > 1:
            listed = ", ".join(f"{one:08x}" for one in modules)
            raise UserError(f"{store} holds several modules; name one with --module: {listed}.")
        chosen = next(iter(modules)) if module is None else module
        if chosen not in modules:
            raise UserError(f"{store} holds no module {chosen:08x}.")
        span = reader.span(chosen)
        if span is None:
            raise UserError(f"{store} holds no records of module {chosen:08x} to rehearse.")
        start = span[0] if start_ms is None else start_ms
        end = span[1] if end_ms is None else end_ms
        found = reader.recordings(chosen, start, end)
        if not any(one.stretches for one in found):
            raise UserError(f"{store} holds no alarm inputs in that time; there is nothing to rehearse.")
        marks = [event_of(mark) for mark in reader.marks(chosen, start, end, EVENT)]
    inside = [one for one in truth if one.start_ms < end and one.end_ms >= start]
    return Material(
        module=chosen,
        emulated=modules[chosen].emulated,
        start_ms=start,
        end_ms=end,
        recordings=tuple(found),
        events=tuple(sorted([*inside, *marks], key=lambda one: one.start_ms)),
    )


def event_of(mark: Mark) -> TrueEvent:
    """Return a person's mark as a true event; its condition stands in its data or is its whole text."""
    named = mark.data.get("condition") or mark.text
    condition = named if isinstance(named, str) and named in alarms.ID_OF else None
    end = mark.utc if mark.utc_end is None else mark.utc_end
    return TrueEvent(start_ms=mark.utc, end_ms=end, condition=condition, text=mark.text)


_stage: Stage | None = None


def _open_stage(material: Material) -> None:
    global _stage
    _stage = Stage(material)


def _on_stage(overlay: Overlay) -> Rehearsed:
    assert _stage is not None
    return _stage.rehearse(overlay)


def sweep(
    material: Material,
    overlays: Sequence[Overlay],
    workers: int,
    done: Callable[[], None] = lambda: None,
) -> list[Rehearsed]:
    """Rehearse many settings on several processes, in order; `done` is called after each.

    Each process decodes the recordings once.
    """
    out = []
    with ProcessPoolExecutor(workers, initializer=_open_stage, initargs=(material,)) as pool:
        for result in pool.map(_on_stage, overlays):
            out.append(result)
            done()
    return out
