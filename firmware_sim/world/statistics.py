"""Supply events drawn from a published study of 25 hospitals; same schema as scripted ones.

0.67 outages a day with a median of 2.01 h; within ±10 % of nominal for 73.9 % of the time; frequency within
±5 % for 82.1 % (Miles et al., Applied Energy 2025;401, published). The shapes of the distributions, and
the rate of short dips and surges, are this project's assumption. Outages cluster: half of them bring
short ones soon after.
"""

import math

from firmware_sim.world import noise
from firmware_sim.world.actions import Value
from firmware_sim.world.jit import kept
from firmware_sim.world.scenario import Event, Scenario

OUTAGES_A_DAY = 0.67
OUTAGE_MEDIAN_S = 2.01 * 3600
WITHIN_10_PCT = 0.739
FREQUENCY_WITHIN_5_PCT = 0.821
_stream, _unit = kept(noise.stream), kept(noise.unit)
_SPREAD = 1.2  # of the logarithm of the length
_DIPS_A_DAY = 20.0
_SURGES_A_DAY = 2.0
_DAY_S = 86_400.0
_EPISODE_S = 1_200.0


class Draw:
    """Numbers drawn in order from one stream."""

    def __init__(self, seed: int) -> None:
        self._stream = int(_stream(seed, noise.STREAM_STATISTICS))
        self._count = 0

    def unit(self) -> float:
        """Return a number in [0, 1)."""
        self._count += 1
        return float(_unit(self._stream, self._count))

    def between(self, low: float, high: float) -> float:
        """Return a number in [low, high)."""
        return low + (high - low) * self.unit()

    def wait_s(self, mean_s: float) -> float:
        """Return an exponential waiting time, rounded to ms so that no library's last bit matters."""
        return round(-mean_s * math.log(1.0 - self.unit()), 3)

    def length_s(self, median_s: float, spread: float) -> float:
        """Return a log-normal length (sum of twelve for the normal part), rounded to ms."""
        normal = sum(self.unit() for _ in range(12)) - 6.0
        return round(median_s * math.exp(spread * normal), 3)


def draw(scenario: Scenario, seed: int) -> tuple[Event, ...]:
    """Return the events of a scenario's statistics, none if it has none."""
    if scenario.statistics is None:
        return ()
    numbers = Draw(seed)
    events = _outages(numbers, scenario.duration_s) + _dips(numbers, scenario.duration_s)
    events += _levels(numbers, scenario.duration_s, scenario.nominal_hz) + _surges(
        numbers, scenario.duration_s
    )
    return tuple(sorted(events, key=lambda event: event.t_s))


def _mains(t_s: float, action: str, **params: Value) -> Event:
    return Event(t_s=round(t_s, 3), actor="mains", action=action, params=params)


def _outages(numbers: Draw, duration_s: float) -> list[Event]:
    events = []
    # Half of the outages bring one more within the hour: two thirds of the rate starts by itself.
    t = numbers.wait_s(_DAY_S / (OUTAGES_A_DAY / 1.5))
    while t < duration_s:
        length = numbers.length_s(OUTAGE_MEDIAN_S, _SPREAD)
        events.append(_mains(t, "interruption", duration_s=length))
        t += length
        if numbers.unit() < 0.5:
            t += numbers.between(60.0, 3600.0)
            length = numbers.length_s(OUTAGE_MEDIAN_S, _SPREAD)
            if t < duration_s:
                events.append(_mains(t, "interruption", duration_s=length))
            t += length
        t += numbers.wait_s(_DAY_S / (OUTAGES_A_DAY / 1.5))
    return events


def _dips(numbers: Draw, duration_s: float) -> list[Event]:
    events = []
    t = numbers.wait_s(_DAY_S / _DIPS_A_DAY)
    while t < duration_s:
        swell = numbers.unit() < 0.15
        residual = numbers.between(112.0, 125.0) if swell else numbers.between(10.0, 88.0)
        length = min(numbers.length_s(0.25, 1.1), 30.0)
        events.append(
            _mains(t, "swell" if swell else "dip", residual_pct=round(residual, 2), duration_s=length)
        )
        t += length + numbers.wait_s(_DAY_S / _DIPS_A_DAY)
    return events


def _levels(numbers: Draw, duration_s: float, nominal_hz: float) -> list[Event]:
    """Return episodes of 20 min on average, level and frequency inside or outside the study's bands."""
    events = []
    t = 0.0
    while t < duration_s:
        if numbers.unit() < WITHIN_10_PCT:
            level = numbers.between(93.0, 107.0)
        else:
            level = numbers.between(78.0, 87.0) if numbers.unit() < 0.8 else numbers.between(112.5, 118.0)
        inside = numbers.unit() < FREQUENCY_WITHIN_5_PCT
        share = numbers.between(-0.01, 0.01) if inside else numbers.between(0.055, 0.08)
        if not inside and numbers.unit() < 0.5:
            share = -share
        hz = round(nominal_hz * (1.0 + share), 3)
        events.append(_mains(t, "set", level_pct=round(level, 2), frequency_hz=hz))
        t += max(60.0, numbers.wait_s(_EPISODE_S))
    return events


def _surges(numbers: Draw, duration_s: float) -> list[Event]:
    events = []
    t = numbers.wait_s(_DAY_S / _SURGES_A_DAY)
    while t < duration_s:
        events.append(_mains(t, "surge", peak_v=round(numbers.between(400.0, 2_500.0))))
        t += numbers.wait_s(_DAY_S / _SURGES_A_DAY)
    return events
