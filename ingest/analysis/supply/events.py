"""Find dips, swells and interruptions in Urms(1/2), with hysteresis, across blocks and gaps.

Thresholds are fractions of the reference. Dip 0.90 (EN 50160, published), swell 1.10, interruption 0.05
(EN 50160) or 0.10 (IEEE 1159), hysteresis 0.02 of the reference (IEC 61000-4-30, from memory).
An interruption lies inside the dip that carries it; both are reported.
"""

from dataclasses import dataclass, replace

import numpy as np

from ingest.analysis.supply.compiled import Bools, Floats, Ints
from ingest.analysis.supply.records import Kind, SupplyEvent
from ingest.analysis.supply.windows import HalfCycles


@dataclass(frozen=True, slots=True, kw_only=True)
class Thresholds:
    """Set where events begin, as fractions of the reference."""

    dip: float = 0.90
    swell: float = 1.10
    interruption: float = 0.05
    hysteresis: float = 0.02

    def of(self, kind: Kind) -> float:
        """Give the threshold of one kind."""
        return {"dip": self.dip, "swell": self.swell, "interruption": self.interruption}[kind]


ROUNDING = 1e-9
"""A value at a limit stays at it however 0.90 + 0.02 is rounded."""

USUAL = Thresholds()

WATCHED: tuple[Kind, ...] = ("dip", "swell", "interruption")


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectorState:
    """Hold the events that are open, one a kind at most, and the time the record has reached."""

    open_events: tuple[SupplyEvent, ...] = ()
    reached_s: float | None = None
    gap_before_s: float = 0.0


def after_gap(state: DetectorState, resumes_s: float) -> DetectorState:
    """Carry the state over a time without data: open events stay open and count the time as unseen."""
    if state.reached_s is None:
        return state
    missing = max(0.0, resumes_s - state.reached_s)
    held = tuple(replace(e, unseen_s=e.unseen_s + missing) for e in state.open_events)
    return DetectorState(open_events=held, reached_s=resumes_s, gap_before_s=missing)


def detect(
    state: DetectorState, rows: HalfCycles, reference_v: float | Floats, thresholds: Thresholds
) -> tuple[DetectorState, list[SupplyEvent], Bools]:
    """Find the events that end in this block. Also tell for each row whether any event stood in it.

    reference_v: the declared voltage, or the sliding reference row by row.
    """
    inside = np.zeros(len(rows), dtype=np.bool_)
    if not len(rows):
        return state, [], inside
    reference = np.broadcast_to(np.asarray(reference_v, dtype=np.float64), rows.rms_v.shape)
    ended: list[SupplyEvent] = []
    still_open: list[SupplyEvent] = []
    for kind in WATCHED:
        opened = next((e for e in state.open_events if e.kind == kind), None)
        active = _active(rows.rms_v / reference, kind, thresholds, opened is not None)
        inside |= active
        for event in _runs(kind, rows, reference, active, opened, state.gap_before_s):
            (still_open if event.still_open else ended).append(event)
    kept = tuple(replace(e, still_open=False) for e in still_open)
    ended.sort(key=lambda e: e.start_s)
    return DetectorState(open_events=kept, reached_s=float(rows.end_s[-1])), ended, inside


def close(state: DetectorState) -> list[SupplyEvent]:
    """Give the events that stand when the record ends, marked as such."""
    return [replace(e, still_open=True) for e in state.open_events]


def _active(level: Floats, kind: Kind, thresholds: Thresholds, before: bool) -> Bools:
    """Tell for each row whether the event stands: beyond the threshold, until back inside the hysteresis."""
    limit, hysteresis = thresholds.of(kind), thresholds.hysteresis
    if kind == "swell":
        enters, leaves = level > limit + ROUNDING, level <= limit - hysteresis + ROUNDING
    else:
        enters, leaves = level < limit - ROUNDING, level >= limit + hysteresis - ROUNDING
    said = np.where(enters, 1, np.where(leaves, 0, -1))
    last = np.maximum.accumulate(np.where(said >= 0, np.arange(len(said)), -1))
    return np.where(last >= 0, said[last], int(before)).astype(np.bool_)


def _runs(
    kind: Kind, rows: HalfCycles, reference: Floats, active: Bools, opened: SupplyEvent | None, gap_s: float
) -> list[SupplyEvent]:
    """Turn the rows that stand into events, the first one joined to what was open."""
    steps = np.diff(active.astype(np.int8), prepend=np.int8(opened is not None))
    starts, ends = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
    if opened is not None:
        starts = np.concatenate((np.zeros(1, dtype=starts.dtype), starts))
    events = []
    for number, first in enumerate(starts):
        last = int(ends[number]) if number < len(ends) else len(rows)
        joined = opened if number == 0 else None
        events.append(_event(kind, rows, reference, int(first), last, joined, gap_s))
    return events


def _event(
    kind: Kind, rows: HalfCycles, reference: Floats, first: int, last: int, opened: SupplyEvent | None,
    gap_s: float,
) -> SupplyEvent:  # fmt: skip
    """Build or extend one event from rows first..last-1; row `last` is the first one back inside."""
    ends_here = last < len(rows)
    back = last if ends_here else len(rows) - 1
    part: Floats = rows.rms_v[first:last]
    if opened is None:
        opened = SupplyEvent(
            kind=kind,
            start_s=float(rows.start_s[first]),
            start_end_s=float(rows.end_s[first]),
            back_s=0.0,
            back_end_s=0.0,
            extreme_v=float(part[0]),
            reference_v=float(reference[first]),
            before_s=gap_s if first == 0 else 0.0,
        )
    extremes = np.append(part, opened.extreme_v)
    return replace(
        opened,
        extreme_v=float(extremes.max() if kind == "swell" else extremes.min()),
        back_s=float(rows.start_s[back]),
        back_end_s=float(rows.end_s[back]),
        clipped=opened.clipped or bool(rows.clipped[first:last].any()),
        still_open=not ends_here,
    )


def sliding_reference(
    before_v: float, values_v: Floats, flagged: Bools, filter_old: float = 0.9967
) -> Floats:
    """Follow the voltage slowly: 0.9967 of the old value and 0.0033 of each new 10/12-cycle value (1 min).

    A flagged value leaves the reference as it is. IEC 61000-4-30, quoted; the factors follow from 200 ms
    and 1 min. Returns the reference after each value.
    """
    out = np.empty(len(values_v))
    level = before_v
    for i, (value, marked) in enumerate(zip(values_v.tolist(), flagged.tolist(), strict=True)):
        if not marked:
            level = filter_old * level + (1.0 - filter_old) * value
        out[i] = level
    return out


def runs_of(marks: Bools) -> Ints:
    """Give first and one past the last index of each run of true values, one row a run."""
    steps = np.diff(marks.astype(np.int8), prepend=np.int8(0), append=np.int8(0))
    return np.stack((np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)), axis=1)
