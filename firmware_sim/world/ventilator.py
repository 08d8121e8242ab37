"""What pushes gas into the circuit: driven bellows, a hand on a bag, or nothing (draw-over breathing).

Bellows at 4-40 /min (common practice). Less drive pressure shrinks the stroke and slows the rate; a hole
lets drive gas in; rising bellows sink when gas escapes, hanging ones go on moving.
"""

from typing import NamedTuple

from firmware_sim.world import noise
from firmware_sim.world.jit import compiled
from firmware_sim.world.smooth import clip

SOURCE_OFF = 0
SOURCE_BELLOWS = 1
SOURCE_HAND = 2
SOURCE_OPEN = 3
STEP_MS = 10


class VentilatorSettings(NamedTuple):
    """Settings of bellows or hand."""

    source: int = SOURCE_OFF
    rate_min: float = 15.0
    tidal_ml: float = 500.0
    ti_s: float = 1.0
    pause_s: float = 0.0
    limit_cmh2o: float = 40.0
    """Relief valve; a kink behind it can't be told from stiff lungs."""
    peep_cmh2o: float = 5.0
    hanging: int = 0
    bellows_ml: float = 1_200.0
    hole: float = 0.0
    """Drive gas that enters by a hole, as a share of the stroke."""
    rate_spread_pct: float = 0.0
    stroke_spread_pct: float = 0.0
    drive_needed: float = 0.6
    """Share of full drive pressure below which strokes shrink; below 0.25 they stop."""


class VentilatorState(NamedTuple):
    """Where in the cycle the bellows are."""

    phase_ms: int = 0
    cycle_ms: int = 0
    ti_ms: int = 0
    stroke_ml: float = 0.0
    strokes: int = 0
    to_miss: int = 0
    content_ml: float = 1_200.0
    started: int = 0
    flow_ml_s: float = 0.0
    closed: int = 0
    """1 while the expiratory valve is shut."""


@compiled
def new_stroke(
    state: VentilatorState, settings: VentilatorSettings, seed: int, drive: float
) -> VentilatorState:
    """Begin a cycle: draw its length and stroke."""
    number = state.strokes + 1
    strength = clip(drive / settings.drive_needed, 0.0, 1.0) if settings.source == SOURCE_BELLOWS else 1.0
    slow = 0.5 + 0.5 * strength
    spread = noise.bell(noise.stream(seed, noise.STREAM_CYCLE), number)
    cycle_s = (
        60.0 / clip(settings.rate_min, 1.0, 60.0) / slow * (1.0 + 0.01 * settings.rate_spread_pct * spread)
    )
    spread = noise.bell(noise.stream(seed, noise.STREAM_STROKE), number)
    stroke = settings.tidal_ml * strength * (1.0 + 0.01 * settings.stroke_spread_pct * spread)
    if settings.source == SOURCE_BELLOWS:
        if settings.hanging == 0:
            stroke = min(stroke, state.content_ml)
        stroke *= 1.0 + settings.hole
    missed = state.to_miss > 0
    ti_ms = STEP_MS * int(settings.ti_s * 100.0 + 0.5)
    cycle_ms = max(STEP_MS * int(cycle_s * 100.0 + 0.5), ti_ms + 200)
    return VentilatorState(
        0, cycle_ms, ti_ms, 0.0 if missed else stroke, number, state.to_miss - 1 if missed else 0,
        state.content_ml, 0 if missed else 1, 0.0, 0,
    )  # fmt: skip


@compiled
def stroke_flow(state: VentilatorState, source: int) -> float:
    """Return the mean flow of this step in mL/s: constant for bellows, a smooth hump for a hand."""
    if state.phase_ms >= state.ti_ms:
        return 0.0
    if source == SOURCE_BELLOWS:
        return state.stroke_ml * 1000.0 / state.ti_ms
    u = state.phase_ms / state.ti_ms
    v = min((state.phase_ms + STEP_MS) / state.ti_ms, 1.0)
    return state.stroke_ml * (v * v * (3.0 - 2.0 * v) - u * u * (3.0 - 2.0 * u)) * 1000.0 / STEP_MS


@compiled
def step_ventilator(
    state: VentilatorState,
    settings: VentilatorSettings,
    seed: int,
    drive: float,
    returned_ml_s: float,
    fresh_ml_s: float,
) -> VentilatorState:
    """Advance 10 ms; `returned_ml_s` is what the patient breathed back in the last step."""
    content = min(state.content_ml + (returned_ml_s + fresh_ml_s) * 0.001 * STEP_MS, settings.bellows_ml)
    if settings.source != SOURCE_BELLOWS and settings.source != SOURCE_HAND:
        return VentilatorState(0, 0, 0, 0.0, state.strokes, 0, content, 0, 0.0, 0)
    s = VentilatorState(
        state.phase_ms + STEP_MS, state.cycle_ms, state.ti_ms, state.stroke_ml, state.strokes,
        state.to_miss, content, 0, 0.0, 0,
    )  # fmt: skip
    if s.phase_ms >= s.cycle_ms and (settings.source == SOURCE_HAND or drive >= 0.25):
        s = new_stroke(s, settings, seed, drive)
    flow = stroke_flow(s, settings.source)
    shut = s.stroke_ml > 0.0 and s.phase_ms < s.ti_ms + int(1000.0 * settings.pause_s + 0.5)
    if settings.source == SOURCE_BELLOWS:
        content = max(content - flow * 0.001 * STEP_MS, 0.0)
    return VentilatorState(
        s.phase_ms, s.cycle_ms, s.ti_ms, s.stroke_ml, s.strokes, s.to_miss, content, s.started, flow,
        1 if shut else 0,
    )  # fmt: skip
