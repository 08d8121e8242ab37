"""The patient: lung mechanics as settings, breathing muscles and cough as pressure."""

from typing import NamedTuple

from firmware_sim.world import noise
from firmware_sim.world.jit import compiled
from firmware_sim.world.smooth import clip

STEP_MS = 10
_COUGH_MS = 200
_COUGH_EVERY_MS = 500


class PatientSettings(NamedTuple):
    """Lung, tube and muscles. Adult by default; a child of 15 kg has R 30, C 10."""

    compliance_ml_cmh2o: float = 50.0
    airway_r_cmh2o_s_l: float = 8.0
    tube_r1_cmh2o_s_l: float = 1.5
    tube_r2_cmh2o_s2_l2: float = 3.0
    """Tube resistance r1 + r2·|flow|, a part of its own (Rohrer's form; values from memory)."""
    effort_rate_min: float = 0.0
    effort_cmh2o: float = 12.0
    effort_ti_s: float = 1.1
    effort_spread_pct: float = 6.0
    cough_cmh2o: float = 45.0


class PatientState(NamedTuple):
    """Where in the effort and the cough the patient is."""

    phase_ms: int = 0
    cycle_ms: int = 0
    efforts: int = 0
    started: int = 0
    coughs_left: int = 0
    cough_ms: int = 0
    muscle_cmh2o: float = 0.0


@compiled
def hump(u: float) -> float:
    """Return a parabola from 0 over 1 back to 0 for u in 0..1, else 0."""
    return 4.0 * u * (1.0 - u) if 0.0 < u < 1.0 else 0.0


@compiled
def step_patient(state: PatientState, settings: PatientSettings, seed: int) -> PatientState:
    """Advance 10 ms; the muscle pressure holds for the end of the step, negative when breathing in."""
    phase, cycle, efforts, started = state.phase_ms + STEP_MS, state.cycle_ms, state.efforts, 0
    if settings.effort_rate_min <= 0.0:
        phase, cycle = max(phase, 10_000), 0
    elif phase >= cycle:
        efforts += 1
        spread = noise.bell(noise.stream(seed, noise.STREAM_PATIENT), efforts)
        cycle_s = 60.0 / clip(settings.effort_rate_min, 1.0, 80.0)
        cycle_s *= 1.0 + 0.01 * settings.effort_spread_pct * spread
        phase, started = 0, 1
        cycle = max(int(1000.0 * cycle_s), int(1000.0 * settings.effort_ti_s) + 200)
    muscle = -settings.effort_cmh2o * hump(0.001 * (phase + STEP_MS) / settings.effort_ti_s)
    coughs, cough_ms = state.coughs_left, state.cough_ms
    if coughs > 0:
        muscle += settings.cough_cmh2o * hump((cough_ms + STEP_MS) / _COUGH_MS)
        cough_ms += STEP_MS
        if cough_ms >= _COUGH_EVERY_MS:
            coughs, cough_ms = coughs - 1, 0
    return PatientState(phase, cycle, efforts, started, coughs, cough_ms, muscle)
