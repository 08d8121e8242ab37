"""True breaths, one row each, from the model and not from any detector.

A breath lasts from its start to the next start, or 30 s if none follows. Mean pressure is the integral over
that time. Ventilator and hand: inspiration is the time with the expiratory valve shut; patient: the time
with inward flow.
"""

from typing import NamedTuple

import numpy as np

from firmware_sim.world.jit import compiled

KIND_NONE = -1
KIND_VENTILATOR = 0
KIND_HAND = 1
KIND_PATIENT = 2
KIND_EFFORT = 3
KIND_NAMES = ("ventilator", "hand", "patient", "effort")

# Columns of a row, float64; pressures in cmH2O.
START_MS, KIND, PEAK, END_EXPIRATORY, MEAN, TI_MS, TE_MS, VOLUME_ML, LOWEST, APART = range(10)
ROW_WIDTH = 10
_LONGEST_MS = 30_000


class BreathState(NamedTuple):
    """The breath that runs."""

    kind: int = KIND_NONE
    start_ms: int = 0
    peak: float = 0.0
    lowest: float = 0.0
    area: float = 0.0
    steps: int = 0
    in_steps: int = 0
    volume_ml: float = 0.0
    last: float = 0.0
    apart: int = 0
    rows: int = 0


@compiled
def close_breath(b: BreathState, rows: np.ndarray) -> int:
    """Write the breath that runs, if any; return the next free row."""
    if b.kind == KIND_NONE or b.steps == 0:
        return b.rows
    row = rows[b.rows]
    row[START_MS], row[KIND], row[PEAK], row[END_EXPIRATORY] = b.start_ms, b.kind, b.peak, b.last
    row[MEAN], row[TI_MS], row[TE_MS] = b.area / b.steps, 10 * b.in_steps, 10 * (b.steps - b.in_steps)
    row[VOLUME_ML], row[LOWEST], row[APART] = b.volume_ml, b.lowest, b.apart
    return b.rows + 1


@compiled
def step_breath(
    b: BreathState,
    starts: int,
    start_ms: int,
    begin_cmh2o: float,
    end_cmh2o: float,
    breathing_in: bool,
    flow_ml_s: float,
    apart: int,
    rows: np.ndarray,
) -> BreathState:
    """Add one 10 ms step; `starts` is the kind that starts with this step, or KIND_NONE."""
    if starts != KIND_NONE or (b.kind != KIND_NONE and start_ms - b.start_ms >= _LONGEST_MS):
        b = BreathState(
            starts, start_ms, -1e9, 1e9, 0.0, 0, 0, 0.0, b.last, apart, close_breath(b, rows)
        )  # fmt: skip
    if b.kind == KIND_NONE:
        return BreathState(KIND_NONE, 0, 0.0, 0.0, 0.0, 0, 0, 0.0, end_cmh2o, 0, b.rows)
    return BreathState(
        b.kind, b.start_ms, max(b.peak, end_cmh2o), min(b.lowest, end_cmh2o),
        b.area + 0.5 * (begin_cmh2o + end_cmh2o), b.steps + 1, b.in_steps + (1 if breathing_in else 0),
        b.volume_ml + max(flow_ml_s, 0.0) * 0.01, end_cmh2o, max(b.apart, apart), b.rows,
    )  # fmt: skip


@compiled
def effort_row(b: BreathState, start_ms: int, effort_cmh2o: float, rows: np.ndarray) -> int:
    """Write an effort of the patient during ventilation; return the next free row."""
    row = rows[b.rows]
    row[:] = 0.0
    row[START_MS], row[KIND], row[LOWEST] = start_ms, KIND_EFFORT, -effort_cmh2o
    return b.rows + 1


@compiled
def with_rows(b: BreathState, free: int) -> BreathState:
    """Return the state with another count of rows."""
    return BreathState(
        b.kind, b.start_ms, b.peak, b.lowest, b.area, b.steps, b.in_steps, b.volume_ml, b.last, b.apart, free
    )  # fmt: skip
