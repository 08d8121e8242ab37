"""What really happened, collected while the plant runs; nothing here comes from a detector of the module."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np

from firmware_sim.contract import SUPPLY_RATE_HZ
from firmware_sim.contract.channels import SUPPLY_STATES
from firmware_sim.world import breath_truth, supply_truth
from firmware_sim.world.actions import INFERABLE, OBSERVABLE
from firmware_sim.world.supply_truth import FoundEvent

TAPS = ("in", "out")


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """One true fact; times in ms from the start, `end_ms` None while it lasts.

    `observability`: 'observable' in the module's signals, 'inferable' with other evidence, 'unobservable'.
    `residual_pct` of nominal and `tap` hold for supply events only.
    """

    kind: str
    start_ms: int
    end_ms: int | None
    observability: str = OBSERVABLE
    tap: str | None = None
    residual_pct: float | None = None
    details: Mapping[str, Any] = field(default_factory=dict)


class StateInterval(NamedTuple):
    """One interval of the true supply state; `end_ms` None while it lasts."""

    state: str
    start_ms: int
    end_ms: int | None


def sample_ms(sample: int) -> int:
    """Return the time of a sample, rounded down to ms."""
    return sample * 1000 // SUPPLY_RATE_HZ


def supply_record(event: FoundEvent, tap: int, nominal_v: float) -> Truth:
    """Turn a found supply event into a record; its convention is that of `supply_truth`."""
    residual = float(np.sqrt(event.residual_mean_square)) / nominal_v
    threshold = supply_truth.SWELL_ABOVE_PCT if event.kind == "swell" else supply_truth.DIP_BELOW_PCT
    details: dict[str, Any] = {
        "start_sample": event.start,
        "end_sample": event.end,
        # Within the 1 % that a class S instrument may be wrong (IEC 61000-4-30, from memory).
        "marginal": abs(residual - threshold) < 1.0,
    }
    if event.cut_start is not None:
        details["cut_start_ms"] = sample_ms(event.cut_start)
        details["cut_end_ms"] = None if event.cut_end is None else sample_ms(event.cut_end)
    return Truth(
        kind=event.kind,
        start_ms=sample_ms(event.start),
        end_ms=None if event.end is None else sample_ms(event.end),
        tap=TAPS[tap],
        residual_pct=round(residual, 3),
        details=details,
    )


class Intervals:
    """Runs of true in masks that arrive block by block."""

    def __init__(self, kind: str, observability: str = OBSERVABLE) -> None:
        self.kind = kind
        self.observability = observability
        self.spans: list[tuple[int, int | None]] = []

    @property
    def standing(self) -> bool:
        """Whether the last run lasts."""
        return bool(self.spans) and self.spans[-1][1] is None

    def feed(self, first_ms: int, step_ms: int, mask: np.ndarray) -> None:
        """Add one run of samples that starts at `first_ms`."""
        standing = self.standing
        if mask.all() if standing else not mask.any():
            return
        edges = np.flatnonzero(np.diff(np.concatenate(([standing], mask))))
        for edge in edges:
            at = first_ms + int(edge) * step_ms
            if standing:
                self.spans[-1] = (self.spans[-1][0], at)
            else:
                self.spans.append((at, None))
            standing = not standing

    def records(self) -> list[Truth]:
        """Return the runs as records."""
        return [
            Truth(kind=self.kind, start_ms=a, end_ms=b, observability=self.observability)
            for a, b in self.spans
        ]


def held_below(values: np.ndarray, limit: float, clear: float, held: bool) -> np.ndarray:
    """Return where values are below `limit`, held until they reach `clear`; `held` is the state before."""
    if not held and values.min() >= limit:
        return np.zeros(len(values), dtype=bool)
    change = np.where(values < limit, 1, np.where(values >= clear, -1, 0))
    change = np.concatenate(([1 if held else -1], change))
    last = np.maximum.accumulate(np.where(change != 0, np.arange(len(change)), 0))
    return np.asarray(change[last][1:] > 0)


class TruthLog:
    """All that happened so far."""

    def __init__(self, nominal_v: float) -> None:
        self.nominal_v = nominal_v
        self.closed: list[Truth] = []
        self.standing: dict[str, Truth] = {}
        self.states: list[tuple[int, int, int]] = []
        self.breath_rows: list[np.ndarray] = []
        self.intervals = {
            "purity_below_82": Intervals("purity_below_82"),
            "purity_below_70": Intervals("purity_below_70"),
            "oxygen_flow_stopped": Intervals("oxygen_flow_stopped", INFERABLE),
            "concentrator_stopped": Intervals("concentrator_stopped", INFERABLE),
            "cylinder_feeding": Intervals("cylinder_feeding", INFERABLE),
            "drive_lost": Intervals("drive_lost", INFERABLE),
            "module_dark": Intervals("module_dark"),
        }

    def begin(self, record: Truth) -> None:
        """Open a record of its kind; one that stands already is closed first."""
        self.end((record.kind,), record.start_ms)
        self.standing[record.kind] = record

    def end(self, kinds: tuple[str, ...], ms: int) -> None:
        """Close the standing records of these kinds."""
        for kind in kinds:
            record = self.standing.pop(kind, None)
            if record is not None:
                self.add(record, ms)

    def add(self, record: Truth, end_ms: int | None) -> None:
        """Keep a record with its end."""
        self.closed.append(replace(record, end_ms=end_ms))

    def supply_rows(self, rows: np.ndarray) -> None:
        """Keep the supply events that ended."""
        for row in rows:
            self.closed.append(
                supply_record(supply_truth.as_event(row), int(row[supply_truth.TAP]), self.nominal_v)
            )

    def records(self, finders: np.ndarray) -> list[Truth]:
        """Return all records by start time, standing ones with end None."""
        found = [*self.closed, *self.standing.values()]
        for runs in self.intervals.values():
            found += runs.records()
        for tap, finder in enumerate(finders):
            event = supply_truth.open_event(finder)
            if event is not None:
                found.append(supply_record(event, tap, self.nominal_v))
        return sorted(found, key=lambda r: (r.start_ms, r.kind, r.tap or ""))

    def state_intervals(self) -> list[StateInterval]:
        """Return the true supply states in order."""
        ends: list[int | None] = [row[0] for row in self.states[1:]]
        pairs = zip(self.states, [*ends, None], strict=False)
        return [StateInterval(SUPPLY_STATES[state], ms, end) for (ms, state, _), end in pairs]

    def breaths(self) -> dict[str, np.ndarray]:
        """Return the closed breaths as columns: times in ms, pressures in 0.001 cmH2O, volume in mL."""
        rows = np.concatenate(self.breath_rows) if self.breath_rows else np.zeros((0, breath_truth.ROW_WIDTH))
        return breath_columns(rows[rows[:, breath_truth.KIND] != breath_truth.KIND_EFFORT])

    def efforts(self) -> dict[str, np.ndarray]:
        """Return the efforts of a patient during ventilation: start_ms, effort_ucm (size)."""
        rows = np.concatenate(self.breath_rows) if self.breath_rows else np.zeros((0, breath_truth.ROW_WIDTH))
        rows = rows[rows[:, breath_truth.KIND] == breath_truth.KIND_EFFORT]
        return {
            "start_ms": rows[:, breath_truth.START_MS].astype(np.int64),
            "effort_ucm": np.rint(-1000.0 * rows[:, breath_truth.LOWEST]).astype(np.int64),
        }


def breath_columns(rows: np.ndarray) -> dict[str, np.ndarray]:
    """Return breath rows as named integer columns."""

    def column(k: int, scale: float = 1.0) -> np.ndarray:
        return np.asarray(np.rint(scale * rows[:, k]).astype(np.int64))

    return {
        "start_ms": column(breath_truth.START_MS),
        "kind": column(breath_truth.KIND),
        "peak_ucm": column(breath_truth.PEAK, 1000.0),
        "lowest_ucm": column(breath_truth.LOWEST, 1000.0),
        "end_expiratory_ucm": column(breath_truth.END_EXPIRATORY, 1000.0),
        "mean_ucm": column(breath_truth.MEAN, 1000.0),
        "ti_ms": column(breath_truth.TI_MS),
        "te_ms": column(breath_truth.TE_MS),
        "volume_ml": column(breath_truth.VOLUME_ML),
        "apart": column(breath_truth.APART),
    }
