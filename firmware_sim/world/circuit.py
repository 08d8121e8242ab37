"""Breathing circuit and single-compartment lung: P = V/C + R·flow + PEEP (Chatburn, Respir Care 2014).

One node, where the module's tee sits. Each step solves the node and moves the lung by the exact
exponential of that step, so the closed forms of volume control hold to the last digit shown.
"""

import math
from typing import NamedTuple

from firmware_sim.world import noise
from firmware_sim.world.jit import compiled
from firmware_sim.world.patient import PatientSettings
from firmware_sim.world.smooth import decay
from firmware_sim.world.ventilator import SOURCE_OFF, SOURCE_OPEN, VentilatorSettings, VentilatorState

_WIDE = 1e6  # mL/s per cmH2O: as good as open


class CircuitSettings(NamedTuple):
    """Tubes, valves and what is wrong with them."""

    expiratory_r_cmh2o_s_l: float = 1.5
    inlet_r_cmh2o_s_l: float = 5.0
    """Draw-over inlet: vaporizer, valve and tube."""
    leak_ml_s_cmh2o: float = 0.0
    kink_r_cmh2o_s_l: float = 0.0
    apart: int = 0
    open_r_cmh2o_s_l: float = 0.4
    """Resistance of the open end when apart: a pillow about 16, a tube left in the pharynx about 14."""
    water_cmh2o: float = 0.0
    line_blocked: int = 0
    """1: the sensor's tube is blocked and the reading stands still."""
    line_cmh2o: float = -999.0
    """Where it stands; -999 means at its last value."""


class CircuitState(NamedTuple):
    """Lung volume above rest, flow into the lung, node pressure at both ends of the step."""

    lung_ml: float = 0.0
    flow_ml_s: float = 0.0
    start_cmh2o: float = 0.0
    end_cmh2o: float = 0.0
    rattle: float = 0.0
    shown_cmh2o: float = 0.0
    returned_ml_s: float = 0.0


@compiled
def mean_decay(x: float) -> float:
    """Return (1 - e^-x)/x, the mean of a decay over one step."""
    if x < 1e-4:
        return 1.0 - 0.5 * x
    return (1.0 - decay(x)) / x


@compiled
def step_lung(
    lung_ml: float, c: float, r: float, muscle: float, current: float, g: float, dt_s: float
) -> tuple[float, float, float, float]:
    """Move the lung behind a node fed by `current` mL/s and loaded by `g` mL/s per cmH2O.

    c in mL/cmH2O, r in cmH2O per mL/s. Returns volume, mean flow, node pressure at start and end.
    """
    alveolar = lung_ml / c + muscle
    start = (current + alveolar / r) / (g + 1.0 / r)
    slow = 1.0 + g * r
    change = (current - g * alveolar) / slow * dt_s * mean_decay(g * dt_s / (slow * c))
    end = (current + ((lung_ml + change) / c + muscle) / r) / (g + 1.0 / r)
    return lung_ml + change, change / dt_s, start, end


@compiled
def node_load(
    settings: CircuitSettings, v: VentilatorSettings, closed: int, flow: float, alveolar: float, r: float
) -> tuple[float, float]:
    """Return (conductance, current) at the node; the pressure without valves tells which one conducts."""
    g = settings.leak_ml_s_cmh2o
    without = (flow + alveolar / r) / (g + 1.0 / r)
    if without < 0.0 and closed == 0:
        return g + 1000.0 / max(settings.inlet_r_cmh2o_s_l, 1e-3), flow
    peep = 0.0 if v.source == SOURCE_OPEN or v.source == SOURCE_OFF else v.peep_cmh2o
    if without > peep and closed == 0:
        out = min(1000.0 / max(settings.expiratory_r_cmh2o_s_l, 1e-3), _WIDE)
        return g + out, flow + out * peep
    if without > v.limit_cmh2o:
        return g + _WIDE, flow + _WIDE * v.limit_cmh2o
    return g, flow


@compiled
def shown(state: CircuitState, settings: CircuitSettings, pressure: float, rattle: float) -> float:
    """Return what the sensor's tube passes on."""
    if settings.line_blocked == 0:
        return pressure + rattle
    return settings.line_cmh2o if settings.line_cmh2o > -900.0 else state.shown_cmh2o


@compiled
def step_circuit(
    state: CircuitState,
    settings: CircuitSettings,
    lung: PatientSettings,
    v: VentilatorSettings,
    stroke: VentilatorState,
    muscle: float,
    seed: int,
    tick_ms: int,
    dt_s: float,
) -> CircuitState:
    """Advance one step with the flow, valve and muscle pressure that hold during it."""
    tube = lung.tube_r1_cmh2o_s_l + lung.tube_r2_cmh2o_s2_l2 * abs(state.flow_ml_s) * 0.001
    r = 0.001 * (lung.airway_r_cmh2o_s_l + tube + settings.kink_r_cmh2o_s_l)
    c = lung.compliance_ml_cmh2o
    if settings.apart != 0:
        volume, flow, _, _ = step_lung(state.lung_ml, c, r, muscle, 0.0, _WIDE, dt_s)
        open_end = 1000.0 / settings.open_r_cmh2o_s_l + settings.leak_ml_s_cmh2o
        start = end = min(stroke.flow_ml_s / open_end, v.limit_cmh2o)
        returned = 0.0
    else:
        alveolar = state.lung_ml / c + muscle
        g, current = node_load(settings, v, stroke.closed, stroke.flow_ml_s, alveolar, r)
        volume, flow, start, end = step_lung(state.lung_ml, c, r, muscle, current, g, dt_s)
        returned = max(-flow - settings.leak_ml_s_cmh2o * max(end, 0.0), 0.0)
    rattle = 0.0
    if settings.water_cmh2o > 0.0:
        keep = decay(dt_s / 0.05)
        kick = noise.bell(noise.stream(seed, noise.STREAM_WATER), tick_ms)
        strength = settings.water_cmh2o * min(abs(flow) / 300.0, 1.0)
        rattle = state.rattle * keep + strength * kick * math.sqrt(1.0 - keep * keep)
    return CircuitState(volume, flow, start, end, rattle, shown(state, settings, end, rattle), returned)
