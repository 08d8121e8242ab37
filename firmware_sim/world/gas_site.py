"""The gas at the oxygen sensor: carried there by flow, stagnant without it.

It mixes in the line's volume (first order) and, without flow, fades to room air within hours by diffusion.
The oxygen fraction is that of the source; what reaches the patient is another number.
"""

from typing import NamedTuple

from firmware_sim.world.concentrator import AIR_PPM
from firmware_sim.world.jit import compiled
from firmware_sim.world.smooth import decay, toward


class SiteSettings(NamedTuple):
    """The line between source and sensor."""

    volume_ml: float = 250.0
    diffusion_s: float = 43_200.0
    ambient_pa: float = 101_325.0


class SiteState(NamedTuple):
    """What changes."""

    oxygen_ppm: float = AIR_PPM
    flow_l_min: float = 0.0


@compiled
def step_site(
    state: SiteState, settings: SiteSettings, flow_l_min: float, source_ppm: float, dt_s: float
) -> SiteState:
    """Advance one step with the mixed flow of all sources."""
    ml_s = flow_l_min * 1000.0 / 60.0
    carried = source_ppm + (state.oxygen_ppm - source_ppm) * decay(ml_s * dt_s / settings.volume_ml)
    return SiteState(toward(carried, AIR_PPM, dt_s, settings.diffusion_s), flow_l_min)
