"""Read one night's breathing: all rules over the stretches of positive-pressure breathing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from ingest.analysis.breathing.model import BreathTable, Finding, PressureTrace
from ingest.analysis.breathing.table_signs import (
    disconnections,
    double_triggers,
    kinks,
    leaks,
    silences,
)
from ingest.analysis.breathing.trends import compliance_changes
from ingest.analysis.breathing.wave_signs import flat_top_share, wave_findings

EDGE_MS: Final = 1000  # of the wave is looked at on either side of the breaths, for the filters' sake
# The setting of the row that watches for breaths, for each mode in which somebody is on the circuit.
SILENCE_OF: Final[Mapping[str, str]] = {
    "ventilator": "breath.no_breath", "hand": "breath.no_breath", "spontaneous": "breath.no_effort",
}  # fmt: skip
STEADY_OR_NOT: Final = ("finding.water", "finding.effort_triggered", "finding.effort_ineffective")
MERGE_MS: Final = 60_000  # findings of one kind nearer than this are one stretch


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """Hold a stretch with a pressure signal and a patient on the circuit.

    UTC ms; limit (cmH2O) and delay (s) of the disconnection alarm in force, from the module's settings.
    `mode` as a person set it; `silence_s` is the longest time without a breath that its row allows.
    """

    start_ms: int
    end_ms: int
    apart_limit_cmh2o: float
    apart_delay_s: float
    mode: str = "ventilator"
    silence_s: float = 20.0


def breathing_findings(
    table: BreathTable, traces: Sequence[PressureTrace], watched: Sequence[Watched]
) -> tuple[Finding, ...]:
    """Return all findings in time order; `traces` may cover part of the night or none of it.

    Signs that need the wave (effort, cough, water, a limited pressure) are looked for where it is at hand.
    """
    found: list[Finding] = []
    for stretch in watched:
        part = table.within(stretch.start_ms, stretch.end_ms)
        if stretch.mode != "ventilator":
            found += _unsteady(part, traces, stretch)
            continue
        others = _signs(part, traces)
        apart = disconnections(
            part, watched=((stretch.start_ms, stretch.end_ms),), limit_cmh2o=stretch.apart_limit_cmh2o,
            delay_s=stretch.apart_delay_s, others=others,
        )  # fmt: skip
        found += [*others, *apart]
    return tuple(sorted(found, key=lambda finding: (finding.start_ms, finding.key)))


def _unsteady(part: BreathTable, traces: Sequence[PressureTrace], stretch: Watched) -> list[Finding]:
    """Return what can be said of a hand's or a patient's own breaths.

    Neither repeats itself, so rules that compare with usual breaths (leak, kink, cough, double trigger,
    compliance) would invent. A patient's own breath is itself the dip that an effort is known by.
    """
    found = [*silences(part, (stretch.start_ms, stretch.end_ms), stretch.silence_s)]
    if stretch.mode == "hand":
        found += merged([one for one in _in_waves(part, traces) if one.key in STEADY_OR_NOT])
    return found


def _in_waves(part: BreathTable, traces: Sequence[PressureTrace]) -> list[Finding]:
    return [one for trace, inside, _ in _covered(part, traces) for one in wave_findings(trace, inside)]


def _covered(
    part: BreathTable, traces: Sequence[PressureTrace]
) -> Iterator[tuple[PressureTrace, BreathTable, slice]]:
    """Yield what of each trace the breaths cover, those breaths, and their rows."""
    for trace in traces:
        end_ms = trace.at_ms(trace.pressure_cmh2o.size)
        first, last = (int(row) for row in np.searchsorted(part.start_ms, (trace.start_ms, end_ms)))
        if first < last:
            inside = part.pick(slice(first, last))
            since, until = int(inside.start_ms[0]) - EDGE_MS, int(inside.end_ms[-1]) + EDGE_MS
            yield trace.within(since, until), inside, slice(first, last)


def _signs(part: BreathTable, traces: Sequence[PressureTrace]) -> tuple[Finding, ...]:
    signs: list[Finding] = []
    flat_top = np.full(len(part), np.nan)
    for trace, inside, rows in _covered(part, traces):
        signs += wave_findings(trace, inside)
        flat_top[rows] = flat_top_share(trace, inside)
    signs += [*double_triggers(part), *kinks(part, flat_top), *leaks(part), *compliance_changes(part)]
    return merged(signs)


def merged(findings: Sequence[Finding], within_ms: int = MERGE_MS) -> tuple[Finding, ...]:
    """Join findings of one key that follow within a minute: evidence of the strongest, and `times`."""
    joined: list[Finding] = []
    last: dict[str, int] = {}
    for one in sorted(findings, key=lambda finding: finding.start_ms):
        row = last.get(one.key)
        if row is None or one.start_ms - joined[row].end_ms > within_ms:
            last[one.key] = len(joined)
            joined.append(replace(one, evidence={**one.evidence, "times": 1.0}))
            continue
        before = joined[row]
        strong = one if one.confidence > before.confidence else before
        joined[row] = replace(
            strong, start_ms=before.start_ms, end_ms=max(before.end_ms, one.end_ms),
            evidence={**strong.evidence, "times": before.evidence["times"] + 1.0},
        )  # fmt: skip
    return tuple(joined)
