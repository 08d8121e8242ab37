"""Make mains waves for the power-quality tests: plain arithmetic, no part of the code under test."""

from collections.abc import Callable

import numpy as np
import pytest

RATE_HZ = 3200.0


class Mains:
    """Make sampled voltages; peak from rms, time from zero."""

    rate_hz = RATE_HZ

    def time(self, seconds: float) -> np.ndarray:
        return np.arange(round(seconds * RATE_HZ)) / RATE_HZ

    def sine(
        self, seconds: float, rms_v: float = 230.0, hertz: float = 50.0, phase: float = 0.0
    ) -> np.ndarray:
        return np.sqrt(2.0) * rms_v * np.sin(2 * np.pi * hertz * self.time(seconds) + phase)

    def with_harmonics(self, seconds: float, parts: dict[float, float], hertz: float = 50.0) -> np.ndarray:
        """Add components given as {order: fraction of the fundamental}; orders need not be whole."""
        wave = self.sine(seconds, hertz=hertz)
        for order, fraction in parts.items():
            wave = wave + self.sine(seconds, 230.0 * fraction, hertz * order, phase=order)
        return wave

    def scaled(self, wave: np.ndarray, level: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
        return wave * level(np.arange(len(wave)) / RATE_HZ)


@pytest.fixture(scope="session")
def mains() -> Mains:
    return Mains()
