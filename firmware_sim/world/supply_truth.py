"""True supply events, from one-cycle windows that are renewed each half cycle.

Time-stamp convention, shared by truth and measurement: an event starts at the start of the first one-cycle
window whose rms is beyond the threshold, and ends at the start of the first window that is back inside by
the hysteresis. Windows are whole half cycles of the fundamental; with a residual of 0 for one aligned
cycle an event therefore lasts 1.5 cycles (worked out from the definition).

Thresholds in per cent of nominal: dip below 90 (EN 50160, published), interruption below 5 (EN 50160),
swell above 110, hysteresis 2 (IEC 61000-4-30, from memory).
"""

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from firmware_sim.world.jit import compiled

DIP_BELOW_PCT = 90
SWELL_ABOVE_PCT = 110
INTERRUPTION_BELOW_PCT = 5
HYSTERESIS_PCT = 2

KIND_DIP = 0
KIND_SWELL = 1
KIND_INTERRUPTION = 2
KINDS = ("dip", "swell", "interruption")

# Columns of an event row.
TAP, KIND, START, END, WORST, CUT_START, CUT_END = range(7)
ROW_WIDTH = 7
NONE = -1

# Fields of a finder: one int64 vector a tap.
F_SUM, F_COUNT, F_START, F_LIVE, F_EVENT_START, F_WORST, F_CUT_START, F_CUT_END = range(8)
FINDER_WIDTH = 8
NOT_LIVE = -1


class FoundEvent(NamedTuple):
    """One supply event; times in samples or ticks, as the caller gave them."""

    kind: str
    start: int
    end: int | None
    residual_mean_square: int
    cut_start: int | None
    cut_end: int | None


def new_finder() -> np.ndarray:
    """Return a finder at rest."""
    finder = np.zeros(FINDER_WIDTH, dtype=np.int64)
    finder[[F_LIVE, F_CUT_START, F_CUT_END]] = NONE
    return finder


@compiled
def find_step(
    finder: np.ndarray,
    start: int,
    mean_square: int,
    nominal_square: int,
    rows: np.ndarray,
    row: int,
    tap: int,
) -> int:
    """Feed one one-cycle window; write an event that ended into `rows[row]`, return the next free row.

    `start` is the start of the window; both squares have one unit, for example (0.01 V)².
    """
    per_mille_square = mean_square * 10_000
    below = per_mille_square < DIP_BELOW_PCT * DIP_BELOW_PCT * nominal_square
    above = per_mille_square > SWELL_ABOVE_PCT * SWELL_ABOVE_PCT * nominal_square
    live = finder[F_LIVE]
    if live == KIND_DIP:
        back = DIP_BELOW_PCT + HYSTERESIS_PCT
        ended = per_mille_square >= back * back * nominal_square
    else:
        back = SWELL_ABOVE_PCT - HYSTERESIS_PCT
        ended = live == KIND_SWELL and per_mille_square <= back * back * nominal_square
    if ended:
        cut = live == KIND_DIP and finder[F_CUT_START] != NONE
        rows[row, TAP] = tap
        rows[row, KIND] = KIND_INTERRUPTION if cut else live
        rows[row, START] = finder[F_EVENT_START]
        rows[row, END] = start
        rows[row, WORST] = finder[F_WORST]
        rows[row, CUT_START] = finder[F_CUT_START]
        rows[row, CUT_END] = finder[F_CUT_END]
        row += 1
        finder[F_LIVE] = NOT_LIVE
    if finder[F_LIVE] == NOT_LIVE:
        if below or above:
            finder[F_LIVE] = KIND_DIP if below else KIND_SWELL
            finder[F_EVENT_START] = start
            finder[F_WORST] = mean_square
            finder[F_CUT_START] = NONE
            finder[F_CUT_END] = NONE
        else:
            return row
    if finder[F_LIVE] == KIND_SWELL:
        finder[F_WORST] = max(finder[F_WORST], mean_square)
        return row
    finder[F_WORST] = min(finder[F_WORST], mean_square)
    cut_back = INTERRUPTION_BELOW_PCT + HYSTERESIS_PCT
    if per_mille_square < INTERRUPTION_BELOW_PCT * INTERRUPTION_BELOW_PCT * nominal_square:
        if finder[F_CUT_START] == NONE:
            finder[F_CUT_START] = start
        finder[F_CUT_END] = NONE
    elif (
        finder[F_CUT_START] != NONE
        and finder[F_CUT_END] == NONE
        and per_mille_square >= cut_back * cut_back * nominal_square
    ):
        finder[F_CUT_END] = start
    return row


@compiled
def half_done(
    finder: np.ndarray,
    start: int,
    square_sum: int,
    count: int,
    nominal_square: int,
    rows: np.ndarray,
    row: int,
    tap: int,
) -> int:
    """Feed one finished half cycle of samples; `start` is its first sample."""
    whole_count = finder[F_COUNT] + count
    if finder[F_COUNT] > 0:
        mean_square = (finder[F_SUM] + square_sum) // whole_count
        row = find_step(finder, finder[F_START], mean_square, nominal_square, rows, row, tap)
    finder[F_SUM] = square_sum
    finder[F_COUNT] = count
    finder[F_START] = start
    return row


def open_event(finder: np.ndarray) -> FoundEvent | None:
    """Return the event that still stands, or None."""
    if finder[F_LIVE] == NOT_LIVE:
        return None
    row = np.zeros(ROW_WIDTH, dtype=np.int64)
    cut = finder[F_LIVE] == KIND_DIP and finder[F_CUT_START] != NONE
    row[KIND] = KIND_INTERRUPTION if cut else finder[F_LIVE]
    row[START], row[END], row[WORST] = finder[F_EVENT_START], NONE, finder[F_WORST]
    row[CUT_START], row[CUT_END] = finder[F_CUT_START], finder[F_CUT_END]
    return as_event(row)


def as_event(row: np.ndarray) -> FoundEvent:
    """Turn a row into an event."""
    end, cut_start, cut_end = (None if row[k] == NONE else int(row[k]) for k in (END, CUT_START, CUT_END))
    return FoundEvent(KINDS[int(row[KIND])], int(row[START]), end, int(row[WORST]), cut_start, cut_end)


def find_events(windows: Iterable[tuple[int, int]], nominal_square: int) -> list[FoundEvent]:
    """Find the events in (window start, mean square) pairs, measured or true; the last may be open."""
    finder = new_finder()
    rows = np.zeros((2, ROW_WIDTH), dtype=np.int64)
    events = []
    for start, mean_square in windows:
        if find_step(finder, start, mean_square, nominal_square, rows, 0, 0):
            events.append(as_event(rows[0]))
    standing = open_event(finder)
    return [*events, standing] if standing else events
