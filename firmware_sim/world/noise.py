"""Counter-based random numbers: value = f(stream, counter), equal for any block size and machine.

The mixer is the finaliser of SplitMix64 (Steele, Lea, Flood, OOPSLA 2014; constants from memory).
"""

import numpy as np

from firmware_sim.world.jit import compiled

_STEP = np.uint64(0x9E3779B97F4A7C15)
_MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX_2 = np.uint64(0x94D049BB133111EB)
_S11, _S16, _S27, _S30, _S31, _S32 = (np.uint64(n) for n in (11, 16, 27, 30, 31, 32))
_LOW_16 = np.uint64(0xFFFF)

# One stream a use; never reuse a number.
STREAM_SAMPLES = 1
STREAM_LEVEL = 2
STREAM_SWAY = 3
STREAM_FREQUENCY = 4
STREAM_CYCLE = 5
STREAM_STROKE = 6
STREAM_PATIENT = 7
STREAM_WATER = 8
STREAM_STATISTICS = 9


@compiled
def mix(stream: int, counter: int) -> np.uint64:
    """Return 64 random bits."""
    x = np.uint64(counter) * _STEP + np.uint64(stream)
    x = (x ^ (x >> _S30)) * _MIX_1
    x = (x ^ (x >> _S27)) * _MIX_2
    return x ^ (x >> _S31)


@compiled
def stream(seed: int, use: int) -> int:
    """Return the stream number of a use."""
    return int(np.int64(mix(seed, use)))


@compiled
def unit(stream_number: int, counter: int) -> float:
    """Return a number in [0, 1)."""
    return np.float64(mix(stream_number, counter) >> _S11) * 1.1102230246251565e-16


@compiled
def bell(stream_number: int, counter: int) -> float:
    """Return a bell-shaped number: mean 0, deviation 1, never beyond 3.5 (sum of four uniform ones)."""
    x = mix(stream_number, counter)
    total = (x & _LOW_16) + ((x >> _S16) & _LOW_16) + ((x >> _S32) & _LOW_16) + (x >> np.uint64(48))
    return (np.float64(total) - 131070.0) * 2.6429397e-05
