"""The oxygen concentrator: start-up, purity against flow and wear, ripple, trip, hours.

Ceiling 20.946/(20.946 + 0.934) = 95.73 %: argon stays with the oxygen (worked out from the composition of
air). 95 % at up to 8 L/min, about 70 W per L/min, 3-6 times that at start (common practice); 90 % in under
10.5 min from cold at 2 L/min (Johns et al., Thorax 1985;40:806, published).
"""

from typing import NamedTuple

from firmware_sim.world.jit import compiled
from firmware_sim.world.smooth import clip, decay, toward

AIR_PPM = 209_460.0
CEILING_PPM = 20.946 / (20.946 + 0.934) * 1e6


class ConcentratorSettings(NamedTuple):
    """How the concentrator is built, worn and set."""

    switched_on: int = 1
    flow_l_min: float = 5.0
    """Oxygen flow that the person set."""
    drive_l_min: float = 0.0
    """Driving air taken besides, without effect on purity (own compressor)."""
    capacity_l_min: float = 8.0
    wear: float = 0.0
    """Share of the sieve's capacity lost, 0 = new."""
    fill_s: float = 180.0
    fade_s: float = 300.0
    """Time constants of the bed: towards product while running, back to air while off."""
    ripple_ppm: float = 2_500.0
    cycle_s: float = 8.0
    trip_v: float = 900.0
    """A surge above this at its terminals trips it until somebody resets it."""
    stops_below_pct: float = 68.0
    restart_s: float = 3.0
    w_per_l_min: float = 70.0
    inrush: float = 5.0
    outlet_kpa: float = 85.0


class ConcentratorState(NamedTuple):
    """What changes."""

    tripped: int = 0
    running: int = 0
    ready_s: float = 0.0
    run_s: float = 0.0
    bed: float = 0.0
    """0 = air, 1 = full product."""
    purity_ppm: float = AIR_PPM
    outlet_kpa: float = 0.0
    cycle_turn: float = 0.0
    hours_s: float = 0.0


@compiled
def made_up_ppm(made_ppm: float, made_l_min: float, flow_l_min: float) -> float:
    """Return the purity when `made_l_min` of product is made up to `flow_l_min` with room air.

    5 L/min of 93 % made up to 7 L/min is 72.4 % (worked out; one of two idealisations).
    """
    share = min(made_l_min / flow_l_min, 1.0) if flow_l_min > 0.0 else 1.0
    return made_ppm * share + AIR_PPM * (1.0 - share)


@compiled
def steady_ppm(flow_l_min: float, capacity_l_min: float, ambient_kpa: float) -> float:
    """Return the purity after a long time; beyond its capacity a concentrator is made up with room air."""
    load = flow_l_min / max(capacity_l_min, 0.05)
    # 0.93 at sea level to 0.92 in the mountains (Bunel et al., High Alt Med Biol 2016;17:370, published).
    thin_ppm = 10_000.0 * clip((101.3 - ambient_kpa) / 35.0, 0.0, 1.5)
    best = CEILING_PPM - 7_000.0 * min(load, 1.0) * min(load, 1.0) - thin_ppm
    return made_up_ppm(best, capacity_l_min, flow_l_min)


@compiled
def step_concentrator(
    state: ConcentratorState,
    settings: ConcentratorSettings,
    supply_pct: float,
    surge_v: float,
    ambient_kpa: float,
    dt_s: float,
) -> ConcentratorState:
    """Advance one step; `supply_pct` is the rms at its terminals in per cent of nominal."""
    tripped = 1 if surge_v > settings.trip_v else state.tripped
    fed = supply_pct >= settings.stops_below_pct and settings.switched_on != 0 and tripped == 0
    ready_s = state.ready_s + dt_s if fed else 0.0
    running = 1 if ready_s >= settings.restart_s else 0
    run_s = state.run_s + dt_s if running != 0 else 0.0
    turn = (state.cycle_turn + dt_s / settings.cycle_s) % 1.0 if running != 0 else state.cycle_turn
    if running != 0:
        bed = toward(state.bed, 1.0, dt_s, settings.fill_s)
        outlet = toward(state.outlet_kpa, settings.outlet_kpa, dt_s, 4.0)
    else:
        bed = state.bed * decay(dt_s / settings.fade_s)
        outlet = toward(state.outlet_kpa, 0.0, dt_s, 2.5)
    capacity = settings.capacity_l_min * (1.0 - settings.wear)
    steady = steady_ppm(settings.flow_l_min, capacity, ambient_kpa)
    wave = 1.0 - abs(4.0 * turn - 2.0)
    purity = AIR_PPM + (steady - AIR_PPM) * bed + settings.ripple_ppm * wave * bed
    return ConcentratorState(
        tripped, running, ready_s, run_s, bed, clip(purity, AIR_PPM, CEILING_PPM),
        outlet, turn, state.hours_s + (dt_s if running != 0 else 0.0),
    )  # fmt: skip


@compiled
def power_w(state: ConcentratorState, settings: ConcentratorSettings) -> float:
    """Return the power drawn; the motor's start decays within a second."""
    if state.running == 0:
        return 0.0
    steady = settings.w_per_l_min * max(settings.flow_l_min, 1.0)
    return steady * (1.0 + (settings.inrush - 1.0) * decay(state.run_s / 0.3))


@compiled
def flow_l_min(state: ConcentratorState, settings: ConcentratorSettings) -> float:
    """Return the oxygen flow that leaves the outlet, falling with its pressure below 30 kPa."""
    return settings.flow_l_min * clip(state.outlet_kpa / 30.0, 0.0, 1.0) if state.outlet_kpa > 3.0 else 0.0


@compiled
def outlet_pa(state: ConcentratorState) -> float:
    """Return the outlet pressure above ambient with the ripple of the cycle."""
    wave = 1.0 - abs(4.0 * state.cycle_turn - 2.0)
    return 1000.0 * state.outlet_kpa * (1.0 + 0.05 * wave)
