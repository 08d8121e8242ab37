"""Who feeds the oxygen outlet and the bellows' drive: concentrator, cylinder, or nobody."""

from firmware_sim.world.concentrator import AIR_PPM, ConcentratorSettings, ConcentratorState, flow_l_min
from firmware_sim.world.cylinder import CYLINDER_PPM, CylinderSettings, CylinderState, gauge_kpa
from firmware_sim.world.jit import compiled
from firmware_sim.world.smooth import clip
from firmware_sim.world.ventilator import SOURCE_BELLOWS, VentilatorSettings

_DRIVE_KPA = 50.0


@compiled
def drive_share(oxygen: ConcentratorState, bottle: CylinderState, settings: CylinderSettings) -> float:
    """Return the drive pressure as a share of full, from whichever source gives more."""
    from_concentrator = oxygen.outlet_kpa / _DRIVE_KPA
    from_cylinder = 0.0
    if bottle.feeding != 0:
        from_cylinder = gauge_kpa(bottle.content_l, settings.water_l) / settings.regulator_kpa
    return clip(max(from_concentrator, from_cylinder), 0.0, 1.0)


@compiled
def cylinder_drive_l_min(v: VentilatorSettings, oxygen: ConcentratorState) -> float:
    """Return the minute volume that the cylinder must drive; none while the concentrator does."""
    if v.source != SOURCE_BELLOWS or oxygen.outlet_kpa >= 0.5 * _DRIVE_KPA:
        return 0.0
    return v.rate_min * v.tidal_ml * 0.001


@compiled
def mixed(
    oxygen: ConcentratorState, settings: ConcentratorSettings, bottle: CylinderState
) -> tuple[float, float]:
    """Return (flow L/min, oxygen ppm) at the common outlet."""
    made = flow_l_min(oxygen, settings)
    total = made + bottle.flow_l_min
    if total <= 0.0:
        return 0.0, AIR_PPM
    return total, (made * oxygen.purity_ppm + bottle.flow_l_min * CYLINDER_PPM) / total
