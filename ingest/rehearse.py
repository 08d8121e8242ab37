"""Rehearse recorded nights: read once, run the engine as often as asked, on all processors."""

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from ingest.analysis.rehearsal.judge import TrueEvent
from ingest.analysis.rehearsal.overlay import Overlay
from ingest.analysis.rehearsal.stage import EVENT, Material, Rehearsed, Stage, event_of
from ingest.errors import UserError
from ingest.store.reader import open_reader


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
        marked = reader.marks(chosen, start, end, EVENT)
    marks = [event_of(mark.utc, mark.utc_end, mark.text, mark.data) for mark in marked]
    inside = [one for one in truth if one.start_ms < end and one.end_ms >= start]
    return Material(
        module=chosen,
        emulated=modules[chosen].emulated,
        start_ms=start,
        end_ms=end,
        recordings=tuple(found),
        events=tuple(sorted([*inside, *marks], key=lambda one: one.start_ms)),
    )


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
