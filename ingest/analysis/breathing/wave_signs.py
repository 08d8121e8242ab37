"""Read effort dips, coughs, water and a flat top from the pressure wave, breath by breath."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from ingest.analysis.breathing.model import BreathTable, Finding, Floats, Millis, PressureTrace
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

    Each row of `table` must lie in `trace`; breaths with missing samples are passed over. A screen over all
    breaths at once leaves those worth a closer look; it passes no breath over that the rules would name.
    """
    pressure = np.nan_to_num(trace.pressure_cmh2o)
    smooth = smoothed(pressure, trace.rate_hz, 0.05)
    ripple = smooth - smoothed(pressure, trace.rate_hz, RIPPLE_S)
    noise = noise_cmh2o(trace)
    usual_peak = max(float(np.median(table.peak)), 0.0) if len(table) else 0.0
    edges = _edges(trace, table)
    start, end = edges[:, 0], edges[:, 2]
    missing = np.concatenate(([0], np.cumsum(np.isnan(trace.pressure_cmh2o))))
    whole = (end - start >= 10) & (missing[end] == missing[start])
    energy = np.concatenate(([0.0], np.cumsum(ripple**2)))
    spans = [_Span(start=a, turn=b, end=c, noise=noise) for a, b, c in edges.tolist()]
    found: list[Finding] = []
    rattles = np.zeros(len(spans))
    for row in np.flatnonzero(whole & _may_rattle(energy, edges, trace.rate_hz, noise)):
        water = _water(trace, ripple, energy, spans[row])
        found += water
        rattles[row] = bool(water)
    rattling = smoothed(rattles, 1.0, 11.0) if rattles.size else rattles
    for row in np.flatnonzero(whole & (_greatest(smooth, start, end) >= usual_peak + COUGH_RISE_CMH2O)):
        found += _coughs(trace, smooth, spans[row], usual_peak)
    may_dip = _may_dip(smooth, edges, trace.rate_hz, noise)
    for row in np.flatnonzero(whole & (rattling < WATER_NEAR_SHARE) & may_dip):
        found += _efforts(trace, smooth, spans[row])
    return tuple(sorted(found, key=lambda finding: finding.start_ms))


def _parts(starts: Millis, ends: Millis) -> Millis:
    """Return starts and ends in turn, as `reduceat` takes them: every second part was asked for."""
    return np.stack((starts, np.maximum(ends, starts)), axis=1).ravel()


def _greatest(values: Floats, starts: Millis, ends: Millis) -> Floats:
    """Return the greatest value of each part; of an empty part, the value at its start."""
    held = np.append(values, values[-1:])
    return np.asarray(np.maximum.reduceat(held, _parts(starts, ends))[::2], dtype=np.float64)


def _may_rattle(energy: Floats, edges: Millis, rate_hz: float, noise: float) -> NDArray[np.bool_]:
    """Tell which breaths have the energy of a rattle in one of their phases (see `_water`)."""
    limit = _rattle_limit(noise, rate_hz)
    out = np.zeros(len(edges), dtype=np.bool_)
    for first, last in _phases(edges[:, 0], edges[:, 1], edges[:, 2], rate_hz):
        length = np.maximum(last - first, 0)
        inside = np.minimum(first, energy.size - 1)
        held = energy[inside + length] - energy[inside]
        out |= (length >= int(0.3 * rate_hz)) & (held >= limit**2 * length)
    return out


def _may_dip(smooth: Floats, edges: Millis, rate_hz: float, noise: float) -> NDArray[np.bool_]:
    """Tell which breaths fall under the middle of their rest by what a dip takes (see `_efforts`).

    The middle lies that much above the lowest only if about half the samples do: counted, not sorted.
    """
    first, end = edges[:, 1] + int(EFFORT_SETTLE_S * rate_hz), edges[:, 2]
    length = np.maximum(end - first, 0)
    known = np.flatnonzero(length >= 3)
    out = np.zeros(len(edges), dtype=np.bool_)
    if not known.size:
        return out
    size = length[known]
    begin = np.cumsum(size) - size
    quiet = smooth[np.repeat(first[known] - begin, size) + np.arange(int(size.sum()))]
    floor = np.minimum.reduceat(quiet, begin) + _dip_depth(noise, rate_hz)
    above = np.add.reduceat((quiet >= np.repeat(floor, size)).astype(np.int64), begin)
    out[known] = 2 * above >= size - 2
    return out


def _dip_depth(noise: float, rate_hz: float) -> float:
    return max(EFFORT_DROP_CMH2O, 4.0 * noise / float(np.sqrt(max(1.0, 0.05 * rate_hz))))


def _rattle_limit(noise: float, rate_hz: float) -> float:
    # Averaging five samples leaves white noise its square root of a fifth.
    return max(WATER_RMS_CMH2O, 3.0 * noise / float(np.sqrt(max(1.0, 0.05 * rate_hz))))


def _phases(start: Any, turn: Any, end: Any, rate_hz: float) -> tuple[tuple[Any, Any], tuple[Any, Any]]:
    """Return inspiration and expiration without their edges, as samples; of one breath or of many."""
    edge = int((RIPPLE_S / 2 + 0.05) * rate_hz)
    return (start + edge, turn - edge), (turn + edge + int(0.1 * rate_hz), end - edge)


def noise_cmh2o(trace: PressureTrace) -> float:
    """Return the sample noise's standard deviation: the quietest fifth of quarter seconds, by differences."""
    width = max(4, int(0.25 * trace.rate_hz))
    steps = np.diff(trace.pressure_cmh2o)
    parts = steps[: steps.size // width * width].reshape(-1, width)
    parts = parts[~np.isnan(parts).any(axis=1)]
    if parts.size == 0:
        return 0.0
    return float(np.percentile(np.sqrt(np.mean(parts**2, axis=1) / 2.0), 20))


def _edges(trace: PressureTrace, table: BreathTable) -> Millis:
    """Return start, turn and end of each breath as sample indices, one row a breath."""
    turn_ms = table.start_ms + np.rint(1000.0 * table.ti_s).astype(np.int64)
    at = np.stack((table.start_ms, turn_ms, table.end_ms), axis=1)
    index = np.rint((at - trace.start_ms) * trace.rate_hz / 1000.0)
    return np.asarray(np.clip(index, 0, trace.pressure_cmh2o.size), dtype=np.int64)


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
    drop = _dip_depth(span.noise, trace.rate_hz)
    level = float(np.median(quiet))
    if quiet.min() > level - drop:
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
    limit = _rattle_limit(span.noise, hz)
    for first, last in _phases(span.start, span.turn, span.end, hz):
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
    start, turn, _ = _edges(trace, table).T
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
