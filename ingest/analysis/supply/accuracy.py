"""Measure what the analysis achieves through the module's converter, over amplitude, frequency, harmonics,
noise.

The converter is modelled as 12 bits over +-800 V with noise of its own and what a calibration leaves over.
Class S limits (IEC 61000-4-30, from memory) are targets, not a claim of conformity.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ingest.analysis.supply import aggregate, flicker, harmonics
from ingest.analysis.supply.compiled import Floats
from ingest.analysis.supply.events import USUAL, DetectorState, detect
from ingest.analysis.supply.records import SupplyEvent
from ingest.analysis.supply.windows import HalfCycles, Tap, half_cycles, window_start

RATE_HZ, NOMINAL_V = 3200.0, 230.0
LSB_V = 800.0 / 2048
CALIBRATION_LEFT, OFFSET_LEFT_V, NOISE_CODES = 0.001, 0.5, 1.0
"""Gain error, offset and rms noise that the model leaves: a careful calibration against a 0.1 % meter (our
own assumption). A raw gain error of 0.5 % would use the whole limit up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Achieved:
    """Give the greatest error found for one quantity over one sweep, with the target it is held against."""

    quantity: str
    sweep: str
    target: float
    unit: str
    greatest: float
    cases: int


def converted(wave_v: Floats, seed: int, gain: float = 1.0 + CALIBRATION_LEFT) -> Floats:
    """Turn volts to codes: what calibration leaves, noise, rounding, rails."""
    noise = np.random.default_rng(seed).normal(0.0, NOISE_CODES, len(wave_v))
    return np.clip(np.rint((gain * wave_v + OFFSET_LEFT_V) / LSB_V + noise), -2048, 2047)


def _wave(seconds: float, rms_v: float, hertz: float, parts: dict[int, float] | None = None) -> Floats:
    """Make a wave whose total rms is rms_v; parts: order to fraction of the fundamental."""
    time = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    shape = np.sin(2 * np.pi * hertz * time)
    for order, fraction in (parts or {}).items():
        shape = shape + fraction * np.sin(2 * np.pi * order * hertz * time + order)
    total = np.sqrt(1.0 + sum(f * f for f in (parts or {}).values()))
    return np.asarray(np.sqrt(2.0) * rms_v / total * shape)


def _rows(wave_v: Floats, seed: int) -> HalfCycles:
    tap = Tap(rate_hz=RATE_HZ, gain_v=LSB_V, code_min=-2048, code_max=2047)
    return half_cycles(window_start(tap), converted(wave_v, seed), tap, 0.0)[1]


EVEN_MIX = {3: 0.05, 5: 0.06, 7: 0.05, 11: 0.035, 13: 0.03}
"""Harmonics near their EN 50160 limits."""
SWEEPS: dict[str, list[tuple[float, float, dict[int, float], float]]] = {
    "20 to 150 % of 230 V": [(level, 50.0, {}, 0.0) for level in (0.2, 0.5, 0.8, 1.0, 1.1, 1.2, 1.5)],
    "42.5 to 57.5 Hz": [(1.0, hertz, {}, 0.0) for hertz in (42.5, 45.0, 47.0, 49.5, 50.5, 52.0, 55.0, 57.5)],
    "harmonics near their limits, 47 to 52 Hz": [(1.0, f, EVEN_MIX, 0.0) for f in (47.0, 49.7, 50.0, 52.0)],
    "noise of 40 dB, 49 to 51 Hz": [(1.0, hertz, {}, 40.0) for hertz in (49.0, 50.0, 51.0)],
}
"""Level as a fraction of 230 V, frequency, harmonics, signal over noise in dB (0: only the converter's)."""


def _sweep(name: str) -> Iterator[tuple[float, float, HalfCycles]]:
    """Give true voltage, true frequency and half cycles of each case."""
    for seed, (level, hertz, parts, decibel) in enumerate(SWEEPS[name]):
        wave = _wave(12.0, level * NOMINAL_V, hertz, parts)
        if decibel:
            spread = level * NOMINAL_V / 10 ** (decibel / 20)
            wave = wave + np.random.default_rng(seed + 100).normal(0.0, spread, len(wave))
        true_v = level * NOMINAL_V * (np.sqrt(1 + 10 ** (-decibel / 10)) if decibel else 1.0)
        yield true_v, hertz, _rows(wave, seed)


def steady() -> list[Achieved]:
    """Measure voltage and frequency in steady state."""
    out = []
    for name in SWEEPS:
        whole, half, frequency = 0.0, 0.0, 0.0
        for true_v, hertz, rows in _sweep(name):
            quiet = np.zeros(len(rows), dtype=np.bool_)
            _, values = aggregate.ten_cycles(aggregate.halves_start(), rows, quiet, 50.0)
            _, seconds = aggregate.ten_seconds(aggregate.cycles_start(), rows)
            whole = max(whole, 100 / NOMINAL_V * float(np.abs(values.rms_v - true_v).max()))
            half = max(half, 100 / NOMINAL_V * float(np.abs(rows.rms_v - true_v).max()))
            frequency = max(frequency, 1000 * float(np.abs(seconds.hz - hertz).max()))
        count = len(SWEEPS[name])
        out += [
            Achieved(
                quantity="10-cycle rms", sweep=name, target=0.5, unit="% of Udin", greatest=whole, cases=count
            ),
            Achieved(
                quantity="Urms(1/2)", sweep=name, target=1.0, unit="% of Udin", greatest=half, cases=count
            ),
            Achieved(
                quantity="10-s frequency",
                sweep=name,
                target=50.0,
                unit="mHz",
                greatest=frequency,
                cases=count,
            ),
        ]
    return out


def events() -> list[Achieved]:
    """Measure residual and length of dips that begin anywhere in the cycle."""
    residual, length, cases = 0.0, 0.0, 0
    for level in (0.4, 0.7, 0.8):
        for cycles in (2, 5, 10, 25):
            for phase in (0.0, 0.2, 0.4, 0.7):
                dip = _dip(level, cycles, phase, seed=cases)
                residual = max(residual, 100.0 * abs(dip.extreme_pu - level))
                length = max(length, 50.0 * abs(dip.duration_s - cycles / 50.0))
                cases += 1
    name = "dips to 40, 70, 80 %, 2 to 25 cycles, any phase"
    return [
        Achieved(
            quantity="residual", sweep=name, target=1.0, unit="% of Udin", greatest=residual, cases=cases
        ),
        Achieved(
            quantity="event length", sweep=name, target=1.0, unit="cycles", greatest=length, cases=cases
        ),
    ]


def _dip(level: float, cycles: int, phase: float, seed: int) -> SupplyEvent:
    """Measure one dip."""
    wave = _wave(1.5 + cycles / 50.0, NOMINAL_V, 50.0)
    begin = round((0.5 + phase / 50.0) * RATE_HZ)
    wave[begin : begin + round(cycles / 50.0 * RATE_HZ)] *= level
    _, found, _ = detect(DetectorState(), _rows(wave, seed), NOMINAL_V, USUAL)
    return next(event for event in found if event.kind == "dip")


def spectrum() -> list[Achieved]:
    """Measure subgroups of 1 and 5 % at every order, and distortion."""
    worst, total, cases = 0.0, 0.0, 0
    for order in range(2, 26):
        for hertz, fraction in ((50.0, 0.05), (49.3, 0.01), (50.8, 0.05)):
            codes = converted(_wave(0.4, NOMINAL_V, hertz, {order: fraction}), cases)
            got = harmonics.snapshot(LSB_V * codes, RATE_HZ, 50.0)
            assert got is not None, "a clean wave has a period"
            found = 100.0 * got.subgroup[0] / got.subgroup[0, 0]
            worst = max(worst, abs(float(found[order - 1]) - 100.0 * fraction))
            total = max(total, abs(float(got.thd_percent()[0]) - 100.0 * fraction))
            cases += 1
    name = "orders 2 to 25 at 1 and 5 %, 49.3 to 50.8 Hz"
    return [
        Achieved(quantity=quantity, sweep=name, target=0.25, unit="% of U1", greatest=greatest, cases=cases)
        for quantity, greatest in (("harmonic subgroup", worst), ("total distortion", total))
    ]


def fluctuation() -> list[Achieved]:
    """Measure Pst on the rectangular fluctuations of the table (Ed. 2, from memory)."""
    worst = 0.0
    table = ((1, 2.715), (2, 2.191), (7, 1.450), (39, 0.894), (110, 0.722), (1620, 0.407))
    for seed, (changes, percent) in enumerate(table):
        time = np.arange(round(661 * RATE_HZ)) / RATE_HZ
        sign = np.where(np.floor(time * changes / 60.0) % 2 == 0, 1.0, -1.0)
        wave = np.sqrt(2.0) * NOMINAL_V * np.sin(2 * np.pi * 50 * time) * (1 + percent / 200 * sign)
        _, values = flicker.ten_minutes(
            flicker.meter_start(), converted(wave, seed), start_s=540.0, rate_hz=RATE_HZ, offset=0.0,
            lamp=flicker.LAMP_230_V,
        )  # fmt: skip
        worst = max(worst, 100.0 * abs(values[0][1] - 1.0))
    name = "six rectangular fluctuations, 1 to 1620 changes/min"
    return [Achieved(quantity="Pst", sweep=name, target=5.0, unit="%", greatest=worst, cases=len(table))]


def achieved() -> list[Achieved]:
    """Measure everything; the same numbers each time."""
    return [*steady(), *events(), *spectrum(), *fluctuation()]
