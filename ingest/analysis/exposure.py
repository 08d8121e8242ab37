"""Total what a patient was exposed to: measured source purity and pressure, entered flow and agent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np

from ingest.analysis.breathing.model import BreathTable, Floats, Millis
from ingest.analysis.hand import hand_points
from ingest.analysis.reserves.agent import agent_ml_h
from ingest.analysis.reserves.entries import KIND as RESERVE
from ingest.analysis.spans import Span, clip, total_ms
from ingest.analysis.written import Written

PURITY_UNDER_PERCENT: Final = (85.0, 82.0, 70.0)  # field criterion 85 (published), alarm limits 82 and 70
PEAK_OVER_CMH2O: Final = (30.0, 35.0, 40.0)  # high limits of teaching texts (published)
STEP_MS_MAX: Final = 5_000  # a trend value stands for no more than this


@dataclass(frozen=True, slots=True, kw_only=True)
class Entered:
    """Hold one hand entry: UTC ms and value; it stands until the next one."""

    at_ms: int
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """Hold totals of one case. Purity is the source's, never inspired; minutes not judged are apart.

    `deficit_percent_min` sums how far purity lay under 82 % times minutes. None: nothing was entered.
    `entry_held_h` is the longest time one hand entry had to stand for.
    """

    purity_under_min: Mapping[float, float]
    purity_judged_min: float
    deficit_percent_min: float
    peak_over_min: Mapping[float, float]
    breaths_judged_min: float
    oxygen_l: float | None
    agent_ml: float | None
    entry_held_h: float | None
    states_min: Mapping[str, float]


def exposure_totals(
    *,
    start_ms: int,
    end_ms: int,
    trend_ms: Millis,
    source_purity_percent: Floats,
    breaths: BreathTable,
    states: Mapping[str, Sequence[Span]],
    oxygen_flow: Sequence[Entered] = (),
    agent_level: Sequence[Entered] = (),
    agent: str | None = None,
    carrier_l_min: Sequence[Entered] = (),
) -> Exposure:
    """Return the totals between two times.

    `source_purity_percent` is nan where the reading wasn't current. `states` are named spans (stored
    energy, output lost, …) to be summed. Agent needs its name, level entries and carrier entries (the
    minute volume in draw-over). Sums are rectangles over the samples' own spacing, 5 s at most.
    """
    first, last = np.searchsorted(trend_ms, (start_ms, end_ms))
    times, purity = trend_ms[first:last], source_purity_percent[first:last]
    minutes = np.minimum(np.diff(times, append=end_ms), STEP_MS_MAX) / 60_000.0
    known = ~np.isnan(purity)
    part = breaths.within(start_ms, end_ms)
    breath_min = part.period_s / 60.0
    flow_steps, level_steps = _steps(oxygen_flow, start_ms, end_ms), _steps(agent_level, start_ms, end_ms)
    held = [hours for _, hours in (*flow_steps, *level_steps)]
    return Exposure(
        purity_under_min=MappingProxyType(
            {limit: float(minutes[known & (purity < limit)].sum()) for limit in PURITY_UNDER_PERCENT}
        ),
        purity_judged_min=float(minutes[known].sum()),
        deficit_percent_min=float(np.nansum(np.maximum(82.0 - purity, 0.0) * minutes)),
        peak_over_min=MappingProxyType(
            {limit: float(breath_min[part.peak > limit].sum()) for limit in PEAK_OVER_CMH2O}
        ),
        breaths_judged_min=float(breath_min.sum()),
        oxygen_l=sum(value * 60.0 * hours for value, hours in flow_steps) if flow_steps else None,
        agent_ml=_agent_ml(agent, agent_level, carrier_l_min, start_ms, end_ms),
        entry_held_h=max(held, default=None),
        states_min=MappingProxyType(
            {name: total_ms(clip(spans, start_ms, end_ms)) / 60_000.0 for name, spans in states.items()}
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ByHand:
    """Hold what people entered: oxygen flow L/min, agent's name and level vol %, carrier L/min."""

    oxygen_flow: tuple[Entered, ...] = ()
    agent_level: tuple[Entered, ...] = ()
    agent: str | None = None
    carrier_l_min: tuple[Entered, ...] = ()


def by_hand(marks: Sequence[Written]) -> ByHand:
    """Return what the marks of one case or night hold of flows and agent.

    A total needs one agent: where several were entered, none is named and no agent is summed.
    """
    points = hand_points(marks)
    filled = [one for one in marks if one.kind == RESERVE and one.data.get("what") == "agent"]
    names = {str(one.data["agent"]) for one in filled if "agent" in one.data}
    carriers = [(one.utc, one.data.get("carrier_l_min")) for one in filled]
    return ByHand(
        oxygen_flow=tuple(Entered(at_ms=p.at_ms, value=p.value) for p in points if p.what == "oxygen_flow"),
        agent_level=tuple(Entered(at_ms=p.at_ms, value=p.value) for p in points if p.what == "agent_level"),
        agent=names.pop() if len(names) == 1 else None,
        carrier_l_min=tuple(
            Entered(at_ms=at, value=float(flow)) for at, flow in carriers if isinstance(flow, int | float)
        ),
    )


def _steps(entries: Sequence[Entered], start_ms: int, end_ms: int) -> list[tuple[float, float]]:
    """Return (value, hours it stood) inside the span; an entry before the span stands into it."""
    ordered = sorted(entries, key=lambda entry: entry.at_ms)
    steps = []
    for row, entry in enumerate(ordered):
        until = ordered[row + 1].at_ms if row + 1 < len(ordered) else end_ms
        inside_ms = min(until, end_ms) - max(entry.at_ms, start_ms)
        if inside_ms > 0:
            steps.append((entry.value, inside_ms / 3_600_000.0))
    return steps


def _agent_ml(
    agent: str | None, level: Sequence[Entered], carrier: Sequence[Entered], start_ms: int, end_ms: int
) -> float | None:
    """Sum agent use over every stretch in which level and carrier both stood; None when one is missing."""
    if agent is None or not level or not carrier:
        return None
    edges = sorted({e.at_ms for e in (*level, *carrier)} | {start_ms, end_ms})
    total = 0.0
    for a, b in zip(edges, edges[1:], strict=False):
        if a < start_ms or b > end_ms:
            continue
        percent, flow = _standing(level, a), _standing(carrier, a)
        if percent is not None and flow is not None:
            use = agent_ml_h(agent=agent, carrier_l_min=flow, level_percent=percent)
            total += use * (b - a) / 3_600_000.0
    return total


def _standing(entries: Sequence[Entered], at_ms: int) -> float | None:
    before = [entry for entry in entries if entry.at_ms <= at_ms]
    return max(before, key=lambda entry: entry.at_ms).value if before else None
