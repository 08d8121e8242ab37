"""The UPS: mode by its input, battery by constant power; classes VFI, VI and VFD of IEC 62040-3.

It starts in bypass until somebody switches it to normal, transfers and returns at different voltages,
goes to bypass on overload or an inverter fault, dies when empty, and comes back in bypass.
Window 69.6-130.4 % of rated, about 20 min at the usual load (common practice).
"""

import math
from typing import NamedTuple

from firmware_sim.contract import channels
from firmware_sim.world.jit import compiled
from firmware_sim.world.samples import OUT_DEAD, OUT_FOLLOWS, OUT_OWN, Carrier

MODE_OFF = 0
MODE_BYPASS = 1
MODE_NORMAL = 2
MODE_STORED = 3
MODE_NAMES = ("off", "bypass", "normal", "stored_energy")

CLASS_VFI = 0
CLASS_VI = 1
CLASS_VFD = 2

_OPEN_V_EMPTY = 11.4
_OPEN_V_SPAN = 1.5
_CHARGE_LIFT_V = 0.6
_BLOCKS = 4.0


class UpsSettings(NamedTuple):
    """How the UPS is built and set; per cent of the mains nominal."""

    class_code: int = CLASS_VFI
    rated_w: float = 1000.0
    low_transfer_pct: float = 69.6
    low_return_pct: float = 73.9
    high_transfer_pct: float = 130.4
    high_return_pct: float = 126.1
    return_delay_s: float = 3.0
    restart_delay_s: float = 8.0
    output_pct: float = 100.0
    output_thd_pct: float = 1.6
    bypass_drop_pct: float = 0.15
    sync_hz: float = 3.0
    """The inverter follows the input within this distance of nominal, else its own crystal."""
    crystal_ppm: float = 60.0
    breaker: int = 1
    """Input breaker: 1 closed, 0 open (the tap before it stays live)."""
    inverter_fault: int = 0
    base_load_w: float = 60.0
    battery_ah: float = 7.0
    """Rated 20 h capacity of each of four 12 V blocks."""
    health: float = 1.0
    """Capacity left by age, 1 = new."""
    cell_ohm: float = 0.16
    """Inner resistance of the whole string."""
    cutoff_v: float = 42.0
    charge_a: float = 0.7
    fast_share: float = 0.37
    """Charge at hand at once; the rest seeps (kinetic battery model, Manwell and McGowan; from memory)."""
    seep_per_h: float = 0.8
    efficiency: float = 0.9
    own_w: float = 22.0


class UpsState(NamedTuple):
    """What changes; charges in Ah per block string."""

    mode: int = MODE_BYPASS
    wants_normal: int = 0
    input_ok: int = 1
    restart_s: float = 0.0
    gap: int = 0
    overload: float = 0.0
    fast_ah: float = 2.59
    slow_ah: float = 4.41
    battery_v: float = 51.6
    load_w: float = 0.0
    empty: int = 0


@compiled
def step_mode(state: UpsState, settings: UpsSettings, c: Carrier, nominal_hz: float, dt_s: float) -> UpsState:
    """Decide the mode from the half cycles seen at the input terminals."""
    mode, restart_s = state.mode, state.restart_s
    input_ok = state.input_ok
    if c.outside_halves >= 2:
        input_ok = 0
    elif c.inside_halves >= int(settings.return_delay_s * 2.0 * nominal_hz):
        input_ok = 1
    # An instant return while the input never left the window.
    alive = c.inside_halves > 0
    faulty = settings.inverter_fault != 0 or state.overload >= 1.0
    if mode == MODE_OFF:
        restart_s = restart_s + dt_s if alive else 0.0
        if restart_s >= settings.restart_delay_s:
            mode = MODE_BYPASS
    elif mode == MODE_BYPASS:
        restart_s = 0.0
        if state.wants_normal != 0 and input_ok != 0 and alive and not faulty:
            mode = MODE_NORMAL
    elif faulty:
        mode = MODE_BYPASS if settings.breaker != 0 and c.outside_halves < 2 else MODE_OFF
    elif mode == MODE_NORMAL:
        mode = MODE_NORMAL if input_ok != 0 else MODE_STORED
    elif state.empty != 0:
        mode = MODE_OFF
    elif input_ok != 0:
        mode = MODE_NORMAL
    switched = settings.class_code == CLASS_VFD and mode != state.mode and mode == MODE_STORED
    return UpsState(
        mode, 0, input_ok, restart_s, 1 if switched else 0, state.overload,
        state.fast_ah, state.slow_ah, state.battery_v, state.load_w,
        state.empty if mode == MODE_STORED else 0,
    )  # fmt: skip


@compiled
def out_kind(state: UpsState, settings: UpsSettings) -> int:
    """Return where the output wave comes from in this step."""
    if state.mode == MODE_OFF or state.gap != 0:
        return OUT_DEAD
    if state.mode == MODE_BYPASS:
        return OUT_FOLLOWS
    if state.mode == MODE_NORMAL and settings.class_code != CLASS_VFI:
        return OUT_FOLLOWS
    return OUT_OWN


@compiled
def follow_gain(state: UpsState, settings: UpsSettings, input_pct: float) -> float:
    """Return output over input while the output follows; VI steps a transformer by 12 %."""
    if settings.breaker == 0 or state.mode == MODE_OFF or state.gap != 0:
        return 0.0
    gain = 1.0 - 0.01 * settings.bypass_drop_pct
    if state.mode == MODE_NORMAL and settings.class_code == CLASS_VI:
        if input_pct < 90.0:
            gain *= 1.12
        elif input_pct > 110.0:
            gain *= 0.88
    return gain


@compiled
def step_battery(
    state: UpsState, settings: UpsSettings, load_w: float, charger_on: bool, dt_s: float
) -> UpsState:
    """Discharge by constant power, recharge by limited current, and sum up overload."""
    capacity = settings.battery_ah * settings.health
    fast_height = state.fast_ah / settings.fast_share
    slow_height = state.slow_ah / (1.0 - settings.fast_share)
    seep_ah = settings.seep_per_h * (slow_height - fast_height) * dt_s / 3600.0
    share = (state.fast_ah + state.slow_ah) / capacity
    open_v = _BLOCKS * (_OPEN_V_EMPTY + _OPEN_V_SPAN * fast_height / capacity)
    taken_ah, battery_v, empty = 0.0, open_v, state.empty
    if state.mode == MODE_STORED:
        power_w = load_w / settings.efficiency + settings.own_w
        room = open_v * open_v - 4.0 * settings.cell_ohm * power_w
        if room <= 0.0 or state.fast_ah <= 0.0:
            empty = 1
        else:
            current_a = (open_v - math.sqrt(room)) / (2.0 * settings.cell_ohm)
            battery_v = open_v - settings.cell_ohm * current_a
            taken_ah = current_a * dt_s / 3600.0
            if battery_v < settings.cutoff_v:
                empty = 1
    elif charger_on and share < 1.0:
        # Bulk to 85 %, then tapering; 1.03 of the charge taken goes in (McGraw-Hill 2004, published).
        current_a = settings.charge_a * min(1.0, (1.0 - share) / 0.15 + 0.02)
        taken_ah = -current_a / 1.03 * dt_s / 3600.0
        battery_v = open_v + _BLOCKS * _CHARGE_LIFT_V
    elif charger_on:
        battery_v = open_v + _BLOCKS * _CHARGE_LIFT_V
    fast_ah = min(state.fast_ah - taken_ah + seep_ah, settings.fast_share * capacity)
    slow_ah = min(state.slow_ah - seep_ah, (1.0 - settings.fast_share) * capacity)
    over = load_w / settings.rated_w - 1.1
    overload = (
        max(0.0, state.overload + over * dt_s) if over > 0.0 else max(0.0, state.overload - 0.05 * dt_s)
    )
    return UpsState(
        state.mode, state.wants_normal, state.input_ok, state.restart_s, state.gap, overload,
        max(fast_ah, 0.0), max(slow_ah, 0.0), battery_v, load_w, empty,
    )  # fmt: skip


@compiled
def true_state(state: UpsState, output_pct: float) -> int:
    """Return the supply state of the contract; below 10 % of nominal the output is dead."""
    if state.mode == MODE_OFF or (output_pct < 10.0 and state.mode != MODE_STORED):
        return channels.STATE_DEAD
    if state.mode == MODE_BYPASS:
        return channels.STATE_BYPASS
    return channels.STATE_STORED_ENERGY if state.mode == MODE_STORED else channels.STATE_NORMAL
