"""The module's own power: what it draws, the cell that carries it, and the buzzer on stored charge.

Draws are a start for whoever designs the board (common practice for such parts). Their sum and the cell are
those of the emulated module, `world/module_cell.py`.
"""

from firmware_sim.world.module_cell import CellSettings

Row = tuple[str, str]

# What draws, and mA at the cell with all conversion losses.
LOADS_MA = (
    ("microcontroller board, 240 MHz class", 110.0),
    ("isolated supplies of the two taps", 120.0),
    ("pressure sensor and its amplifier", 20.0),
    ("oxygen cell's amplifier, or ultrasonic meter", 30.0),
    ("isolated link to the host", 70.0),
    ("lamps, an alarm standing", 50.0),
    ("sounder, an alarm standing", 120.0),
)
# An aged cell is replaced at 80 % of its capacity; a cold or hot room takes a tenth (common practice).
AGED, CLIMATE = 0.8, 0.9
HOURS_MIN, HOURS_AIM = 0.5, 4.0

BUZZER_S_MIN = 120.0
# Farad, V when full, V when the buzzer falls silent, A, and the shares left by tolerance and by ageing.
BUZZER_F, BUZZER_FULL_V, BUZZER_LAST_V, BUZZER_A = 0.47, 5.0, 3.0, 0.004
TOLERANCE, BUZZER_AGED = 0.8, 0.7


def draw_ma() -> float:
    """Return what all loads draw together, in mA."""
    return sum(load for _, load in LOADS_MA)


def hours(capacity_mah: float, share: float = 1.0) -> float:
    """Return how long a cell carries the module when this share of its capacity is left."""
    return capacity_mah * share / draw_ma()


def buzzer_s(share: float = 1.0) -> float:
    """Return how long the stored charge sounds the buzzer: t = C (U1 - U2) / I, constant current."""
    return BUZZER_F * share * (BUZZER_FULL_V - BUZZER_LAST_V) / BUZZER_A


def load_rows() -> list[Row]:
    """Write the loads and their sum."""
    return [*((what, f"{load:g}") for what, load in LOADS_MA), ("**together**", f"**{draw_ma():g}**")]


def cell_rows() -> list[Row]:
    """Write how long the emulated cell lasts, and which would last four hours to the end of its life."""
    cell, worst = CellSettings().cell_mah, AGED * CLIMATE
    need = HOURS_AIM * draw_ma()
    return [
        (f"the emulated cell, {cell:,.0f} mAh, new", f"{cell:,.0f} / {draw_ma():g} = {hours(cell):.1f} h"),
        (
            "the same, aged to 80 % and in a cold or hot room (× 0.9)",
            f"{hours(cell, worst):.1f} h: above the {60 * HOURS_MIN:.0f} min, below the aim",
        ),
        (
            "capacity for 4 h until the cell is replaced",
            f"4 h × {draw_ma():g} mA / ({AGED:g} × {CLIMATE:g}) = {need / worst:,.0f} mAh",
        ),
        ("without an alarm standing", f"{cell / (draw_ma() - 170):.1f} h with the emulated cell, new"),
        ("charging from empty at 400 mA", f"{cell / 400:.0f} h and more"),
    ]


def buzzer_rows() -> list[Row]:
    """Write the buzzer that sounds when the cell has ended."""
    worst = TOLERANCE * BUZZER_AGED
    return [
        (
            "stored charge",
            f"{BUZZER_F:g} F from {BUZZER_FULL_V:g} V to {BUZZER_LAST_V:g} V at "
            f"{BUZZER_A * 1000:g} mA: {BUZZER_F:g} × {BUZZER_FULL_V - BUZZER_LAST_V:g} / "
            f"{BUZZER_A:g} = {buzzer_s():.0f} s",
        ),
        ("tolerance −20 %, aged to 70 %", f"{buzzer_s(worst):.0f} s: still {BUZZER_S_MIN:.0f} s and more"),
        (
            "kept back by",
            "a diode from the rail, and a switch that closes when the rail is gone and the module was "
            "not switched off by hand",
        ),
    ]
