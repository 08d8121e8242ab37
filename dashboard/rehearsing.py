"""Rehearse one night for a page: read it, try one setting, and sweep that setting between its hard bounds."""

from dataclasses import dataclass

from dashboard.figures.rehearsal import Tried
from ingest.analysis.rehearsal.overlay import REHEARSABLE, overlay_of, sweep_of
from ingest.analysis.rehearsal.stage import EVENT, Material, Rehearsed, Stage, event_of
from ingest.errors import UserError
from ingest.store.reader import Reader, tables

SWEEP_STEPS = 13
# Settings that a page offers: what the engine looks at, without words and what a person confirms.
OFFERED = tuple(name for name, row in tables.SETTINGS.items() if name in REHEARSABLE and not row.choices)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """Hold what a page shows: the try, the sweep, the setting in force as a point, and whether it repeats."""

    tried: Rehearsed
    in_force: Rehearsed
    sweep: tuple[Tried, ...]
    current: Tried
    exact: bool
    events: int


def rehearse(reader: Reader, module: int, start: int, end: int, name: str, value: str) -> Rehearsal:
    """Rehearse [start, end); raise UserError in one sentence for what can't be tried."""
    overlay = overlay_of([f"{name}={value}"])
    found = reader.recordings(module, start, end)
    if not any(one.stretches for one in found):
        raise UserError("No alarm inputs were recorded in that time; there is nothing to rehearse.")
    marks = reader.marks(module, start, end, EVENT)
    events = tuple(event_of(mark.utc, mark.utc_end, mark.text, mark.data) for mark in marks)
    material = Material(module=module, emulated=False, start_ms=start, end_ms=end,
                        recordings=tuple(found), events=events)  # fmt: skip
    stage = Stage(material)
    in_force = stage.rehearse(overlay_of([]))
    return Rehearsal(
        tried=stage.rehearse(overlay),
        in_force=in_force,
        sweep=tuple(_sweep(stage, name)),
        current=point(in_force, ""),
        exact=stage.comparison.exact,
        events=len(events),
    )


def _sweep(stage: Stage, name: str) -> list[Tried]:
    row = tables.SETTINGS[name]
    out = []
    for overlay in sweep_of(f"{name}={row.low:g}:{row.high:g}:{SWEEP_STEPS}", overlay_of([])):
        try:
            one = stage.rehearse(overlay)
        except UserError:
            # It contradicts another setting in force: no module would take it.
            continue
        value = overlay.values[row.id] / row.scale
        out.append(point(one, f"{value:g} {row.unit}".strip()))
    return out


def point(one: Rehearsed, text: str) -> Tried:
    """Return one rehearsal as a point of the figure."""
    judged = one.judged
    return Tried(
        text=text,
        added_s=None if judged.added_s is None else judged.added_s[0],
        nuisance=judged.nuisance,
        missed=sum(verdict.missed for verdict in judged.verdicts),
        late=sum(verdict.late for verdict in judged.verdicts),
    )
