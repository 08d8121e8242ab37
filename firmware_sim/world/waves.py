"""Tables of one mains period: fundamental and the two shapes of distortion, as integers."""

import math
from functools import cache

import numpy as np

TABLE_BITS = 14
TABLE_SIZE = 1 << TABLE_BITS
PHASE_BITS = 32
PHASE_MASK = (1 << PHASE_BITS) - 1
PHASE_TO_INDEX = PHASE_BITS - TABLE_BITS
SINE_ONE_BITS = 15
HARMONIC_ONE_BITS = 13

# (order, share, phase in degrees). Order and sign give the flat top of a grid with rectifier loads, and
# the ripple of an inverter. Invented shapes; only their rms is a setting.
MAINS_SHAPE = ((3, 0.45, 10.0), (5, 0.80, 175.0), (7, 0.35, 20.0), (11, 0.12, 40.0), (13, 0.08, 0.0))
INVERTER_SHAPE = ((3, 0.90, 170.0), (5, 0.25, 30.0), (7, 0.30, 200.0), (9, 0.20, 90.0))


@cache
def sine_table() -> np.ndarray:
    """Return one period of the sine, int16, 32767 = 1."""
    return np.array(
        [round(32767 * math.sin(2 * math.pi * i / TABLE_SIZE)) for i in range(TABLE_SIZE)], dtype=np.int16
    )


@cache
def shape_table(shape: tuple[tuple[int, float, float], ...]) -> np.ndarray:
    """Return one period of harmonics alone, int16; its rms equals that of a sine of peak 8192."""
    norm = math.sqrt(sum(share * share for _, share, _ in shape))
    period = []
    for i in range(TABLE_SIZE):
        x = 2 * math.pi * i / TABLE_SIZE
        value = sum(share * math.sin(order * x + math.radians(shift)) for order, share, shift in shape)
        period.append(round(8192 * value / norm))
    return np.array(period, dtype=np.int16)


def phase_step(frequency_hz: float, rate_hz: int) -> int:
    """Return the phase advance of one sample, 2^32 = one period."""
    return round(frequency_hz / rate_hz * (1 << PHASE_BITS))
