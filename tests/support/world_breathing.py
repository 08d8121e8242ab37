"""Patients of the simulated plant with their true breaths, for checking what is read from pressure alone."""

from array import array
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from firmware_sim.kernels import breath as kernel
from firmware_sim.world.plant import Plant
from firmware_sim.world.scenario import Event, Scenario
from ingest.analysis.breathing.model import BreathTable, PressureTrace
from ingest.analysis.breathing.reference import find_breaths

VENTILATED = {"source": 1}
KG = {"adult": (40, 90), "child": (8, 30), "infant": (4, 8)}
NEAR_MS = 500  # a slow hand begins gently; the error of the period is checked by itself


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """A played stretch: the trace with sensor noise, breaths found, true breaths and efforts."""

    trace: PressureTrace
    found: BreathTable
    truth: dict[str, np.ndarray]
    efforts_ms: np.ndarray

    def pairs(self) -> tuple[np.ndarray, np.ndarray, int, int]:
        """Rows of found and true breaths that begin together, and how many of each have no partner.

        The first and the last two seconds and the last breath of either list are left out: they may be cut.
        """
        found, truth = self.found.start_ms, self.truth["start_ms"]
        first, last = 2_000, min(found[-1], truth[-1]) - 2_000
        rows_found = np.flatnonzero((found >= first) & (found < last))
        rows_truth = np.flatnonzero((truth >= first) & (truth < last))
        gap = np.abs(found[rows_found, None] - truth[None, :])
        near = gap.min(axis=1) < NEAR_MS
        missed = np.abs(truth[rows_truth, None] - found[None, :]).min(axis=1) >= NEAR_MS
        return rows_found[near], gap.argmin(axis=1)[near], int((~near).sum()), int(missed.sum())


def play(settings: dict, *, seconds: int = 300, seed: int = 1, noise: float = 0.1,
         events: Iterable[Event] = ()) -> Played:  # fmt: skip
    """Run the plant with these settings and read the circuit pressure."""
    scenario = Scenario(
        name="breathing", title="breathing", description="Invented patient for a check.", settings=settings,
        initial={"bed": 1, "ups_normal": 1}, events=tuple(events), duration_s=float(seconds),
    )  # fmt: skip
    plant = Plant(scenario, seed)
    wave = plant.advance(10 * seconds).pressure_ucm / 1000.0
    wave = wave + np.random.default_rng(seed).normal(0, noise, wave.size)
    trace = PressureTrace(start_ms=0, rate_hz=100.0, pressure_cmh2o=wave)
    return Played(
        trace=trace, found=find_breaths(trace), truth=plant.breaths(), efforts_ms=plant.efforts()["start_ms"]
    )


def found_by_module(wave_cmh2o: np.ndarray, mode: int, block=kernel.breath_block) -> np.ndarray:
    """Feed a wave at 100 S/s second by second, as the module does; return its records."""
    wave = array("h", np.clip(np.rint(100 * wave_cmh2o), -32767, 32767).astype(np.int16).tobytes())
    state = array("i", [0] * kernel.BREATH_STATE)
    kernel.breath_reset(state, mode, 800)
    room = array("i", [0] * (kernel.BREATH_WORDS * 100))
    records = []
    for at in range(0, len(wave) - 99, 100):
        block(wave[at : at + 100], 100, state, room)
        records += [
            list(room[k * kernel.BREATH_WORDS : (k + 1) * kernel.BREATH_WORDS])
            for k in range(state[kernel.FOUND])
        ]
    return np.array(records).reshape(-1, kernel.BREATH_WORDS)


def random_settings(rng: np.random.Generator, source: int, group: str | None = None) -> dict:
    """Draw an adult, a child or an infant: ventilated (1), by hand (2) or draw-over (3).

    Without a `group` any of them, but nobody too small for a draw-over circuit to show.
    """
    kg = float(rng.choice([rng.uniform(4, 8), rng.uniform(8, 30), rng.uniform(40, 90)]))
    if group is not None:
        kg = float(rng.uniform(*KG[group]))
    elif source == 3:
        kg = max(kg, 15.0)  # smaller patients move a draw-over circuit by under 0.4 cmH2O: not seen
    rate = float(rng.uniform(24, 38) if kg < 8 else rng.uniform(14, 30) if kg < 30 else rng.uniform(8, 20))
    ventilator = {
        "source": source, "rate_min": rate, "tidal_ml": 7.0 * kg,
        "ti_s": float(rng.uniform(0.25, 0.4)) * 60 / rate,
        "peep_cmh2o": float(rng.uniform(0, 8)), "limit_cmh2o": 60.0,
    }  # fmt: skip
    if source == 2:
        ventilator |= {"rate_spread_pct": 20.0, "stroke_spread_pct": 20.0}
    patient = {
        "compliance_ml_cmh2o": kg * float(rng.uniform(0.6, 1.1)),
        "airway_r_cmh2o_s_l": float(np.clip(400 / kg, 5, 60) * rng.uniform(0.7, 1.4)),
    }
    if source == 3:
        patient |= {"effort_rate_min": rate, "effort_cmh2o": float(rng.uniform(6, 12))}
    circuit = {"leak_ml_s_cmh2o": float(rng.choice([0.0, rng.uniform(0, 0.06 * kg)]))}
    return {"ventilator": ventilator, "patient": patient, "circuit": circuit}
