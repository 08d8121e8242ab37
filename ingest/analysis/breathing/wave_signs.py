"""Read effort dips, coughs, water and a flat top from the pressure wave, breath by breath."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ingest.analysis.breathing.model import BreathTable, Finding, Floats, PressureTrace
from ingest.analysis.breathing.reference import smoothed

EFFORT_DROP_CMH2O: Final = 0.5  # below the baseline: Thille criteria, Crit Care cc13063 (published)
EFFORT_S_MIN: Final = 0.06  # house rule: shorter dips are noise or heartbeat
EFFORT_SETTLE_S: Final = 0.35  # house rule: the fall of expiration itself isn't a dip
TRIGGER_S: Final = 0.30  # house rule: a dip this near the next rise triggered it
COUGH_RISE_CMH2O: Final = 8.0  # house rule: above the breath's usual pressure
COUGH_S: Final = (0.04, 0.6)  # house rule
WATER_RMS_CMH2O: Final = 0.25  # house rule
WATER_HZ: Final = (3.0, 14.0)  # house rule: water in a tube rattles at a few a second
FLAT_BAND_CMH2O: Final = 0.4
FLAT_SHARE: Final = 0.35  # house rule: this share of inspiration at the top means a limited pressure


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    """Hold one breath as sample indices: start, turn, end, and the wave's own noise (cmH2O)."""

    start: int
    turn: int
    end: int
    noise: float


def wave_findings(trace: PressureTrace, table: BreathTable) -> tuple[Finding, ...]:
    """Return effort dips, coughs and water found in the wave, in time order.

    Each row of `table` must lie in `trace`; breaths with missing samples are passed over.
    """
    pressure = trace.pressure_cmh2o
    smooth = smoothed(np.nan_to_num(pressure), trace.rate_hz, 0.05)
    noise = noise_cmh2o(pressure)
    usual_peak = float(np.median(table.peak)) if len(table) else 0.0
    found: list[Finding] = []
    for row in range(len(table)):
        span = _span(trace, table, row, noise)
        piece = pressure[span.start : span.end]
        if piece.size < 10 or np.isnan(piece).any():
            continue
        found += _efforts(trace, smooth, span, float(table.end_expiratory[row]))
        found += _coughs(trace, smooth, span, max(usual_peak, 0.0))
        found += _water(trace, pressure, span)
    return tuple(sorted(found, key=lambda finding: finding.start_ms))


def noise_cmh2o(pressure: Floats) -> float:
    """Return the sample noise's standard deviation from first differences (median, so edges don't count)."""
    steps = np.diff(pressure)
    steps = steps[~np.isnan(steps)]
    return float(1.4826 * np.median(np.abs(steps)) / np.sqrt(2.0)) if steps.size else 0.0


def _span(trace: PressureTrace, table: BreathTable, row: int, noise: float) -> _Span:
    start = int(table.start_ms[row])
    turn = start + round(1000.0 * float(table.ti_s[row]))
    return _Span(
        start=trace.index_at(start),
        turn=trace.index_at(turn),
        end=trace.index_at(int(table.end_ms[row])),
        noise=noise,
    )


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _efforts(trace: PressureTrace, smooth: Floats, span: _Span, baseline: float) -> list[Finding]:
    """Find dips of ≥ 0.5 cmH2O under the end-expiratory level: one before the rise triggered it."""
    first = span.turn + int(EFFORT_SETTLE_S * trace.rate_hz)
    quiet = smooth[first : span.end]
    if quiet.size < 3:
        return []
    level = max(baseline, float(np.median(quiet)))
    drop = max(EFFORT_DROP_CMH2O, 4.0 * span.noise / np.sqrt(max(1.0, 0.05 * trace.rate_hz)))
    found = []
    for a, b in _runs(quiet <= level - drop):
        depth, seconds = float(level - quiet[a:b].min()), (b - a) / trace.rate_hz
        # The resting level is the higher of two; a whole expiration under it isn't a dip.
        if seconds < EFFORT_S_MIN or b - a > 0.6 * quiet.size:
            continue
        gap_s = (quiet.size - b) / trace.rate_hz
        key = "finding.effort_triggered" if gap_s <= TRIGGER_S else "finding.effort_ineffective"
        found.append(
            Finding(
                key=key, start_ms=trace.at_ms(first + a), end_ms=trace.at_ms(first + b),
                confidence=min(1.0, 0.5 * depth / drop),
                evidence={"depth_cmh2o": depth, "dip_s": seconds, "to_next_rise_s": gap_s},
                cannot_tell=("finding.effort_or_suction_or_movement",),
            )
        )  # fmt: skip
    return found


def _coughs(trace: PressureTrace, smooth: Floats, span: _Span, usual_peak: float) -> list[Finding]:
    """Find short spikes well above the usual peak."""
    piece = smooth[span.start : span.end]
    found = []
    for a, b in _runs(piece >= usual_peak + COUGH_RISE_CMH2O):
        seconds, rise = (b - a) / trace.rate_hz, float(piece[a:b].max() - usual_peak)
        if COUGH_S[0] <= seconds <= COUGH_S[1]:
            found.append(
                Finding(
                    key="finding.cough", start_ms=trace.at_ms(span.start + a),
                    end_ms=trace.at_ms(span.start + b),
                    confidence=min(0.9, 0.5 * rise / COUGH_RISE_CMH2O),
                    evidence={"rise_cmh2o": rise, "spike_s": seconds},
                    cannot_tell=("finding.cough_or_push_on_chest",),
                )
            )  # fmt: skip
    return found


def _water(trace: PressureTrace, pressure: Floats, span: _Span) -> list[Finding]:
    """Find a rattle of 3–14 Hz that lasts through the calm of expiration: present in each third of it."""
    guard, width_s = int(0.2 * trace.rate_hz), 1.0 / WATER_HZ[0]
    calm = pressure[span.turn + guard : span.end - guard // 2]
    edge = int(width_s * trace.rate_hz) // 2
    ripple = (calm - smoothed(calm, trace.rate_hz, width_s))[edge : calm.size - edge] if calm.size else calm
    if ripple.size < int(0.4 * trace.rate_hz):
        return []
    thirds = [float(np.mean(part**2)) - span.noise**2 for part in np.array_split(ripple, 3)]
    crossings = int(np.count_nonzero(np.diff(np.signbit(smoothed(ripple, trace.rate_hz, 0.05)))))
    hz = crossings / 2.0 / (ripple.size / trace.rate_hz)
    rms = max(min(thirds), 0.0) ** 0.5
    if rms < max(WATER_RMS_CMH2O, 1.5 * span.noise) or not WATER_HZ[0] <= hz <= WATER_HZ[1]:
        return []
    return [
        Finding(
            key="finding.water", start_ms=trace.at_ms(span.start), end_ms=trace.at_ms(span.end),
            confidence=min(0.9, 0.5 * rms / WATER_RMS_CMH2O),
            evidence={"ripple_rms_cmh2o": rms, "ripple_hz": hz},
            cannot_tell=("finding.water_or_secretion",),
        )
    ]  # fmt: skip


def flat_top_share(trace: PressureTrace, table: BreathTable) -> Floats:
    """Return, breath by breath, the share of inspiration spent within 0.4 cmH2O of the peak.

    About 0.35 and more means that a limit or a pressure-controlled mode holds the pressure: what happens to
    the lung or the tube behind it then can't be told from pressure.
    """
    share = np.full(len(table), np.nan)
    for row in range(len(table)):
        span = _span(trace, table, row, 0.0)
        piece = trace.pressure_cmh2o[span.start : span.turn]
        if piece.size and not np.isnan(piece).any():
            share[row] = float(np.mean(piece >= table.peak[row] - FLAT_BAND_CMH2O))
    return share
