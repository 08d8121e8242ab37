"""The mains: level, distortion, flicker and frequency in steps of 10 ms; dips act sample by sample.

Everything slow lives here as floats of + - * /; the samples themselves are integers (`samples.py`).
"""

import math
from typing import NamedTuple

from firmware_sim.world import noise
from firmware_sim.world.jit import compiled
from firmware_sim.world.smooth import decay, toward

_DAY_MS = 86_400_000


class MainsSettings(NamedTuple):
    """What the supply is set to; per cent of nominal unless the name says otherwise."""

    nominal_v: float = 230.0
    nominal_hz: float = 50.0
    level_pct: float = 100.0
    drift_pct: float = 1.5
    """Swing over the day, lowest at `drift_low_h` hours after the start."""
    drift_low_h: float = 20.0
    sway_pct: float = 0.6
    """Deviation of the slow random part, time constant 10 min."""
    wobble_pct: float = 0.15
    """Deviation of the fast random part, time constant 0.4 s."""
    thd_pct: float = 3.0
    flicker_pct: float = 0.0
    """Relative change ΔV/V of a sine modulation."""
    flicker_hz: float = 8.8
    frequency_hz: float = 50.0
    wander_hz: float = 0.015
    """Deviation of the random part of the frequency, time constant 20 s."""


class MainsState(NamedTuple):
    """What changes from step to step."""

    sway: float = 0.0
    wobble: float = 0.0
    wander_hz: float = 0.0
    flicker_turn: float = 0.0
    level_pct: float = 100.0
    frequency_hz: float = 50.0


@compiled
def daily(ms: int, low_h: float) -> float:
    """Return a smooth daily wave from -1 to 1 (two parabolas), lowest at `low_h`."""
    turn = ((ms - low_h * 3_600_000.0) / _DAY_MS + 0.75) % 1.0
    half = turn * 2.0 if turn < 0.5 else turn * 2.0 - 1.0
    arch = 4.0 * half * (1.0 - half)
    return arch if turn < 0.5 else -arch


@compiled
def step_mains(state: MainsState, settings: MainsSettings, seed: int, ms: int, dt_s: float) -> MainsState:
    """Advance level and frequency by one step; `ms` is the time at its end."""
    count = ms // 10
    keep_fast, keep_slow, keep_hz = decay(dt_s / 0.4), decay(dt_s / 600.0), decay(dt_s / 20.0)
    fast = noise.bell(noise.stream(seed, noise.STREAM_LEVEL), count)
    slow = noise.bell(noise.stream(seed, noise.STREAM_SWAY), count)
    turn = noise.bell(noise.stream(seed, noise.STREAM_FREQUENCY), count)
    wobble = state.wobble * keep_fast + fast * math.sqrt(1.0 - keep_fast * keep_fast)
    sway = state.sway * keep_slow + slow * math.sqrt(1.0 - keep_slow * keep_slow)
    wander = state.wander_hz * keep_hz + settings.wander_hz * turn * math.sqrt(1.0 - keep_hz * keep_hz)
    flicker_turn = (state.flicker_turn + settings.flicker_hz * dt_s) % 1.0
    half = flicker_turn * 2.0 if flicker_turn < 0.5 else flicker_turn * 2.0 - 1.0
    arch = 4.0 * half * (1.0 - half)
    flicker = 0.5 * settings.flicker_pct * (arch if flicker_turn < 0.5 else -arch)
    level = (
        settings.level_pct
        + settings.drift_pct * daily(ms, settings.drift_low_h)
        + settings.sway_pct * sway
        + settings.wobble_pct * wobble
        + flicker
    )
    # A set frequency is reached as a rotating mass reaches it, within about a second.
    frequency = toward(state.frequency_hz - state.wander_hz, settings.frequency_hz, dt_s, 0.5) + wander
    return MainsState(sway, wobble, wander, flicker_turn, max(level, 0.0), frequency)


@compiled
def peak_q8(rms_v: float, thd_pct: float) -> int:
    """Return the peak of the fundamental in 1/256 of 0.01 V, so that the whole wave has `rms_v`."""
    thd = 0.01 * thd_pct
    return int(rms_v * 100.0 * 256.0 * 1.4142135623730951 / math.sqrt(1.0 + thd * thd))
