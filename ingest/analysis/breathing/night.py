"""Read one night's breathing: all rules over the stretches of positive-pressure breathing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from ingest.analysis.breathing.model import BreathTable, Finding, PressureTrace
from ingest.analysis.breathing.table_signs import disconnections, double_triggers, kinks, leaks
from ingest.analysis.breathing.trends import compliance_changes
from ingest.analysis.breathing.wave_signs import flat_top_share, wave_findings

EDGE_MS: Final = 1000  # of the wave is looked at on either side of the breaths, for the filters' sake
MERGE_MS: Final = 60_000  # findings of one kind nearer than this are one stretch


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """Hold a stretch with a pressure signal and a patient on positive-pressure breathing.

    UTC ms; limit (cmH2O) and delay (s) of the disconnection alarm in force, from the module's settings.
    """

    start_ms: int
    end_ms: int
    apart_limit_cmh2o: float
    apart_delay_s: float


def breathing_findings(
    table: BreathTable, traces: Sequence[PressureTrace], watched: Sequence[Watched]
) -> tuple[Finding, ...]:
    """Return all findings in time order; `traces` may cover part of the night or none of it.

    Signs that need the wave (effort, cough, water, a limited pressure) are looked for where it is at hand.
    """
    found: list[Finding] = []
    for stretch in watched:
        part = table.within(stretch.start_ms, stretch.end_ms)
        others = _signs(part, traces)
        apart = disconnections(
            part, watched=((stretch.start_ms, stretch.end_ms),), limit_cmh2o=stretch.apart_limit_cmh2o,
            delay_s=stretch.apart_delay_s, others=others,
        )  # fmt: skip
        found += [*others, *apart]
    return tuple(sorted(found, key=lambda finding: (finding.start_ms, finding.key)))


def _signs(part: BreathTable, traces: Sequence[PressureTrace]) -> tuple[Finding, ...]:
    signs: list[Finding] = []
    flat_top = np.full(len(part), np.nan)
    for trace in traces:
        end_ms = trace.at_ms(trace.pressure_cmh2o.size)
        first, last = np.searchsorted(part.start_ms, (trace.start_ms, end_ms))
        if first == last:
            continue
        inside = part.pick(slice(int(first), int(last)))
        trace = trace.within(int(inside.start_ms[0]) - EDGE_MS, int(inside.end_ms[-1]) + EDGE_MS)
        signs += wave_findings(trace, inside)
        flat_top[first:last] = flat_top_share(trace, inside)
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
