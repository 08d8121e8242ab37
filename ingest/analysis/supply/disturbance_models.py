"""Make disturbed waveforms by the published integral models, to measure the detection with.

Parameters follow Igual, Medrano, Arcega, Mantescu, ICHQP 2018 (published integral models). Phase jump and
generator start are not in it: their models are ours and say so. Amplitude 1 is the nominal peak.
"""

from collections.abc import Callable, Iterable

import numpy as np

from ingest.analysis.supply.compiled import Floats
from ingest.analysis.supply.disturbances import LABELS, USUAL, Confusion, Limits, label

Model = Callable[[Floats, float, np.random.Generator], Floats]
BEGIN_S = 0.1
"""Nothing happens in the first 100 ms, so that there is a before."""


def _carrier(time: Floats, hertz: float, rng: np.random.Generator) -> Floats:
    return np.asarray(np.sin(2 * np.pi * hertz * time + rng.uniform(-np.pi, np.pi)))


def _span(time: Floats, hertz: float, rng: np.random.Generator, low: float, high: float) -> Floats:
    """Mark a stretch of low to high cycles somewhere in the record."""
    length = rng.uniform(low, high) / hertz
    begin = rng.uniform(BEGIN_S, time[-1] - length - 1.0 / hertz)
    return np.asarray(((time >= begin) & (time < begin + length)).astype(np.float64))


def _level(low: float, high: float) -> Model:
    """Give a model whose amplitude changes by a fraction for 1 to 9 cycles."""

    def model(time: Floats, hertz: float, rng: np.random.Generator) -> Floats:
        return _carrier(time, hertz, rng) * (1 + rng.uniform(low, high) * _span(time, hertz, rng, 1, 9))

    return model


def normal(time: Floats, hertz: float, rng: np.random.Generator) -> Floats:
    """Give a plain sine."""
    return _carrier(time, hertz, rng)


def harmonics(time: Floats, hertz: float, rng: np.random.Generator) -> Floats:
    """Add 5 to 15 % of orders 3, 5 and 7."""
    phase = rng.uniform(-np.pi, np.pi)
    angle = 2 * np.pi * hertz * time + phase
    return np.asarray(np.sin(angle) + sum(rng.uniform(0.05, 0.15) * np.sin(k * angle) for k in (3, 5, 7)))


def flicker(time: Floats, hertz: float, rng: np.random.Generator) -> Floats:
    """Modulate by 5 to 10 % with 8 to 25 Hz."""
    swing = rng.uniform(0.05, 0.1) * np.sin(
        2 * np.pi * rng.uniform(8, 25) * time + rng.uniform(-np.pi, np.pi)
    )
    return _carrier(time, hertz, rng) * (1 + swing)


def oscillatory(time: Floats, hertz: float, rng: np.random.Generator) -> Floats:
    """Add a decaying oscillation: 0.1 to 0.8, 300 to 900 Hz, time constant 8 to 40 ms, half to 3 cycles."""
    on = _span(time, hertz, rng, 0.5, 3)
    since = time - time[int(np.argmax(on))]
    ring = np.exp(-np.maximum(since, 0) / rng.uniform(0.008, 0.04))
    tone = np.sin(2 * np.pi * rng.uniform(300, 900) * since + rng.uniform(-np.pi, np.pi))
    return np.asarray(_carrier(time, hertz, rng) + rng.uniform(0.1, 0.8) * ring * tone * on)


def impulse(time: Floats, hertz: float, rng: np.random.Generator) -> Floats:
    """Subtract a spike of 1 ms; its peak is 0.05 to 0.26, for the published weight is 0.222 to 1.11."""
    begin = rng.uniform(BEGIN_S, time[-1] - 1.0 / hertz)
    since = np.where((time >= begin) & (time < begin + 0.001), time - begin, 0.0)
    spike = np.exp(-750 * since) - np.exp(-344 * since)
    return np.asarray(_carrier(time, hertz, rng) - rng.uniform(0.222, 1.11) * spike)


def notch(time: Floats, hertz: float, rng: np.random.Generator) -> Floats:
    """Cut 1, 2, 4 or 6 notches of 0.1 to 0.4 into each cycle, 1.6 to 5 % of it long.

    The published lower width of 1 % is shorter than a sample of 3.2 kS/s and would leave some without a
    trace.
    """
    wave, count = _carrier(time, hertz, rng), int(rng.choice([1, 2, 4, 6]))
    width = rng.uniform(0.016, 0.05)
    place = rng.uniform(0, 1.0 / count - width)
    inside = ((time * hertz) % (1.0 / count) >= place) & ((time * hertz) % (1.0 / count) < place + width)
    return np.asarray(wave - np.sign(wave) * rng.uniform(0.1, 0.4) * inside)


def phase_jump(time: Floats, hertz: float, rng: np.random.Generator) -> Floats:
    """Turn the phase by 10 to 60 degrees, either way, for good (our own model)."""
    turn = np.radians(rng.uniform(10, 60)) * rng.choice([-1, 1])
    begin = rng.uniform(0.2, time[-1] - 0.2)
    return np.asarray(np.sin(2 * np.pi * hertz * time + rng.uniform(-np.pi, np.pi) + turn * (time >= begin)))


def generator_start(time: Floats, hertz: float, rng: np.random.Generator) -> Floats:
    """Lose the mains for 50 to 250 ms, then settle from 2 to 6 % off frequency (our own model)."""
    lost = rng.uniform(0.15, 0.3)
    back = lost + rng.uniform(0.05, 0.25)
    since = np.maximum(time - back, 0.0)
    off = hertz * rng.uniform(0.02, 0.06) * rng.choice([-1, 1])
    settle = rng.uniform(0.3, 1.0)
    angle = 2 * np.pi * (hertz * time + off * settle * (1 - np.exp(-since / settle)))
    overshoot = 1 + rng.uniform(-0.05, 0.05) * np.exp(-since / 0.2)
    level = np.where(time < lost, 1.0, np.where(time < back, 0.0, overshoot))
    jump = np.where(time >= back, rng.uniform(-np.pi, np.pi), 0.0)
    return np.asarray(level * np.sin(angle + jump + rng.uniform(-np.pi, np.pi)))


MODELS: dict[str, Model] = {
    "normal": normal,
    "dip": _level(-0.9, -0.1),
    "swell": _level(0.1, 0.8),
    "interruption": _level(-1.0, -0.9),
    "harmonic distortion": harmonics,
    "flicker": flicker,
    "oscillatory transient": oscillatory,
    "impulse": impulse,
    "notch": notch,
    "phase jump": phase_jump,
    "generator start": generator_start,
}


def noisy(wave: Floats, decibel: float, rng: np.random.Generator) -> Floats:
    """Add white noise so that signal over noise power is so many dB."""
    power = float(np.mean(wave**2)) / 10 ** (decibel / 10)
    return np.asarray(wave + rng.normal(0.0, np.sqrt(power), len(wave)))


def example(name: str, *, seed: int, decibel: float, seconds: float = 1.0, rate_hz: float = 3200.0,
            hertz: float = 50.0) -> Floats:  # fmt: skip
    """Make one waveform of a class from a seed."""
    rng = np.random.default_rng([seed, list(MODELS).index(name), round(decibel)])
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    return noisy(MODELS[name](time, hertz, rng), decibel, rng)


TUNING_SEEDS, REPORT_SEEDS = range(100), range(1000, 1100)
"""The limits were fixed on the first; whatever is reported comes from the second."""
DECIBELS = (20.0, 30.0, 40.0)


def confusion(decibel: float, seeds: Iterable[int] = REPORT_SEEDS, limits: Limits = USUAL) -> Confusion:
    """Label examples of every class and count: a row a true class, a column a label."""
    counts = np.zeros((len(LABELS), len(LABELS)), dtype=np.int64)
    peak_v = 230.0 * np.sqrt(2.0)
    for seed in seeds:
        for row, name in enumerate(LABELS):
            wave = example(name, seed=seed, decibel=decibel) * peak_v
            counts[row, LABELS.index(label(wave, 3200.0, 230.0, 50.0, limits))] += 1
    return Confusion(labels=LABELS, counts=counts)
