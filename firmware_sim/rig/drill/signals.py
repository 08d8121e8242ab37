"""Synthetic lines in place of the world: what a tester's signal generator puts on the inputs."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from firmware_sim.contract import PRESSURE_BLOCK, SUPPLY_BLOCK, channels
from firmware_sim.world.plant import Lines
from firmware_sim.world.scenario import Event

RATE_HZ = 3200
WAVE_HZ = 100
NOMINAL_V = 230.0
# (order, share of the distortion, phase): a mains with some distortion, an inverter with its own.
MAINS = ((3, 0.51, 0.2), (5, 0.86, 3.0))
INVERTER = ((3, 0.96, 3.0), (7, 0.28, 3.5))
BYPASSED, REGULATED = (0.03, MAINS), (0.016, INVERTER)


@dataclass(slots=True, kw_only=True)
class Signals:
    """What lies on the inputs until it is changed.

    Taps in % of 230 V; `out_follows` 1: the output repeats the input's wave, as in bypass; pressure by
    `shape` 'breaths', 'pulls' or 'level' (then `level`); oxygen may ramp by `oxygen_slope` % a minute;
    `contact` is the supply state that the UPS's contact reports.
    """

    in_pct: float = 100.0
    in_hz: float = 50.02
    out_pct: float = 100.0
    out_follows: float = 0.0
    shape: str = "breaths"
    level: float = 6.0
    peak: float = 20.0
    rest: float = 6.0
    rate: float = 15.0
    oxygen: float = 93.0
    oxygen_slope: float = 0.0
    product_kpa: float = 50.0
    rail_v: float = 5.0
    contact: int = channels.STATE_NORMAL


class Generator:
    """Stand in for the plant of a `Rig`: the same lines, from `signals`."""

    seed = 7

    def __init__(self) -> None:
        self.signals = Signals()
        self.block = 0
        self.turn = 0.0
        self.breath = 0.0
        self.oxygen = self.signals.oxygen

    def rig_events(self) -> Iterator[Event]:
        """Return nothing: persons and faults are the tester's."""
        return iter(())

    def inject(self, event: Event) -> None:
        """Leave events to the rig."""

    def advance(self, blocks: int) -> Lines:
        """Return the lines of so many blocks of 100 ms."""
        now = self.signals
        first, self.block = self.block, self.block + blocks
        turn = self.turn + 2 * np.pi * now.in_hz * np.arange(1, blocks * SUPPLY_BLOCK + 1) / RATE_HZ
        self.turn = float(turn[-1] % (2 * np.pi))
        pointer = np.exp(1j * turn)
        flat = {
            "product_pressure_pa": round(now.product_kpa * 1000), "rail_mv": round(now.rail_v * 1000),
            "ups_contact": now.contact, "ambient_pa": 101_325, "battery_cv": 0, "ups_output_ma": 0,
            "surge_peak_v": 0, "flow_ok": 1,
        }  # fmt: skip
        return Lines(
            first_tick_ms=first * 100,
            blocks=blocks,
            supply_in_cv=_wave(pointer, now.in_pct, *BYPASSED),
            supply_out_cv=_wave(pointer, now.out_pct, *(BYPASSED if now.out_follows else REGULATED)),
            pressure_ucm=self._pressure(blocks * PRESSURE_BLOCK),
            oxygen_ppm=self._oxygen(blocks),
            **{name: np.full(blocks, value, np.int32) for name, value in flat.items()},
        )

    def _oxygen(self, blocks: int) -> np.ndarray:
        now = self.signals
        if now.oxygen_slope:
            course = self.oxygen + now.oxygen_slope / 600 * np.arange(1, blocks + 1)
            self.oxygen = float(course[-1])
        else:
            self.oxygen = now.oxygen
            course = np.full(blocks, now.oxygen)
        return np.round(course * 10_000).astype(np.int32)

    def _pressure(self, count: int) -> np.ndarray:
        """Push: rise in a tenth of the cycle, hold to 35 %, fall with a time constant of 5 %; pull: 30 %."""
        now = self.signals
        if now.shape == "level":
            return np.full(count, round(now.level * 1000), np.int32)
        share = (self.breath + np.arange(1, count + 1) * now.rate / 60 / WAVE_HZ) % 1.0
        self.breath = float(share[-1])
        lift = np.where(share < 0.35, np.minimum(share / 0.1, 1.0), np.exp(-(share - 0.35) / 0.05))
        if now.shape == "pulls":
            pull = np.where(share < 0.3, np.sin(np.pi * share / 0.3), 0.0)
            return np.round((now.rest - 5.0 * pull) * 1000).astype(np.int32)
        return np.round((now.rest + (now.peak - now.rest) * lift) * 1000).astype(np.int32)


def _wave(
    turn: np.ndarray, pct: float, distortion: float, shape: tuple[tuple[int, float, float], ...]
) -> np.ndarray:
    """Return a wave; `turn` is the fundamental as a pointer, and a harmonic is a power of it."""
    wave = turn.imag.copy()
    for order, part, shift in shape:
        wave += (turn**order * (distortion * part * np.exp(1j * shift))).imag
    rms = np.sqrt(1 + distortion**2 * sum(part**2 for _, part, _ in shape))
    return np.round(wave * (pct * NOMINAL_V * np.sqrt(2) / rms)).astype(np.int32)
