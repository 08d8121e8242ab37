"""Name the disturbance in a captured waveform, by stated rules and one table of limits.

The wave is split into the fundamental's amplitude and phase over one cycle, the typical cycle (median over
all cycles, folded on the phase), and what is left. Each rule looks at one of these. The first rule in the
order of RULES that holds gives the label; all that hold are listed.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import scipy  # its parts load when they are first used

from ingest.analysis.supply.compiled import Floats

FOLD = 64
FITTED_ORDERS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Hold every threshold of the rules: fractions of the nominal peak, Hz, degrees, cycles.

    Fixed on seeds of their own; the confusion matrix is reported on others.
    """

    dip: float = 0.915
    swell: float = 1.085
    interruption: float = 0.105
    step: float = 0.07
    flicker_swing: float = 0.02
    flicker_explained: float = 0.65
    flicker_low_hz: float = 4.0
    flicker_high_hz: float = 30.0
    frequency_change_hz: float = 0.35
    phase_deg: float = 6.0
    ring_ratio: float = 2.0
    ring_size: float = 0.025
    spike_sigma: float = 5.5
    spike_size: float = 0.03
    spike_energy: float = 0.55
    notch_size: float = 0.05
    notch_explained: float = 0.45
    harmonic_line: float = 0.015
    harmonic_total: float = 0.04


@dataclass(frozen=True, slots=True, kw_only=True)
class Features:
    """Hold what the rules look at. Times in samples, sizes as fractions of the nominal peak.

    level, phase: amplitude and phase of the fundamental over one centred cycle, against `hertz`. alive:
    samples with enough voltage for a phase. typical: the cycle folded on FOLD points. left: the rest of the
    wave.
    """

    rate_hz: float
    hertz: float
    level: Floats
    phase: Floats
    alive: Floats
    typical: Floats
    left: Floats

    @property
    def cycle(self) -> int:
        """Give samples a cycle."""
        return round(self.rate_hz / self.hertz)


def features(wave_v: Floats, rate_hz: float, nominal_v: float, nominal_hz: float) -> Features:
    """Split a captured wave of at least 8 cycles."""
    wave = np.asarray(wave_v, dtype=np.float64) / (np.sqrt(2.0) * nominal_v)
    if len(wave) < 8 * rate_hz / nominal_hz:
        raise ValueError(f"a capture of {len(wave)} samples is shorter than 8 cycles")
    hertz = nominal_hz
    for _ in range(2):
        turning = _demodulated(wave, rate_hz, hertz)
        alive = np.abs(turning) > 0.3
        slope = np.angle(turning[1:] * np.conj(turning[:-1]))[alive[1:] & alive[:-1]]
        hertz += float(np.median(slope)) * rate_hz / (2 * np.pi) if len(slope) else 0.0
    turning = _demodulated(wave, rate_hz, hertz)
    level, alive = np.abs(turning), np.abs(turning) > 0.3
    phase = np.unwrap(np.angle(turning))
    angle = 2 * np.pi * hertz * np.arange(len(wave)) / rate_hz + phase
    typical = _folded(wave, angle, level, alive)
    place = (angle / (2 * np.pi) % 1.0) * FOLD
    shape = np.interp(place, np.arange(FOLD + 1), np.append(typical, typical[0]))
    return Features(
        rate_hz=rate_hz, hertz=hertz, level=level, phase=phase, alive=alive, typical=typical,
        left=wave - level * shape,
    )  # fmt: skip


def _demodulated(wave: Floats, rate_hz: float, hertz: float) -> Floats:
    """Give the complex amplitude over one centred cycle; near the ends the cycle nearest to it."""
    turn = 2.0j * wave * np.exp(-2j * np.pi * hertz * np.arange(len(wave)) / rate_hz)
    total = np.concatenate((np.zeros(1), np.cumsum(turn)))
    period = rate_hz / hertz
    centre = np.clip(np.arange(len(wave)) + 0.5, period / 2, len(wave) - period / 2)
    grid = np.arange(len(total))
    upper, lower = centre + period / 2, centre - period / 2
    real = np.interp(upper, grid, total.real) - np.interp(lower, grid, total.real)
    imag = np.interp(upper, grid, total.imag) - np.interp(lower, grid, total.imag)
    return np.asarray((real + 1j * imag) / period)


def _folded(wave: Floats, angle: Floats, level: Floats, alive: Floats) -> Floats:
    """Give the median cycle at unit fundamental; a plain sine where nothing lives."""
    grid = np.arange(FOLD) / FOLD
    plain = np.sin(2 * np.pi * grid)
    if alive.sum() < 4 * FOLD:
        return plain
    bins = np.round(angle[alive] / (2 * np.pi) % 1.0 * FOLD).astype(np.int64) % FOLD
    # each sample is moved to its bin's centre along the sine, so that a coarse bin doesn't blur the slope
    shift = np.sin(2 * np.pi * bins / FOLD) - np.sin(angle[alive])
    unit = wave[alive] / level[alive] + shift
    order = np.argsort(bins, kind="stable")
    edges = np.searchsorted(bins[order], np.arange(FOLD + 1))
    rows = [unit[order[a:b]] for a, b in zip(edges, edges[1:], strict=False)]
    return np.array([np.median(row) if len(row) else plain[n] for n, row in enumerate(rows)])


def is_interruption(f: Features, limits: Limits) -> bool:
    """The fundamental falls below 0.105 of nominal."""
    return bool(f.level.min() < limits.interruption)


def is_generator_start(f: Features, limits: Limits) -> bool:
    """The frequency before and after, or early and late, differs by 0.35 Hz, over at least 5 cycles each."""
    speed = np.gradient(f.phase) * f.rate_hz / (2 * np.pi)
    dead = f.level < 0.5
    if dead.any():
        pieces = [np.arange(np.argmax(dead)), np.arange(len(dead) - np.argmax(dead[::-1]), len(dead))]
    else:
        pieces = np.array_split(np.arange(len(speed)), 2)
    edge, need = f.cycle, 5 * f.cycle
    inner = [piece[edge:-edge] for piece in pieces if len(piece) > need + 2 * edge]
    rates = [_slope(f, piece) for piece in inner]
    if dead.any():
        return len(rates) == 2 and abs(rates[1] - rates[0]) > limits.frequency_change_hz
    quarters = [_slope(f, q) for piece in inner for q in np.array_split(piece, 2)]
    spread = abs(np.median(quarters[2:]) - np.median(quarters[:2])) if len(quarters) == 4 else 0.0
    monotone = len(quarters) == 4 and bool(np.all(np.abs(np.diff(quarters)) < 0.75 * max(spread, 1e-9)))
    return bool(spread > limits.frequency_change_hz and monotone)


def _slope(f: Features, piece: Floats) -> float:
    """Give the frequency against f.hertz by a straight line through the phase."""
    return float(np.polyfit(piece / f.rate_hz, f.phase[piece], 1)[0] / (2 * np.pi))


def _swing(f: Features) -> tuple[float, float, float]:
    """Give frequency, size and explained part of the sine that fits the level best, 4 Hz and up."""
    step = max(1, f.cycle // 8)
    level = f.level[f.cycle // 2 : -f.cycle // 2 : step]
    level = level - level.mean()
    rate = f.rate_hz / step
    time = np.arange(len(level)) / rate
    padded = np.abs(np.fft.rfft(level * np.hanning(len(level)), 8 * len(level)))
    hertz = np.fft.rfftfreq(8 * len(level), 1.0 / rate)
    padded[hertz < max(4.0, 1.5 * rate / len(level))] = 0.0
    best = float(hertz[int(np.argmax(padded))])
    base = np.column_stack((np.sin(2 * np.pi * best * time), np.cos(2 * np.pi * best * time)))
    fit, *_ = np.linalg.lstsq(base, level, rcond=None)
    power = float(np.sum(level**2))
    explained = 1.0 - float(np.sum((level - base @ fit) ** 2)) / power if power > 0 else 0.0
    return best, float(np.hypot(*fit)) / max(0.2, float(np.sinc(best / f.hertz))), explained


def is_flicker(f: Features, limits: Limits) -> bool:
    """One sine of 4 to 30 Hz explains 65 % of how the level moves, and swings by 2 % or more."""
    hertz, size, explained = _swing(f)
    return bool(
        limits.flicker_low_hz <= hertz <= limits.flicker_high_hz
        and size > limits.flicker_swing
        and explained > limits.flicker_explained
    )


def is_dip(f: Features, limits: Limits) -> bool:
    """The level falls below 0.915 of nominal, by 0.07 or more from what it usually is in the capture."""
    return bool(f.level.min() < limits.dip and np.percentile(f.level, 90) - f.level.min() > limits.step)


def is_swell(f: Features, limits: Limits) -> bool:
    """The level rises above 1.085 of nominal, by 0.07 or more from what it usually is in the capture."""
    return bool(f.level.max() > limits.swell and f.level.max() - np.percentile(f.level, 10) > limits.step)


def is_phase_jump(f: Features, limits: Limits) -> bool:
    """The phase of 3 cycles before and after a place differs by 6 degrees, a steady drift taken off.

    The jump itself lowers the one-cycle level for a cycle; a level that stays low longer is a dip.
    """
    if np.sum(f.level < limits.dip) > 1.25 * f.cycle:
        return False
    size = 3 * f.cycle
    means = scipy.signal.fftconvolve(f.phase, np.ones(size) / size, "valid")
    apart = size + f.cycle
    change = np.degrees(means[apart:] - means[:-apart])
    return len(change) > 0 and bool(np.abs(change - np.median(change)).max() > limits.phase_deg)


def _ring(f: Features) -> tuple[int, float, float]:
    """Give place, size and ratio to the usual of the strongest half cycle between 250 and 1100 Hz."""
    band = scipy.signal.butter(4, [250.0, 1100.0], "band", fs=f.rate_hz, output="sos")
    moved = scipy.signal.sosfiltfilt(band, f.left)
    half = f.cycle // 2
    power = np.convolve(moved**2, np.ones(half) / half, "valid")
    size = np.sqrt(np.maximum(power, 0.0))
    at = int(np.argmax(size))
    return at, float(size[at]), float(size[at] / max(float(np.median(size)), 1e-4))


def _concentration(f: Features, at: int) -> float:
    """Give the part of the burst's energy, noise taken off, that lies in its strongest 1.5 ms."""
    short, around = max(3, round(0.0015 * f.rate_hz)), f.left[max(0, at - f.cycle) : at + 2 * f.cycle]
    noise = float(np.median(f.left**2) / 0.455)
    total = max(float(np.sum(around**2 - noise)), 1e-9)
    best = float(np.convolve(around**2, np.ones(short), "valid").max()) - short * noise
    return min(1.0, best / total)


def is_oscillatory(f: Features, limits: Limits) -> bool:
    """What is left rings: a half cycle of 250 to 1100 Hz twice the usual, not gathered in 1.5 ms."""
    at, size, ratio = _ring(f)
    return (
        ratio > limits.ring_ratio and size > limits.ring_size and _concentration(f, at) < limits.spike_energy
    )


def is_impulse(f: Features, limits: Limits) -> bool:
    """What is left has one spike of about 1 ms: 5.5 times its usual spread, most of the energy in 1.5 ms."""
    slow = scipy.signal.medfilt(f.left, 2 * (f.cycle // 8) + 1)
    three = np.convolve(f.left - slow, np.ones(3) / 3.0, "same")
    spread = float(np.median(np.abs(three))) / 0.6745
    at = int(np.argmax(np.abs(three)))
    return bool(
        abs(three[at]) > max(limits.spike_sigma * spread, limits.spike_size)
        and _concentration(f, at) >= limits.spike_energy
    )


def _spectrum(f: Features) -> Floats:
    """Give the lines of the typical cycle, the fundamental at index 1."""
    return np.asarray(np.fft.rfft(f.typical) * 2.0 / FOLD)


@cache
def _notch_patterns() -> tuple[Floats, Floats, Floats]:
    """Give patterns of equal cuts with orders 0 to 9 taken out, their lengths, and the base of the orders."""
    point = np.arange(FOLD)
    angle = 2 * np.pi * point[:, None] / FOLD * np.arange(1, FITTED_ORDERS + 1)
    base, _ = np.linalg.qr(np.column_stack((np.ones(FOLD), np.cos(angle), np.sin(angle))))
    toward = -np.sign(np.sin(2 * np.pi * (point + 1e-6) / FOLD))
    rows = []
    for count in (1, 2, 4, 6):
        pitch = FOLD / count
        for width in (1, 2, 3, 4):
            for first in range(int(pitch)):
                rows.append(toward * ((point - first) % pitch < width))
    patterns = np.array(rows, dtype=np.float64)
    patterns -= patterns @ base @ base.T
    return patterns, np.sqrt(np.sum(patterns**2, axis=1)), base


def is_notch(f: Features, limits: Limits) -> bool:
    """1, 2, 4 or 6 equal cuts toward zero, 0.05 deep, explain 45 % of the typical cycle beyond order 9."""
    patterns, size, base = _notch_patterns()
    rest = f.typical - base @ (base.T @ f.typical)
    match = patterns @ rest / size
    best = int(np.argmax(match))
    explained = match[best] ** 2 / max(float(rest @ rest), 1e-12)
    return bool(match[best] / size[best] > limits.notch_size and explained > limits.notch_explained)


def is_distorted(f: Features, limits: Limits) -> bool:
    """The typical cycle's harmonics of 1.5 % and more, to order 25, together reach 4 %."""
    lines = np.abs(_spectrum(f))[2:26]
    return bool(np.sqrt(np.sum(lines[lines > limits.harmonic_line] ** 2)) > limits.harmonic_total)


Rule = Callable[[Features, Limits], bool]
RULES: tuple[tuple[str, Rule], ...] = (
    ("generator start", is_generator_start),
    ("interruption", is_interruption),
    ("flicker", is_flicker),
    ("phase jump", is_phase_jump),
    ("dip", is_dip),
    ("swell", is_swell),
    ("notch", is_notch),
    ("oscillatory transient", is_oscillatory),
    ("impulse", is_impulse),
    ("harmonic distortion", is_distorted),
)
"""Rules in the order of precedence: what changes the whole wave first, what rides on it last."""
USUAL = Limits()
LABELS: tuple[str, ...] = ("normal", *(name for name, _ in RULES))


def found(
    wave_v: Floats, rate_hz: float, nominal_v: float, nominal_hz: float, limits: Limits = USUAL
) -> list[str]:
    """List the disturbances in a capture in order of precedence; empty when no rule holds."""
    parts = features(wave_v, rate_hz, nominal_v, nominal_hz)
    return [name for name, rule in RULES if rule(parts, limits)]


def label(wave_v: Floats, rate_hz: float, nominal_v: float, nominal_hz: float, limits: Limits = USUAL) -> str:
    """Name the capture by its first disturbance, 'normal' when no rule holds."""
    return next(iter(found(wave_v, rate_hz, nominal_v, nominal_hz, limits)), "normal")


@dataclass(frozen=True, slots=True, kw_only=True)
class Confusion:
    """Hold counts: a row a true class, a column a label, in the order of LABELS."""

    labels: tuple[str, ...]
    counts: Floats

    @property
    def recall(self) -> Floats:
        """Give the part of each class that got its name."""
        return np.asarray(np.diag(self.counts) / np.maximum(self.counts.sum(axis=1), 1))

    @property
    def precision(self) -> Floats:
        """Give the part of each label that was right; nan for a label never given."""
        total = self.counts.sum(axis=0)
        return np.asarray(np.where(total > 0, np.diag(self.counts) / np.maximum(total, 1), np.nan))
