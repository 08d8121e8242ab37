"""Render what the sounder plays: its edges become the wave of a pulse-width output, without its mean."""

import wave
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from firmware_sim.core.sounder import DUTY_MAX_DIVISOR, LEVEL_MAX, Sounder

RATE_HZ = 48_000
# Harmonics above this lie outside what such a sounder radiates.
TOP_HZ = 12_000
PEAK = 0.8


class Edge(NamedTuple):
    """One order to the sounder: from `at_ms` on, this frequency at this level (0 to 255)."""

    at_ms: int
    frequency_hz: int
    level: int


class Recorder:
    """Stand in for the hal: keep the sounder's orders with their time."""

    def __init__(self) -> None:
        self.edges: list[Edge] = []
        self.now_ms = 0

    def sound(self, frequency_hz: int, level: int, at_ms: int) -> None:
        """Take one order of the coming step."""
        self.edges.append(Edge(self.now_ms + at_ms, frequency_hz, level))


def schedule(priority: int, seconds: float) -> list[Edge]:
    """Return the orders of a condition of this priority (1 low, 2 medium, 3 high) that stands so long."""
    recorder = Recorder()
    sounder = Sounder(recorder)
    for step in range(int(seconds * 10)):
        recorder.now_ms = step * 100
        sounder.step(priority, 0, False)
    return recorder.edges


def render(edges: Sequence[Edge], seconds: float, rate_hz: int = RATE_HZ) -> NDArray[np.float64]:
    """Return the wave between -1 and 1 of these orders.

    A pulse width d of a rectangular wave has harmonics of amplitude 2/(n pi) sin(n pi d) (definition); they
    are summed up to TOP_HZ, without the mean.
    """
    count = round(seconds * rate_hz)
    level = np.zeros(count)
    frequency = np.ones(count)
    for edge in edges:
        start = edge.at_ms * rate_hz // 1000
        level[start:] = edge.level
        frequency[start:] = max(edge.frequency_hz, 1)
    loud = np.flatnonzero(level)
    duty = level[loud] / LEVEL_MAX / DUTY_MAX_DIVISOR
    phase = np.cumsum(2 * np.pi * frequency / rate_hz)[loud]
    part = np.zeros(len(loud))
    lowest = min((edge.frequency_hz for edge in edges if edge.level), default=TOP_HZ)
    for harmonic in range(1, TOP_HZ // lowest + 1):
        part += 2 / (harmonic * np.pi) * np.sin(harmonic * np.pi * duty) * np.cos(harmonic * phase)
    out = np.zeros(count)
    if len(loud):
        out[loud] = part * (PEAK / np.abs(part).max())
    return out


def write_wav(path: Path, samples: NDArray[np.float64], rate_hz: int = RATE_HZ) -> None:
    """Write a wave between -1 and 1 as 16-bit mono."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes((np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())
