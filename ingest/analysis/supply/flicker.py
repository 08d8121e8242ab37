"""Measure flicker as a person sees it in a lamp (IEC 61000-4-15, coefficients published in four public
texts).

The square of the voltage, taken relative to its slow mean, passes 0.05 Hz high-pass, 6th-order low-pass, the
weighting of lamp and eye, squaring and 300 ms smoothing: Pinst. Percentiles of 10 min give Pst, twelve Pst
give Plt. Squares are averaged to 800 a second first: everything below 35 Hz passes unharmed.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import scipy  # its parts load when they are first used

from ingest.analysis.supply.compiled import Codes, Floats, compiled

SQUARES_HZ, PINST_HZ = 800.0, 200.0
SLOW_MEAN_S = 60.0 / 2.2
"""Time constant of the reference: 10 to 90 % in one minute (from memory)."""
SMOOTHING_S = 0.3
SETTLE_S = 60.0
"""No Pst is given that rests on the first minute after a start or a gap."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """Hold the weighting of lamp, eye and brain, and the fluctuation that makes Pinst = 1 at 8.8 Hz."""

    name: str
    k: float
    damping: float
    omega: tuple[float, float, float, float]
    low_pass_hz: float
    sine_percent: float


def _omega(*hertz: float) -> tuple[float, float, float, float]:
    first, second, third, fourth = (2.0 * np.pi * f for f in hertz)
    return first, second, third, fourth


LAMP_230_V = Lamp(
    name="230 V lamp", k=1.74802, damping=2 * np.pi * 4.05981,
    omega=_omega(9.15494, 2.27979, 1.22535, 21.9), low_pass_hz=35.0, sine_percent=0.250,
)  # fmt: skip
LAMP_120_V = Lamp(
    name="120 V lamp", k=1.6357, damping=2 * np.pi * 4.167375,
    omega=_omega(9.077169, 2.939902, 1.394468, 17.31512), low_pass_hz=42.0, sine_percent=0.321,
)  # fmt: skip


def _weighting(lamp: Lamp) -> tuple[Any, Any, float]:
    """Give zeros, poles and gain of k w1 s / (s2 + 2 l s + w1^2) x (1 + s/w2) / ((1 + s/w3)(1 + s/w4))."""
    w1, w2, w3, w4 = lamp.omega
    poles = np.concatenate((np.roots([1.0, 2.0 * lamp.damping, w1 * w1]), [-w3, -w4]))
    return np.array([0.0, -w2]), poles, lamp.k * w1 * w3 * w4 / w2


def sections(lamp: Lamp, rate_hz: float) -> Floats:
    """Give the second-order sections of high-pass, low-pass and weighting at a rate."""
    high = scipy.signal.butter(1, 0.05, "high", fs=rate_hz, output="sos")
    low = scipy.signal.butter(6, lamp.low_pass_hz, fs=rate_hz, output="sos")
    weight = scipy.signal.zpk2sos(*scipy.signal.bilinear_zpk(*_weighting(lamp), fs=rate_hz))
    return np.ascontiguousarray(np.vstack((high, low, weight)), dtype=np.float64)


def analog_response(lamp: Lamp, hertz: Floats) -> Floats:
    """Give the complex response of the same chain in continuous time."""
    s = 2j * np.pi * hertz
    edge = 2 * np.pi * lamp.low_pass_hz
    zeros, poles, gain = scipy.signal.butter(6, edge, "low", analog=True, output="zpk")
    _, low = scipy.signal.freqs_zpk(zeros, poles, gain, worN=2 * np.pi * hertz)
    _, weight = scipy.signal.freqs_zpk(*_weighting(lamp), worN=2 * np.pi * hertz)
    return np.asarray(s / (s + 2 * np.pi * 0.05) * low * weight)


def scale(gain_at_8_8: float, lamp: Lamp) -> float:
    """Scale so that the peak of Pinst is 1 for the sine of the table, the ripple of 300 ms included."""
    depth = lamp.sine_percent / 100.0 * gain_at_8_8
    ripple = 1.0 / np.hypot(1.0, 2 * np.pi * 17.6 * SMOOTHING_S)
    return float(1.0 / (0.5 * depth**2 * (1.0 + ripple)))


@cache
def _design(lamp: Lamp) -> tuple[Floats, float]:
    """Give the sections at 800 a second and the scale that belongs to them."""
    table = sections(lamp, SQUARES_HZ)
    _, response = scipy.signal.sosfreqz(table, worN=[8.8], fs=SQUARES_HZ)
    return table, scale(float(abs(response[0])), lamp)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterState:
    """Hold the filters, the Pinst values of the 10 minutes that are open, and how many were given before."""

    filters: Floats
    pinst: Floats
    given: int


def meter_start() -> MeterState:
    """Begin a record, or begin again after a gap."""
    return MeterState(filters=np.zeros(24), pinst=np.empty(0), given=0)


def instantaneous(
    state: MeterState, codes: Codes, *, rate_hz: float, offset: float, lamp: Lamp
) -> tuple[MeterState, Floats]:
    """Give Pinst, 200 values a second, for the next block. offset is added to each code first."""
    group = round(rate_hz / SQUARES_HZ)
    if abs(group * SQUARES_HZ - rate_hz) > 1e-6 * rate_hz * 100:
        raise ValueError(f"flicker needs a multiple of {SQUARES_HZ:.0f} samples a second, not {rate_hz}")
    table, factor = _design(lamp)
    filters = state.filters.copy()
    every = round(SQUARES_HZ / PINST_HZ)
    out = np.empty(len(codes) // (group * every) + 2)
    count = _meter(
        np.asarray(codes, dtype=np.float64), offset, group, every, table, filters, out,
        1.0 / (SLOW_MEAN_S * SQUARES_HZ), 1.0 - np.exp(-1.0 / (SMOOTHING_S * SQUARES_HZ)),
    )  # fmt: skip
    pinst = out[:count] * factor
    return MeterState(filters=filters, pinst=state.pinst, given=state.given), pinst


@compiled
def _meter(
    wave: Floats, offset: float, group: int, every: int, table: Floats, state: Floats, out: Floats,
    slow: float, smooth: float,
) -> int:  # fmt: skip
    """Walk the samples. One loop on purpose.

    State: two a section, then sum of squares, samples in it, slow mean, smoothed, since the output, started.
    """
    sections = len(table)
    base = 2 * sections
    count = 0
    for i in range(len(wave)):
        value = wave[i] + offset
        state[base] += value * value
        state[base + 1] += 1.0
        if state[base + 1] < group:
            continue
        square = state[base] / group
        state[base], state[base + 1] = 0.0, 0.0
        if state[base + 5] < 128.0:
            # start from the running mean of the first 160 ms, so that the slow mean need not creep up from
            # nil
            state[base + 5] += 1.0
            state[base + 2] += (square - state[base + 2]) / state[base + 5]
        elif square > 0.01 * state[base + 2]:
            # below a tenth of the voltage nothing lights the lamp: the reference waits
            state[base + 2] += slow * (square - state[base + 2])
        x = square / state[base + 2] - 1.0 if state[base + 2] > 0.0 else 0.0
        for k in range(sections):
            y = table[k, 0] * x + state[2 * k]
            state[2 * k] = table[k, 1] * x - table[k, 4] * y + state[2 * k + 1]
            state[2 * k + 1] = table[k, 2] * x - table[k, 5] * y
            x = y
        state[base + 3] += smooth * (x * x - state[base + 3])
        state[base + 4] += 1.0
        if state[base + 4] >= every:
            state[base + 4] = 0.0
            out[count] = state[base + 3]
            count += 1
    return count


PERCENTILES = (0.1, 0.7, 1.0, 1.5, 2.2, 3.0, 4.0, 6.0, 8.0, 10.0, 13.0, 17.0, 30.0, 50.0, 80.0)


def pst_of(pinst: Floats) -> float:
    """Give Pst of one interval by the formula with smoothed percentiles (quoted)."""
    level = dict(
        zip(PERCENTILES, np.percentile(pinst, [100.0 - p for p in PERCENTILES]).tolist(), strict=True)
    )
    one = (level[0.7] + level[1.0] + level[1.5]) / 3.0
    three = (level[2.2] + level[3.0] + level[4.0]) / 3.0
    ten = (level[6.0] + level[8.0] + level[10.0] + level[13.0] + level[17.0]) / 5.0
    fifty = (level[30.0] + level[50.0] + level[80.0]) / 3.0
    return float(np.sqrt(0.0314 * level[0.1] + 0.0525 * one + 0.0657 * three + 0.28 * ten + 0.08 * fifty))


def plt_of(pst: Floats) -> float:
    """Give Plt of successive Pst, twelve for two hours: the cube root of the mean cube."""
    return float(np.cbrt(np.mean(np.power(pst, 3))))


def ten_minutes(
    state: MeterState, codes: Codes, *, start_s: float, rate_hz: float, offset: float, lamp: Lamp
) -> tuple[MeterState, list[tuple[float, float]]]:
    """Give (start of the 10-min interval of the clock, Pst) for each that the block completes.

    start_s is the time of the record's first sample. Intervals that touch the first minute are left out.
    """
    moved, fresh = instantaneous(state, codes, rate_hz=rate_hz, offset=offset, lamp=lamp)
    held = np.concatenate((state.pinst, fresh))
    begin_s = start_s + state.given / PINST_HZ
    done: list[tuple[float, float]] = []
    while len(held):
        end_s = 600.0 * (np.floor(begin_s / 600.0 + 1e-9) + 1.0)
        need = round((end_s - begin_s) * PINST_HZ)
        if len(held) < need:
            break
        if begin_s - start_s >= SETTLE_S and need >= 600.0 * PINST_HZ - 1:
            done.append((float(end_s - 600.0), pst_of(held[:need])))
        held, begin_s = held[need:], float(end_s)
    given = round((begin_s - start_s) * PINST_HZ)
    return MeterState(filters=moved.filters, pinst=held.copy(), given=given), done
