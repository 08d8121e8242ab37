"""Estimate flicker from stored Urms(1/2) where no continuous waveform was kept.

Urms(1/2) is the square root of a one-cycle moving mean of squares, sampled twice a cycle: it damps a
fluctuation of f by sin(pi f T)/(pi f T), which is undone below 45 Hz; what lies above folds. So this is an
estimate; its error on the table of rectangular fluctuations is stated with it.
"""

from dataclasses import dataclass

import numpy as np
import scipy  # its parts load when they are first used

from ingest.analysis.supply import flicker
from ingest.analysis.supply.compiled import Floats
from ingest.analysis.supply.windows import HalfCycles

ERROR_PERCENT = 5.0
"""Greatest error found on the six rectangular fluctuations of the table, rounded up (see the tests)."""
NEEDED_S = 600.0 + flicker.SETTLE_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """Give an estimated Pst, or None with the reason, one of REASONS."""

    pst: float | None
    error_percent: float
    reason: str


def _unavailable(reason: str) -> Estimate:
    return Estimate(pst=None, error_percent=float("nan"), reason=reason)


def estimate(rows: HalfCycles, lamp: flicker.Lamp) -> Estimate:
    """Estimate Pst of the last 10 min of unbroken half cycles; the first minute lets the filters settle."""
    if not len(rows) or rows.end_s[-1] - rows.end_s[0] < NEEDED_S - 1.0:
        return _unavailable("too short")
    spacing = np.diff(rows.end_s)
    if spacing.max() > 1.7 * np.median(spacing):
        return _unavailable("values missing")
    if rows.held.any() or rows.clipped.any():
        return _unavailable("interrupted or clipped")
    pinst = _pinst(rows.rms_v, float(1.0 / spacing.mean()), lamp)
    last = pinst[-round(600.0 * flicker.PINST_HZ) :]
    return Estimate(pst=flicker.pst_of(last), error_percent=ERROR_PERCENT, reason="")


def _pinst(rms_v: Floats, rate_hz: float, lamp: flicker.Lamp) -> Floats:
    """Filter in the frequency domain, then square and smooth at 200 values a second."""
    square = np.square(rms_v)
    relative = square / square.mean() - 1.0
    spectrum = np.fft.rfft(relative)
    hertz = np.fft.rfftfreq(len(relative), 1.0 / rate_hz)
    chain = flicker.analog_response(lamp, hertz) / np.sinc(hertz / (rate_hz / 2.0))
    spectrum *= np.where(hertz < 45.0, chain, 0.0)
    points = round(len(relative) / rate_hz * flicker.PINST_HZ)
    seen = np.fft.irfft(spectrum, points) * (points / len(relative))
    factor = 1.0 - np.exp(-1.0 / (flicker.SMOOTHING_S * flicker.PINST_HZ))
    smooth = scipy.signal.lfilter([factor], [1.0, factor - 1.0], np.square(seen))
    at_8_8 = float(abs(flicker.analog_response(lamp, np.array([8.8]))[0]))
    return np.asarray(smooth * flicker.scale(at_8_8, lamp))


@dataclass(frozen=True, slots=True, kw_only=True)
class Flicker:
    """Sum the Pst of a record up. Each None, with the reason, where there is none.

    p95: 95 % of the Pst lie below. plt: greatest Plt of twelve 10-min values of the clock's even hours.
    error_percent: greatest error found on the table of rectangular fluctuations, which is no interval.
    """

    pst_p95: float | None
    pst_greatest: float | None
    plt_greatest: float | None
    error_percent: float
    coverage_percent: float
    reason: str


def plt_grid(pst: Floats, first: int) -> Floats:
    """Give the Plt of each two hours of the clock, nan where a Pst is missing.

    `first`: number of the first 10 min since 1970.
    """
    ahead = -(-first // 12) * 12 - first
    count = max(0, (len(pst) - ahead) // 12)
    blocks = pst[ahead : ahead + 12 * count].reshape(count, 12)
    return np.asarray(np.cbrt(np.mean(np.power(blocks, 3), axis=1)))


def summed(pst: Floats | None, first: int) -> Flicker:
    """Sum up; None or all nan: half cycles were not kept."""
    known = np.empty(0) if pst is None else pst[~np.isnan(pst)]
    if pst is None or not len(known):
        return Flicker(
            pst_p95=None, pst_greatest=None, plt_greatest=None, error_percent=ERROR_PERCENT,
            coverage_percent=0.0, reason="half cycles not kept",
        )  # fmt: skip
    long = plt_grid(pst, first)
    long = long[~np.isnan(long)]
    return Flicker(
        pst_p95=float(np.percentile(known, 95)), pst_greatest=float(known.max()),
        plt_greatest=float(long.max()) if len(long) else None, error_percent=ERROR_PERCENT,
        coverage_percent=100.0 * len(known) / len(pst), reason="" if len(long) else "too short",
    )  # fmt: skip
