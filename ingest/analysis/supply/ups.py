"""Say what the supply behind the mains saw: transfers, stored energy, bypass, and what would have sufficed.

States follow IEC 62040-3 (published): normal, stored-energy and bypass mode; dead and undetermined are ours.
Undetermined time is never counted as normal.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import scipy  # its parts load when they are first used

from ingest.analysis.supply.compiled import Floats, compiled
from ingest.analysis.supply.records import SupplyEvent

State = Literal["normal", "stored energy", "bypass", "dead", "undetermined"]
STATES: tuple[State, ...] = get_args(State)
MINUTE_S, HOUR_S, YEAR_S = 60.0, 3600.0, 365.25 * 86400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StateSpan:
    """Hold one time in one state."""

    start_s: float
    end_s: float
    state: State


@dataclass(frozen=True, slots=True, kw_only=True)
class Discharge:
    """Describe one time on stored energy. depth_percent: of the battery, None when nothing proves its size.

    measured: the depth comes from a measured drain; else from time against the last proven discharge, as an
    estimate. recharge_min: minutes in normal mode since the discharge before, None for the first or after a
    gap.
    ended: what came next, 'record end' when nothing did.
    """

    start_s: float
    minutes: float
    depth_percent: float | None
    measured: bool
    recharge_min: float | None
    ended: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UpsSummary:
    """Sum the states up. hours by state; coverage_percent is the part of the period in a known state."""

    hours: dict[str, float]
    transfers: int
    output_fell: int
    discharges: tuple[Discharge, ...]
    longest_min: float
    deepest_percent: float | None
    shortest_recharge_min: float | None
    coverage_percent: float


def ups_summary(
    spans: Sequence[StateSpan],
    begin_s: float,
    end_s: float,
    *,
    proven_min: float | None = None,
    drained_percent: dict[float, float] | None = None,
) -> UpsSummary:
    """Sum up what the UPS went through. spans in order, without overlap; what they leave out is not known.

    proven_min: minutes of the last proven discharge at the usual load. drained_percent: measured depth of
    discharge by the start of its span, where the battery is measured.
    """
    joined = _joined([s for s in spans if s.end_s > begin_s and s.start_s < end_s])
    hours: dict[str, float] = dict.fromkeys(STATES, 0.0)
    for span in joined:
        hours[span.state] += (min(span.end_s, end_s) - max(span.start_s, begin_s)) / HOUR_S
    discharges = _discharges(joined, proven_min, drained_percent or {})
    known = sum(h for state, h in hours.items() if state != "undetermined")
    depths = [d.depth_percent for d in discharges if d.depth_percent is not None]
    recharges = [d.recharge_min for d in discharges if d.recharge_min is not None]
    return UpsSummary(
        hours=hours,
        transfers=len(discharges),
        output_fell=sum(
            span.state == "dead" and (n == 0 or joined[n - 1].state != "dead")
            for n, span in enumerate(joined)
        ),
        discharges=tuple(discharges),
        longest_min=max((d.minutes for d in discharges), default=0.0),
        deepest_percent=max(depths, default=None),
        shortest_recharge_min=min(recharges, default=None),
        coverage_percent=100.0 * known * HOUR_S / (end_s - begin_s) if end_s > begin_s else 0.0,
    )


def _joined(spans: Sequence[StateSpan]) -> list[StateSpan]:
    """Join neighbours of one state that touch."""
    out: list[StateSpan] = []
    for span in spans:
        if out and out[-1].state == span.state and span.start_s <= out[-1].end_s:
            out[-1] = StateSpan(start_s=out[-1].start_s, end_s=span.end_s, state=span.state)
        else:
            out.append(span)
    return out


def _discharges(
    spans: Sequence[StateSpan], proven_min: float | None, drained: dict[float, float]
) -> list[Discharge]:
    """Find the times on stored energy and the recharge before each."""
    found: list[Discharge] = []
    recharge: float | None = None
    for number, span in enumerate(spans):
        gap = number > 0 and span.start_s > spans[number - 1].end_s + 1.0
        if gap:
            recharge = None
        minutes = (span.end_s - span.start_s) / MINUTE_S
        if span.state == "normal" and recharge is not None:
            recharge += minutes
        if span.state != "stored energy":
            continue
        depth = drained.get(span.start_s)
        measured = depth is not None
        if depth is None and proven_min:
            depth = min(100.0, 100.0 * minutes / proven_min)
        follows = spans[number + 1].state if number + 1 < len(spans) else "record end"
        found.append(
            Discharge(
                start_s=span.start_s,
                minutes=minutes,
                depth_percent=depth,
                measured=measured,
                recharge_min=recharge,
                ended=follows,
            )
        )
        recharge = 0.0
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class BatteryTrend:
    """Give the change of proven minutes a year with its 95 % interval, and when it crosses what is needed.

    Values None: fewer than three tests. needed_s: None when it does not fall.
    """

    tests: int
    minutes_a_year: float | None
    low: float | None
    high: float | None
    reaches_needed_s: float | None


def battery_trend(at_s: Floats, minutes: Floats, needed_min: float) -> BatteryTrend:
    """Fit the median slope (Theil and Sen) through proven discharge minutes: one bad test doesn't bend it."""
    if len(at_s) < 3:
        return BatteryTrend(tests=len(at_s), minutes_a_year=None, low=None, high=None, reaches_needed_s=None)
    slope, _, low, high = scipy.stats.theilslopes(minutes, (at_s - at_s[0]) / YEAR_S, 0.95)
    middle = float(np.median(minutes - slope * (at_s - at_s[0]) / YEAR_S))
    crosses = float(at_s[0] + (needed_min - middle) / slope * YEAR_S) if slope < 0 else None
    return BatteryTrend(
        tests=len(at_s),
        minutes_a_year=float(slope),
        low=float(low),
        high=float(high),
        reaches_needed_s=crosses,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SizingCurve:
    """Tell how many outages a battery of so many minutes would have carried, with one input window.

    ridden counts with outages as short as the data allow (best), ridden_sure as long as they allow.
    """

    window_low_pu: float
    window_high_pu: float
    battery_min: Floats
    ridden: Floats
    ridden_sure: Floats
    outages: int
    recharge_min: float


def outages_beyond(events: Sequence[SupplyEvent], low_pu: float, high_pu: float) -> list[SupplyEvent]:
    """Pick the events that leave an input window. Each counts for its whole length: an upper bound."""
    return sorted(
        (
            e
            for e in events
            if (e.kind == "dip" and e.extreme_pu < low_pu) or (e.kind == "swell" and e.extreme_pu > high_pu)
        ),
        key=lambda e: e.start_s,
    )


def sizing(
    events: Sequence[SupplyEvent],
    battery_min: Floats,
    *,
    window_low_pu: float = 0.696,
    window_high_pu: float = 1.304,
    recharge_min: float = 480.0,
) -> SizingCurve:
    """Play the record's outages against batteries of different size, all full at the start.

    Between outages a battery refills evenly, empty to full in recharge_min. An outage is ridden out when
    the charge lasts to its end; else the battery is empty after it. Window default: 160 to 300 V of 230 V.
    """
    found = outages_beyond(events, window_low_pu, window_high_pu)
    bounds = np.array([(e.start_s, *e.duration_bounds_s) for e in found]).reshape(-1, 3) / MINUTE_S
    start, least, most = np.ascontiguousarray(bounds.T)
    return SizingCurve(
        window_low_pu=window_low_pu, window_high_pu=window_high_pu, battery_min=battery_min,
        ridden=_play(battery_min, start, least, recharge_min),
        ridden_sure=_play(battery_min, start, most, recharge_min), outages=len(found),
        recharge_min=recharge_min,
    )  # fmt: skip


@compiled
def _play(battery_min: Floats, start_min: Floats, length_min: Floats, recharge_min: float) -> Floats:
    """Count the outages each battery rides out."""
    ridden = np.zeros(len(battery_min))
    for size in range(len(battery_min)):
        charge = full = battery_min[size]
        back = -np.inf
        for outage in range(len(start_min)):
            start, length = start_min[outage], length_min[outage]
            charge = min(full, charge + full * min(1.0, max(0.0, start - back) / recharge_min))
            if charge >= length:
                ridden[size] += 1.0
                charge -= length
            else:
                charge = 0.0
            back = start + length if np.isfinite(length) else start
    return ridden
