"""Invented patients in closed form: the equation of motion solved by hand, apart from the project's physics.

P = V/C + R·flow + PEEP (Chatburn, Respir Care 2014;59(4):e61): constant inspiratory flow, optional pause,
passive expiration V e^(-t/RC) against an open valve, so circuit pressure in expiration is PEEP.
"""

from dataclasses import dataclass

import numpy as np

RATE_HZ = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Lung:
    """A passive patient on a volume-controlled ventilator: L, s, cmH2O·s/L, L/cmH2O, cmH2O."""

    vt: float
    ti: float
    te: float
    resistance: float
    compliance: float
    peep: float = 0.0
    pause: float = 0.0

    @property
    def period(self) -> float:
        return self.ti + self.pause + self.te

    @property
    def tau(self) -> float:
        return self.resistance * self.compliance

    @property
    def trapped(self) -> float:
        """Volume left at the end of expiration once breathing is steady, L."""
        return self.vt / np.expm1(self.te / self.tau)

    def plateau(self, trapped: float | None = None) -> float:
        left = self.trapped if trapped is None else trapped
        return self.peep + (self.vt + left) / self.compliance

    @property
    def peak(self) -> float:
        return self.plateau() + self.resistance * self.vt / self.ti

    @property
    def mean(self) -> float:
        """Mean circuit pressure over a steady breath, by the integral."""
        flow_part = self.peep + self.resistance * self.vt / self.ti
        inspired = self.ti * (flow_part + (self.trapped + self.vt / 2) / self.compliance)
        return (inspired + self.pause * self.plateau() + self.te * self.peep) / self.period

    def wave(self, t: np.ndarray) -> np.ndarray:
        """Circuit pressure at times t (s) of steady breathing that began long ago."""
        phase = np.mod(t, self.period)
        flow = self.vt / self.ti
        rising = self.peep + self.resistance * flow + (self.trapped + flow * phase) / self.compliance
        out = np.where(phase < self.ti, rising, self.plateau())
        return np.where(phase >= self.ti + self.pause, self.peep, out)


ADULT = Lung(vt=0.5, ti=1.0, te=3.0, resistance=10.0, compliance=0.05, peep=5.0)
CHILD = Lung(vt=0.105, ti=0.7, te=1.7, resistance=30.0, compliance=0.010, peep=5.0)
OBSTRUCTED = Lung(vt=0.5, ti=0.75, te=2.25, resistance=25.0, compliance=0.06)
BREATH_A = Lung(vt=0.65, ti=1.3, te=2.4, pause=0.3, resistance=5.0, compliance=0.05)
BREATH_B = Lung(vt=0.65, ti=1.3, te=2.4, pause=0.3, resistance=21.0, compliance=0.095)


def random_lung(rng: np.random.Generator) -> Lung:
    """Draw an adult, child or infant, ventilated at a field ventilator's 4–40 /min."""
    kg = float(rng.choice([rng.uniform(3, 8), rng.uniform(8, 30), rng.uniform(40, 90)]))
    rate = float(rng.uniform(22, 40) if kg < 8 else rng.uniform(14, 32) if kg < 30 else rng.uniform(6, 20))
    share = float(rng.uniform(0.22, 0.42))
    pause = float(rng.choice([0.0, 0.0, rng.uniform(0.25, 0.5)])) if rate < 20 else 0.0
    return Lung(
        vt=kg * float(rng.uniform(0.006, 0.009)),
        ti=share * 60 / rate,
        te=(1 - share) * 60 / rate - pause,
        pause=pause,
        resistance=float(np.clip(400 / kg, 5, 60) * rng.uniform(0.7, 1.4)),
        compliance=kg * float(rng.uniform(0.0006, 0.0011)),
        peep=float(rng.uniform(0, 10)),
    )


def spontaneous(t: np.ndarray, rng: np.random.Generator, *, depth: float, rate: float) -> np.ndarray:
    """Draw-over breathing: dips below the ambient level, half-sine, period and depth varying by 10 %."""
    out = np.zeros_like(t)
    at = 0.5
    while at < t[-1]:
        period = 60 / rate * float(rng.normal(1, 0.08))
        ti = 0.38 * period
        inside = (t >= at) & (t < at + ti)
        out[inside] -= depth * float(rng.normal(1, 0.08)) * np.sin(np.pi * (t[inside] - at) / ti)
        at += period
    return out


def by_hand(t: np.ndarray, rng: np.random.Generator, *, peak: float, rate: float) -> np.ndarray:
    """Hand ventilation: rounded pushes whose force, length and interval vary by a fifth to a quarter."""
    out = np.zeros_like(t)
    at = 0.5
    while at < t[-1]:
        period = 60 / rate * float(np.clip(rng.normal(1, 0.22), 0.55, 1.6))
        ti = float(np.clip(rng.normal(1.0, 0.22), 0.5, 1.5)) * min(0.4 * 60 / rate, 1.1)
        height = peak * float(np.clip(rng.normal(1, 0.2), 0.5, 1.6))
        inside = (t >= at) & (t < at + ti)
        out[inside] += height * np.sin(np.pi * (t[inside] - at) / ti) ** 0.7
        at += max(period, ti + 0.4)
    return out
