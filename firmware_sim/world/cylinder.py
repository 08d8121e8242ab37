"""The reserve cylinder: real-gas content, valve by hand or by change-over, regulator.

Oxygen at 15 °C: Z = 1 + a·d + b·d² + c·d³ with d the density in mol/m³, fitted here to CoolProp between 1
and 231 bar, worst error 9e-5. 137 bar gauge then hold 146.24 L per litre of water volume.
"""

from typing import NamedTuple

from firmware_sim.world.jit import compiled, plain
from firmware_sim.world.smooth import clip

CYLINDER_PPM = 995_000.0
_RT = 8.314462618 * 288.15
_A, _B, _C = -1.80612281e-05, 9.93244939e-10, 1.84168155e-14
_ATM_PA = 101_325.0
_FREE_MOL_M3 = 42.3263  # oxygen at 1 atm and 15 °C (CoolProp)

VALVE_CLOSED = 0
VALVE_OPEN = 1
VALVE_AUTOMATIC = 2


class CylinderSettings(NamedTuple):
    """Size and how it is connected."""

    water_l: float = 2.32
    valve: int = VALVE_CLOSED
    takeover_kpa: float = 30.0
    """The automatic valve opens below this product pressure, and closes again 15 kPa above it."""
    flow_l_min: float = 2.0
    """Oxygen flow that the person set on it."""
    regulator_kpa: float = 400.0
    bleed_l_min: float = 0.5
    """Control gas that the bellows' drive loses while it runs on cylinder gas."""


class CylinderState(NamedTuple):
    """What changes; `content_l` is free gas at 15 °C and 1 atm."""

    content_l: float = 0.0
    feeding: int = 0
    flow_l_min: float = 0.0


@compiled
def pressure_pa(content_l: float, water_l: float) -> float:
    """Return the absolute pressure of a content."""
    d = content_l / water_l * _FREE_MOL_M3
    return d * _RT * (1.0 + d * (_A + d * (_B + d * _C)))


@compiled
def gauge_kpa(content_l: float, water_l: float) -> float:
    """Return the gauge pressure of a content, 0 when it is at ambient."""
    return max(0.0, (pressure_pa(content_l, water_l) - _ATM_PA) / 1000.0)


def content_at(gauge_bar: float, water_l: float) -> float:
    """Return the free gas in litres at a gauge pressure, by bisection."""
    low, high = 0.0, 500.0 * water_l
    pressure_at = plain(pressure_pa)
    for _ in range(80):
        middle = 0.5 * (low + high)
        if pressure_at(middle, water_l) < gauge_bar * 1e5 + _ATM_PA:
            low = middle
        else:
            high = middle
    return low


@compiled
def step_cylinder(
    state: CylinderState, settings: CylinderSettings, product_kpa: float, drive_l_min: float, dt_s: float
) -> CylinderState:
    """Advance one step; `drive_l_min` is the minute volume that the bellows ask for."""
    if settings.valve == VALVE_AUTOMATIC:
        margin = 15.0 if state.feeding != 0 else 0.0
        wanted = product_kpa < settings.takeover_kpa + margin
    else:
        wanted = settings.valve == VALVE_OPEN
    gauge = gauge_kpa(state.content_l, settings.water_l)
    feeding = 1 if wanted and gauge > 20.0 else 0
    if feeding == 0:
        return CylinderState(state.content_l, 0, 0.0)
    strength = clip(gauge / settings.regulator_kpa, 0.0, 1.0)
    driving = drive_l_min + settings.bleed_l_min if drive_l_min > 0.0 else 0.0
    flow = settings.flow_l_min * strength
    taken = (flow + driving * strength) * dt_s / 60.0
    return CylinderState(max(state.content_l - taken, 0.0), 1, flow)
