"""Supply voltages in closed form, as converter codes, and the kernels run over them."""

from array import array
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from firmware_sim.contract import settings
from firmware_sim.kernels import supply as words

RATE_HZ = 3200
BLOCK = 320
LSB_V = 0.390625  # 1600 V over 12 bits
# A flat-topped mains: (order, share of the fundamental, phase), THD 10.8 %.
FLAT_TOP = (
    (3, 0.05, 3.0),
    (5, 0.06, 5.0),
    (7, 0.05, 7.0),
    (9, 0.015, 9.0),
    (11, 0.035, 11.0),
    (13, 0.03, 13.0),
)


def volts(
    seconds: float, hertz: float, rms: float = 230.0, harmonics=(), phase: float = 0.3, start: float = 0.0
):
    """Return samples of a fundamental of `rms` volts with harmonics."""
    t = start + np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    turn = 2 * np.pi * hertz * t + phase
    wave = np.sin(turn)
    for order, share, shift in harmonics:
        wave = wave + share * np.sin(order * turn + shift)
    return rms * np.sqrt(2) * wave


def true_rms(rms: float, harmonics=()) -> float:
    """Return the rms with its harmonics, by Parseval."""
    return rms * np.sqrt(1 + sum(share * share for _, share, _ in harmonics))


def codes(wave: np.ndarray, noise: float = 0.0, seed: int = 1) -> np.ndarray:
    """Return what a 12-bit converter of +-800 V makes of it; `noise` in codes rms."""
    shaken = wave / LSB_V + (np.random.default_rng(seed).normal(0, noise, len(wave)) if noise else 0.0)
    return np.clip(np.round(shaken), -2048, 2047).astype(np.int16)


def blocks(samples: np.ndarray) -> list[array]:
    """Cut codes into the blocks that the converter delivers."""
    return [
        array("h", samples[at : at + BLOCK].tobytes()) for at in range(0, len(samples) - BLOCK + 1, BLOCK)
    ]


@dataclass
class Run:
    """What the kernel made of two taps: Urms(1/2) in V with window ends in samples, event records."""

    state: array
    ring: array
    rms: list[np.ndarray] = field(default_factory=list)
    ends: list[np.ndarray] = field(default_factory=list)
    events: list[list[int]] = field(default_factory=list)
    seconds: list[list[int]] = field(default_factory=list)


def prepared(kernels: Any, nominal_v: int = 230, hertz: int = 50, interruption: int = 10) -> Run:
    """Return a fresh state with the usual thresholds."""
    run = Run(array("i", bytes(4 * words.STATE_WORDS)), array("h", bytes(4 * words.RING)))
    kernels.supply_reset(run.state, hertz)
    kernels.supply_limits(run.state, 100 * nominal_v, hertz, 9000, 11000, 100 * interruption, 200)
    return run


def measure(kernels: Any, before: np.ndarray, run: Run | None = None, **set_up) -> Run:
    """Run the supply kernel over the same codes at both taps and collect every half cycle."""
    run = prepared(kernels, **set_up) if run is None else run
    state = run.state
    found: tuple[list, list] = ([], [])
    seen = [state[words.COMMON + tap * words.TAP + words.HALF_AT] for tap in range(2)]
    for n, block in enumerate(blocks(before)):
        kernels.supply_block(block, block, 0, run.ring, state)
        for tap in range(2):
            at = words.COMMON + tap * words.TAP
            while seen[tap] != state[at + words.HALF_AT]:
                entry = words.HALVES_AT + tap * 2 * words.HALVES + seen[tap]
                found[tap].append((state[entry], state[entry + words.HALVES]))
                seen[tap] = (seen[tap] + 1) % words.HALVES
        for n_event in range(state[words.EVENT_COUNT]):
            at = words.EVENTS_AT + n_event * words.EVENT_WORDS
            run.events.append(list(state[at : at + words.EVENT_WORDS]))
        if n % 10 == 9:
            at = words.COMMON
            run.seconds.append(list(state[at : at + words.TAP]))
            state[at + words.GROUPS] = 0
            state[at + words.GROUP_FLAGS] = 0
    run.rms = [np.array([v for v, _ in taps]) / 100 for taps in found]
    run.ends = [np.array([e for _, e in taps]) for taps in found]
    return run


def module_settings(**changed: int) -> list[int]:
    """Return the module's defaults with some settings changed: `supply__nominal_voltage=120`."""
    values = settings.defaults()
    for name, value in changed.items():
        values[settings.ID_OF[name.replace("__", ".")]] = value
    return values
