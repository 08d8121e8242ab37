"""The converter: 12 bits, with an offset, a gain error, noise and clipping of its own on each channel.

Integers only, and noise from a counter, so that any block size and any machine gives the same codes. Sensor
faults act here, at the converter's input: that is where a broken wire shows.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from firmware_sim.compiler import kept
from firmware_sim.contract import channels

FAULTS = ("none", "open", "short", "stuck", "drift", "noisy", "saturated")
NONE, OPEN, SHORT, STUCK, DRIFT, NOISY, SATURATED = range(7)

# Parameters of a channel, one int64 vector each.
P_GAIN, P_ZERO, P_NOISE, P_LOW, P_HIGH, P_SEED, P_FAULT, P_SIZE, P_SINCE = range(9)
P_WIDTH = 9
# Codes in 1/2^24 while they are worked out; noise in 1/256 code.
FRACTION = 24
IS_BIPOLAR = (channels.SUPPLY_IN, channels.SUPPLY_OUT)

Codes = NDArray[np.int16]
Physical = NDArray[np.int32]
Vector = NDArray[np.int64]


class Flaws(NamedTuple):
    """What is wrong with a channel from its making: codes, parts in a million, 1/256 code rms."""

    offset_codes: float = 0.0
    gain_ppm: int = 0
    noise_q8: int = 90


# Invented, of the size that a 12-bit converter with 1 % resistors shows after calibration at the works.
FLAWS = {
    channels.SUPPLY_IN: Flaws(0.6, 1500, 110),
    channels.SUPPLY_OUT: Flaws(-0.8, -1200, 110),
    channels.PRESSURE: Flaws(1.2, 2000, 120),
    channels.OXYGEN: Flaws(-1.5, 2500, 200),
    channels.RAIL: Flaws(0.5, 1000, 90),
    channels.PRODUCT_PRESSURE: Flaws(1.0, -2000, 120),
    channels.BATTERY_VOLTAGE: Flaws(-0.5, 1500, 120),
    channels.UPS_CURRENT: Flaws(0.7, -1500, 150),
    channels.SURGE_PEAK: Flaws(0.3, 3000, 100),
}


def parameters(channel_id: int, wire_unit: float, seed: int, flaws: Flaws | None = None) -> Vector:
    """Return the converter's parameters for a channel whose input comes in steps of `wire_unit` units."""
    _, _, _, _, low, high, value_low, value_high, _ = channels.channel(channel_id)
    given = FLAWS[channel_id] if flaws is None else flaws
    step = (value_high - value_low) / (high - low)
    codes = wire_unit / step * (1.0 + given.gain_ppm * 1e-6)
    zero = given.offset_codes + (0.0 if channel_id in IS_BIPOLAR else low - value_low / step)
    return np.array(
        [
            round(codes * (1 << FRACTION)),
            round(zero * (1 << FRACTION)),
            given.noise_q8,
            low,
            high,
            seed * 64 + channel_id,
            NONE,
            0,
            0,
        ],
        dtype=np.int64,
    )


_STEP = np.uint64(0x9E3779B97F4A7C15)
_MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX_2 = np.uint64(0x94D049BB133111EB)
_S16, _S27, _S30, _S31, _S32, _S48 = (np.uint64(n) for n in (16, 27, 30, 31, 32, 48))
_LOW_16 = np.uint64(0xFFFF)


@kept
def convert(physical: Physical, first: int, parameter: Vector, codes: Codes) -> None:
    """Fill `codes` from `physical`; `first` is the number of the first sample since the board was made.

    `parameter` holds the words P_*; the size of a fault is a code (stuck), 1/256 code of noise (noisy) or
    1/2^24 code a sample (drift). Noise is the sum of four 16-bit draws of a counter-based mixer, never
    beyond 3.5 deviations (SplitMix64's finaliser: Steele, Lea, Flood, OOPSLA 2014; constants from memory).
    """
    gain, zero, noise = parameter[0], parameter[1], parameter[2]
    low, high, seed, fault = parameter[3], parameter[4], np.uint64(parameter[5]), parameter[6]
    size, since = parameter[7], parameter[8]
    middle = (low + high + 1) // 2
    if fault == 5:
        noise += size
    for i in range(len(codes)):
        x = np.uint64(first + i) * _STEP + seed * _MIX_1
        x = (x ^ (x >> _S30)) * _MIX_1
        x = (x ^ (x >> _S27)) * _MIX_2
        x = x ^ (x >> _S31)
        total = np.int64(x & _LOW_16) + np.int64((x >> _S16) & _LOW_16)
        total += np.int64((x >> _S32) & _LOW_16) + np.int64(x >> _S48)
        # The sum has mean 131070 and deviation 37837.
        bell = ((total - 131070) * noise * 443) >> 8
        code = physical[i] * gain + zero + bell
        if fault == 4:
            code += (first + i - since) * size
        elif fault == 6:
            code += ((high - middle) * 15) << 20
        elif fault == 1:
            code = (high << 24) + bell
        elif fault == 2:
            code = (low << 24) + bell
        elif fault == 3:
            code = size << 24
        code = (code + (1 << 23)) >> 24
        codes[i] = min(max(code, low), high)
