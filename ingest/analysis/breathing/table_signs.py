"""Read leak, kink, double trigger and disconnection from the table of breaths, by stated rules."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from ingest.analysis.breathing.model import (
    CANNOT_TELL,
    BreathTable,
    Finding,
    Floats,
    Millis,
    rolling_median,
)
from ingest.analysis.breathing.wave_signs import FLAT_SHARE
from ingest.analysis.spans import Span

BEFORE_MS: Final = 600_000  # what came before a disconnection is looked for in the ten minutes before
LEAK_SHARE: Final = 0.15  # house rule: fall of the peak over the resting level
LEAK_CMH2O: Final = 2.0
KINK_SHARE: Final = 0.25  # house rule: sudden rise of the peak
KINK_CMH2O: Final = 5.0
STEADY_SETTING: Final = 0.06  # rate and Ti within this share of each other count as unchanged settings
TREND_BREATHS: Final = 61
SURE_MS: Final = 120  # after an inspiration the module is sure of it
DOUBLE_TRIGGER_SHARE: Final = 0.5  # Te < half the mean Ti: Thille criteria, Crit Care cc13063 (published)


def double_triggers(table: BreathTable) -> tuple[Finding, ...]:
    """Return pairs of cycles whose expiration is under half the mean inspiratory time (published rule)."""
    if len(table) < 3:
        return ()
    ti_mean = float(np.mean(table.ti_s))
    rows = np.flatnonzero(table.te_s[:-1] < DOUBLE_TRIGGER_SHARE * ti_mean)
    ends = table.end_ms
    return tuple(
        Finding(
            key="finding.double_trigger", start_ms=int(table.start_ms[row]), end_ms=int(ends[row + 1]),
            confidence=0.9, evidence={"te_s": float(table.te_s[row]), "mean_ti_s": ti_mean},
        )
        for row in rows
    )  # fmt: skip


def disconnections(
    table: BreathTable,
    *,
    watched: Sequence[Span],
    limit_cmh2o: float,
    delay_s: float,
    others: Sequence[Finding] = (),
) -> tuple[Finding, ...]:
    """Return the stretches of watched time without a breath above the apart limit, longer than the delay.

    `watched` are UTC spans with a pressure signal and a patient on the ventilator; time outside them is
    unmonitored and never counted. Limit (cmH2O) and delay (s) are the settings in force: see
    `contract.settings.confirm` and `disconnect_delay`. A breath is recorded once the next one's inspiration
    is over, so what lies that near to the end of a span isn't known yet and doesn't count as silence.
    Evidence says how long, the highest pressure of breaths in it (a narrow tube against a pillow keeps
    some), and how many minutes earlier the nearest of `others` ended (−1: none within ten minutes).
    """
    good = table.start_ms[table.peak >= limit_cmh2o]
    found = []
    for start_ms, end_ms in watched:
        marks = good[(good >= start_ms) & (good < end_ms)]
        edges = np.concatenate(([start_ms], marks, [end_ms]))
        silence = np.diff(edges).astype(np.float64)
        silence[-1] -= _not_yet_recorded_ms(table, marks)
        for row in np.flatnonzero(silence > 1000.0 * delay_s):
            found.append(_apart(table, int(edges[row]), int(edges[row + 1]), limit_cmh2o, others))
    return tuple(found)


def silences(table: BreathTable, watched: Span, longest_s: float) -> tuple[Finding, ...]:
    """Return the stretches of watched time without any breath for longer than allowed, s.

    For breathing that has no usual peak to fall short of: by hand and draw-over. Whether the circuit came
    apart, breathing stopped or a pull was too small to be seen can't be told.
    """
    marks = table.within(*watched).start_ms
    edges = np.concatenate(([watched[0]], marks, [watched[1]])).astype(np.int64)
    silence = np.diff(edges).astype(np.float64)
    silence[-1] -= _not_yet_recorded_ms(table, marks)
    rows = np.flatnonzero(silence > 1000.0 * longest_s)
    return tuple(
        Finding(
            key="finding.no_breath", start_ms=int(edges[row]), end_ms=int(edges[row + 1]), confidence=0.7,
            evidence={"allowed_s": longest_s},
            cannot_tell=("finding.apart_or_apnoea_or_sensor", "pressure_cannot_tell.volume"),
        )
        for row in rows
    )  # fmt: skip


def _not_yet_recorded_ms(table: BreathTable, marks: Millis) -> float:
    """Return how long after its start a breath that follows the last mark may still be without a record."""
    if not marks.size:
        return 0.0
    return 1000.0 * float(np.median(table.period_s) + np.median(table.ti_s)) + SURE_MS


def _apart(
    table: BreathTable, from_ms: int, to_ms: int, limit: float, others: Sequence[Finding]
) -> Finding:
    """Build one disconnection: it begins where the last good breath ended."""
    row = int(np.searchsorted(table.start_ms, from_ms))
    last_good = row < len(table) and int(table.start_ms[row]) == from_ms
    # A breath before a silence lasts no longer than the usual one: its own end is the next breath found.
    usual_ms = round(1000.0 * float(np.median(table.period_s))) if len(table) else 0
    start_ms = min(int(table.end_ms[row]), from_ms + usual_ms, to_ms) if last_good else from_ms
    weak = table.within(start_ms, to_ms)
    before = what_came_before(start_ms, others)
    evidence = {
        "limit_cmh2o": limit,
        "highest_cmh2o": float(weak.peak.max()) if len(weak) else float("nan"),
        "weak_breaths": float(len(weak)),
        "before_min": (start_ms - before.end_ms) / 60_000.0 if before else -1.0,
    }
    return Finding(
        key="finding.apart", after=before.key if before else None, start_ms=start_ms,
        end_ms=to_ms, confidence=0.9 if len(weak) == 0 else 0.7, evidence=evidence,
        cannot_tell=("finding.apart_or_apnoea_or_sensor", "finding.where_apart"),
    )  # fmt: skip


def what_came_before(start_ms: int, others: Sequence[Finding]) -> Finding | None:
    """Return the finding that ended last within ten minutes before, or still ran; None when there is none."""
    near = [f for f in others if f.start_ms < start_ms and f.end_ms >= start_ms - BEFORE_MS]
    return max(near, key=lambda f: (min(f.end_ms, start_ms), f.confidence), default=None)


def settings_runs(table: BreathTable, *, breaths_min: int = 2 * TREND_BREATHS) -> tuple[tuple[int, int], ...]:
    """Return row ranges [first, last) in which rate and Ti stayed within 6 %: constant settings, as seen."""
    if len(table) < breaths_min:
        return ()
    period, ti = rolling_median(table.period_s, 9), rolling_median(table.ti_s, 9)
    runs, first = [], 0
    for row in range(1, len(table) + 1):
        moved = row == len(table) or (
            abs(period[row] / period[first] - 1.0) > STEADY_SETTING
            or abs(ti[row] / ti[first] - 1.0) > 2.0 * STEADY_SETTING
        )
        if moved:
            if row - first >= breaths_min:
                runs.append((first, row))
            first = row
    return tuple(runs)


def leaks(table: BreathTable) -> tuple[Finding, ...]:
    """Return stretches in which the peak sank by 15 % and 2 cmH2O at constant settings.

    A leak and a lung that became softer look alike; a falling end-expiratory pressure speaks for the leak
    (confidence 0.8 against 0.5). House rule; medians of 61 breaths.
    """
    found = []
    for first, last in settings_runs(table):
        part = table.pick(slice(first, last))
        rise = rolling_median(part.peak - part.end_expiratory, TREND_BREATHS)
        rest = rolling_median(part.end_expiratory, TREND_BREATHS)
        best = np.maximum.accumulate(rise)
        low = (rise <= (1.0 - LEAK_SHARE) * best) & (best - rise >= LEAK_CMH2O)
        if not low.any():
            continue
        start, end = int(np.argmax(rise)), int(np.flatnonzero(low)[-1])
        rest_fall = float(rest[start] - rest[end])
        found.append(
            Finding(
                key="finding.leak", start_ms=int(part.start_ms[start]), end_ms=int(part.end_ms[end]),
                confidence=0.8 if rest_fall >= 0.5 else 0.5, inference=True,
                evidence={
                    "rise_from_cmh2o": float(rise[start]), "rise_to_cmh2o": float(rise[end]),
                    "end_expiratory_fall_cmh2o": rest_fall,
                },
                cannot_tell=("finding.leak_or_compliance", CANNOT_TELL[0]),
            )
        )  # fmt: skip
    return tuple(found)


def kinks(table: BreathTable, flat_top: Floats | None = None) -> tuple[Finding, ...]:
    """Return sudden rises of the peak: 25 % and 5 cmH2O above the 20 breaths before, for 3 breaths.

    With a pause, an unchanged plateau says resistance (kink, secretion, narrow airway) at 0.8; a changed one
    says compliance at 0.6; without a pause the two can't be told apart. `flat_top` (see
    wave_signs.flat_top_share) with a share above 0.35 adds 'can't be told: pressure is limited'.
    """
    found: list[Finding] = []
    row = 0
    for risen, before in zip(*_rises(table.peak), strict=True):
        if risen < row:  # belongs to the rise before it
            continue
        row = risen
        high = table.peak[row:] >= before + KINK_CMH2O / 2
        length = int(np.argmin(high)) if not high.all() else high.size
        found.append(_kink(table, row, row + length, before))
        row += length + 20
    if flat_top is not None:
        found += _limited(table, flat_top)
    return tuple(sorted(found, key=lambda finding: finding.start_ms))


def _rises(peak: Floats) -> tuple[list[int], list[float]]:
    """Return the breaths that begin a rise over the 20 before them, and the middle of those 20."""
    if peak.size < 23:
        return [], []
    window = np.lib.stride_tricks.sliding_window_view
    before = np.median(window(peak[:-3], 20), axis=1)
    now = window(peak[20:], 3).min(axis=1)
    risen = np.flatnonzero((now - before >= KINK_CMH2O) & (now >= (1.0 + KINK_SHARE) * before))
    return (risen + 20).tolist(), before[risen].tolist()


def _kink(table: BreathTable, first: int, last: int, before: float) -> Finding:
    now = float(np.median(table.peak[first:last]))
    then = table.plateau[first - 20 : first]
    since = table.plateau[first:last]
    evidence = {"peak_from_cmh2o": before, "peak_to_cmh2o": now, "breaths": float(last - first)}
    if np.isnan(then).all() or np.isnan(since).all():
        key, confidence, open_ = "finding.peak_jump", 0.5, ("pressure_cannot_tell.resistance_or_compliance",)
    else:
        step = float(np.nanmedian(since) - np.nanmedian(then))
        evidence["plateau_step_cmh2o"] = step
        resistive = abs(step) <= max(1.0, 0.25 * (now - before))
        key = "finding.kink" if resistive else "finding.stiffer"
        confidence = 0.8 if resistive else 0.6
        open_ = ("finding.kink_or_secretion_or_airway",) if resistive else ("finding.stiff_lung_or_chest",)
    return Finding(
        key=key, start_ms=int(table.start_ms[first]), end_ms=int(table.end_ms[last - 1]),
        confidence=confidence, evidence=evidence, inference=True, cannot_tell=open_,
    )  # fmt: skip


def _limited(table: BreathTable, flat_top: Floats) -> list[Finding]:
    """Mark stretches of 10 breaths and more held at one flat top: behind a limit nothing can be told."""
    share = rolling_median(flat_top, 5)
    flat = np.concatenate(([0], np.nan_to_num(share) >= FLAT_SHARE, [0])).astype(np.int8)
    edges = np.flatnonzero(np.diff(flat))
    found = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if last - first < 10:
            continue
        peaks = table.peak[first:last]
        found.append(
            Finding(
                key="finding.pressure_limited", start_ms=int(table.start_ms[first]),
                end_ms=int(table.end_ms[last - 1]), confidence=0.8,
                evidence={
                    "limit_cmh2o": float(np.median(peaks)), "peak_spread_cmh2o": float(np.std(peaks)),
                    "flat_share": float(np.median(share[first:last])),
                },
                cannot_tell=("pressure_cannot_tell.kink_behind_limit", CANNOT_TELL[0], CANNOT_TELL[2]),
            )
        )  # fmt: skip
    return found
