"""The module's own supply: an adapter on the UPS output and a rechargeable cell.

At least 30 min on the cell, aim 4 h (common practice).
"""

from typing import NamedTuple

from firmware_sim.world.jit import compiled
from firmware_sim.world.smooth import clip

ADAPTER_MV = 5_000
DEAD_MV = 0


class CellSettings(NamedTuple):
    """The cell and what the module draws from it."""

    cell_mah: float = 2_400.0
    draw_ma: float = 520.0
    charge_ma: float = 400.0
    adapter: int = 1
    """1 plugged in, 0 pulled."""


class CellState(NamedTuple):
    """What changes."""

    charge_mah: float = 2_400.0
    rail_mv: int = ADAPTER_MV


@compiled
def step_cell(state: CellState, settings: CellSettings, supply_pct: float, dt_s: float) -> CellState:
    """Advance one step; `supply_pct` is the rms of the UPS output in per cent of nominal."""
    hours = dt_s / 3600.0
    if settings.adapter != 0 and supply_pct >= 40.0:
        charge = min(state.charge_mah + settings.charge_ma * hours, settings.cell_mah)
        return CellState(charge, ADAPTER_MV)
    # A drained cell stays off until the adapter is back.
    if state.rail_mv == DEAD_MV:
        return state
    charge = state.charge_mah - settings.draw_ma * hours
    if charge <= 0.0:
        return CellState(0.0, DEAD_MV)
    share = clip(charge / settings.cell_mah, 0.0, 1.0)
    # Two straight lines: a steep last tenth.
    rail = 3_650.0 + 450.0 * share if share > 0.1 else 3_250.0 + 4_450.0 * share
    return CellState(charge, int(rail))
