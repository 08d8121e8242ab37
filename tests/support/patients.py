"""Invented patients breathing into a circuit: pressure at 100 samples a second and what truly happened.

P = V/C + R flow + PEEP (Chatburn, Respir Care 2014;59(4):e61), a leak, an expiratory resistance, stepped at
10 ms; apart from the project's own physics.
"""

from dataclasses import dataclass, field

import numpy as np

RATE_HZ = 100


@dataclass
class Played:
    """Pressure in cmH2O and one row a breath: start (sample), peak, end-expiratory, mean, Ti (samples)."""

    pressure: np.ndarray
    breaths: list[tuple[int, float, float, float, int]] = field(default_factory=list)


def ventilated(rng: np.random.Generator, *, hand: bool = False, breaths: int = 25) -> Played:
    """Return a random adult or child on a ventilator or on a hand that squeezes a bag."""
    child = rng.random() < 0.4
    if child:
        compliance, resistance = rng.uniform(0.006, 0.02), rng.uniform(15, 60)
        volume, rate = compliance * rng.uniform(7, 16), rng.uniform(15, 40)
    else:
        compliance, resistance = rng.uniform(0.02, 0.09), rng.uniform(5, 25)
        volume, rate = min(compliance * rng.uniform(7, 20), 0.8), rng.uniform(4, 28)
    period = 60 / rate
    ti = float(np.clip(period * rng.uniform(0.25, 0.4), 0.4, 2.0))
    pause = 0.3 if period > 2 and rng.random() < 0.3 else 0.0
    peep, out_r = float(rng.choice([0, 3, 5, 8])), rng.uniform(0, 3)
    leak = float(rng.choice([0, 0, 0.005, 0.02]))
    spread = (0.15, 0.15) if hand else (0.02, 0.01)
    wave: list[float] = [peep] * int(rng.uniform(100, 300))
    rows, lung = [], 0.0
    for _ in range(breaths):
        length = round(period * max(0.6, 1 + rng.normal(0, spread[0])) * RATE_HZ)
        stroke = volume * max(0.5, 1 + rng.normal(0, spread[1]))
        start, inward, held = len(wave), round(ti * RATE_HZ), round(pause * RATE_HZ)
        for i in range(length):
            flow = 0.0
            if i < inward:
                u = i / inward
                flow = stroke / ti * (6 * u * (1 - u) if hand else 1.0)
            if i < inward + held:
                pressure = (flow * resistance + lung / compliance + peep) / (1 + leak * resistance)
                lung += (pressure - peep - lung / compliance) / resistance / RATE_HZ
            else:
                outward = lung / compliance / (resistance + out_r)
                lung -= outward / RATE_HZ
                pressure = peep + outward * out_r
            wave.append(pressure)
        rows.append((start, max(wave[start:]), wave[start - 1], float(np.mean(wave[start:])), inward + held))
    return Played(np.array(wave), rows)


def drawn(rng: np.random.Generator, *, breaths: int = 25) -> Played:
    """Return somebody who breathes through a draw-over circuit: pulls below rest, small humps above it."""
    period = 60 / rng.uniform(8, 32)
    depth, hump = rng.uniform(1.2, 6.0), rng.uniform(0.1, 0.8)
    wave = [0.0] * int(rng.uniform(100, 300))
    rows = []
    for _ in range(breaths):
        length = round(period * max(0.6, 1 + rng.normal(0, 0.12)) * RATE_HZ)
        inward = round(0.42 * length)
        pull = depth * max(0.6, 1 + rng.normal(0, 0.15))
        start = len(wave)
        wave += [-pull * np.sin(np.pi * i / inward) for i in range(inward)]
        outward = length - inward
        wave += [hump * np.sin(np.pi * min(i / (0.7 * outward), 1.0)) for i in range(outward)]
        rows.append((start, max(wave[start:]), wave[start - 1], float(np.mean(wave[start:])), inward))
    return Played(np.array(wave), rows)
