"""Read effort dips, coughs, water and a flat top from the pressure wave, breath by breath."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from ingest.analysis.breathing.model import BreathTable, Finding, Floats, PressureTrace
from ingest.analysis.breathing.reference import smoothed

EFFORT_DROP_CMH2O: Final = 0.5  # below the baseline: Thille criteria, Crit Care cc13063 (published)
EFFORT_S_MIN: Final = 0.06  # house rule: shorter dips are noise or heartbeat
EFFORT_SETTLE_S: Final = 0.35  # house rule: the fall of expiration itself isn't a dip
EFFORT_FALL_S: Final = 0.6  # house rule: slower falls are leaks
TRIGGER_S: Final = 0.30  # house rule: a dip this near the next rise triggered it
COUGH_RISE_CMH2O: Final = 8.0  # house rule: above the breath's usual pressure
COUGH_S: Final = (0.04, 0.6)  # house rule
RIPPLE_S: Final = 0.25  # slower than this is breathing, faster is ripple
WATER_RMS_CMH2O: Final = 0.25  # house rule
WATER_HZ: Final = (3.0, 16.0)  # house rule: water in a tube rattles a few times a second while gas flows
WATER_NEAR_SHARE: Final = 0.3  # house rule: with this share of rattling breaths near, dips tell no effort
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
    pressure = np.nan_to_num(trace.pressure_cmh2o)
    smooth = smoothed(pressure, trace.rate_hz, 0.05)
    ripple = smooth - smoothed(pressure, trace.rate_hz, RIPPLE_S)
    noise = noise_cmh2o(trace)
    usual_peak = max(float(np.median(table.peak)), 0.0) if len(table) else 0.0
    spans = _spans(trace, table, noise)
    missing = np.concatenate(([0], np.cumsum(np.isnan(trace.pressure_cmh2o))))
    whole = [s.end - s.start >= 10 and missing[s.end] == missing[s.start] for s in spans]
    energy = np.concatenate(([0.0], np.cumsum(ripple**2)))
    water = [_water(trace, ripple, energy, s) if ok else [] for s, ok in zip(spans, whole, strict=True)]
    rattling = smoothed(np.array([float(bool(w)) for w in water]), 1.0, 11.0) if water else np.zeros(0)
    found = [finding for one in water for finding in one]
    for row, span in enumerate(spans):
        if whole[row]:
            found += _coughs(trace, smooth, span, usual_peak)
        if whole[row] and rattling[row] < WATER_NEAR_SHARE:
            found += _efforts(trace, smooth, span)
    return tuple(sorted(found, key=lambda finding: finding.start_ms))


def noise_cmh2o(trace: PressureTrace) -> float:
    """Return the sample noise's standard deviation: the quietest fifth of quarter seconds, by differences."""
    width = max(4, int(0.25 * trace.rate_hz))
    steps = np.diff(trace.pressure_cmh2o)
    parts = steps[: steps.size // width * width].reshape(-1, width)
    parts = parts[~np.isnan(parts).any(axis=1)]
    if parts.size == 0:
        return 0.0
    return float(np.percentile(np.sqrt(np.mean(parts**2, axis=1) / 2.0), 20))


def _spans(trace: PressureTrace, table: BreathTable, noise: float) -> list[_Span]:
    turn_ms = table.start_ms + np.rint(1000.0 * table.ti_s).astype(np.int64)
    index = [
        np.clip(np.rint((at - trace.start_ms) * trace.rate_hz / 1000.0), 0, trace.pressure_cmh2o.size)
        for at in (table.start_ms, turn_ms, table.end_ms)
    ]
    rows = zip(*(column.astype(np.int64).tolist() for column in index), strict=True)
    return [_Span(start=a, turn=b, end=c, noise=noise) for a, b, c in rows]


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _efforts(trace: PressureTrace, smooth: Floats, span: _Span) -> list[Finding]:
    """Find dips of ≥ 0.5 cmH2O under the resting level that fell within 0.6 s; one near a rise triggered it.

    Both conditions matter: a leak sags below rest but slowly, the end of a long expiration falls but to rest.
    """
    first = span.turn + int(EFFORT_SETTLE_S * trace.rate_hz)
    quiet = smooth[first : span.end]
    if quiet.size < 3:
        return []
    drop = max(EFFORT_DROP_CMH2O, 4.0 * span.noise / float(np.sqrt(max(1.0, 0.05 * trace.rate_hz))))
    lowest = quiet.min()
    # The middle lies below the greatest: most breaths are done with here.
    if lowest > quiet.max() - drop:
        return []
    level = float(np.median(quiet))
    if lowest > level - drop:
        return []
    width = int(EFFORT_FALL_S * trace.rate_hz)
    recent = maximum_filter1d(quiet, size=width, origin=(width - 1) // 2)  # looks back only
    found = []
    for a, b in _runs((quiet <= level - drop) & (quiet <= recent - drop)):
        depth, seconds = float(level - quiet[a:b].min()), (b - a) / trace.rate_hz
        if seconds < EFFORT_S_MIN:
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
    if piece.max() < usual_peak + COUGH_RISE_CMH2O:
        return []
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


def _water(trace: PressureTrace, ripple: Floats, energy: Floats, span: _Span) -> list[Finding]:
    """Find a rattle of 3–16 Hz that lasts through inspiration or expiration, away from their edges.

    `energy` is the running sum of the squared ripple, from 0.
    """
    hz = trace.rate_hz
    edge = int((RIPPLE_S / 2 + 0.05) * hz)
    phases = ((span.start + edge, span.turn - edge), (span.turn + edge + int(0.1 * hz), span.end - edge))
    # Averaging five samples leaves white noise its square root of a fifth.
    limit = max(WATER_RMS_CMH2O, 3.0 * span.noise / float(np.sqrt(max(1.0, 0.05 * hz))))
    for first, last in phases:
        if last - first < int(0.3 * hz) or energy[last] - energy[first] < limit**2 * (last - first):
            continue
        third = (last - first) / 3
        cuts = (first, first + round(third), first + round(2 * third), last)
        powers = [(energy[b] - energy[a]) / (b - a) for a, b in zip(cuts, cuts[1:], strict=False)]
        rms = float(np.sqrt(max(min(powers), 0.0)))
        if rms < limit:
            continue
        signs = np.signbit(ripple[first:last])
        rattle_hz = np.count_nonzero(signs[1:] != signs[:-1]) / 2.0 / ((last - first) / hz)
        if WATER_HZ[0] <= rattle_hz <= WATER_HZ[1]:
            return [
                Finding(
                    key="finding.water", start_ms=trace.at_ms(span.start), end_ms=trace.at_ms(span.end),
                    confidence=min(0.9, 0.5 * rms / limit),
                    evidence={"ripple_rms_cmh2o": rms, "ripple_hz": float(rattle_hz)},
                    cannot_tell=("finding.water_or_secretion",),
                )
            ]  # fmt: skip
    return []


def flat_top_share(trace: PressureTrace, table: BreathTable) -> Floats:
    """Return, breath by breath, the share of inspiration spent within 0.4 cmH2O of the peak.

    About 0.35 and more means that a limit or a pressure-controlled mode holds the pressure: what happens to
    the lung or the tube behind it then can't be told from pressure.
    """
    spans = _spans(trace, table, 0.0)
    start, turn = (np.array([getattr(s, name) for s in spans], dtype=np.int64) for name in ("start", "turn"))
    length = np.maximum(turn - start, 0)
    # One long index over all inspirations, and where each begins in it.
    begin = np.cumsum(length) - length
    place = np.repeat(start - begin, length) + np.arange(int(length.sum()))
    pressure = trace.pressure_cmh2o[place]
    near = pressure >= np.repeat(table.peak - FLAT_BAND_CMH2O, length)
    share = np.full(len(table), np.nan)
    known = length > 0
    if known.any():
        heads = begin[known]
        whole = ~np.logical_or.reduceat(np.isnan(pressure), heads)
        part = np.add.reduceat(near.astype(np.float64), heads) / length[known]
        share[known] = np.where(whole, part, np.nan)
    return share
