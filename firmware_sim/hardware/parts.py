"""Bill of materials in generic parts, EMC tests to plan, and the readings to expect at the first power-up."""

from firmware_sim.contract import channels
from firmware_sim.hardware.errors import BUDGETS, claimed, code_size

# Block, part, what it must have, how many. No maker is named: whoever builds chooses, and writes down what.
PARTS = (
    (
        "tap",
        "fuse at the point of connection",
        "breaking capacity above the prospective short-circuit current there",
        4,
    ),
    ("tap", "surge arrester behind the fuse", "for the site's overvoltage category; ages, so inspected", 2),
    (
        "tap",
        "divider resistor 1 MΩ, ≤ 5 ppm/K matched",
        "working voltage stated, above 800 V in sum with one shorted",
        8,
    ),
    ("tap", "divider resistor 8.25 kΩ", "same series as the upper ones", 2),
    (
        "tap",
        "isolated converter or isolation amplifier",
        "reinforced insulation certified for the working voltage; non-linearity ≤ half a code of 12 bits",
        2,
    ),
    (
        "tap",
        "isolated supply for its far side",
        "same insulation as the amplifier; low capacitance across it",
        2,
    ),
    ("tap", "anti-alias filter, order 4, 1.4 kHz", "parts of 1 %, alike in both taps", 2),
    ("tap, optional", "peak hold behind a fast divider", "front of 1 µs, reset once a second", 1),
    (
        "circuit",
        "tee for the breathing circuit",
        "conical connectors of ISO 5356-1 (from memory); biocompatible",
        1,
    ),
    ("circuit", "hydrophobic filter, single use", "stops water and germs; changed for each patient", 1),
    ("circuit", "sampling tube 2 m, 2 mm bore", "oxygen-safe, does not kink", 1),
    (
        "circuit",
        "pressure sensor −30 to 120 cmH2O, gauge",
        "proof pressure above 135 kPa or a relief valve before it",
        1,
    ),
    (
        "oxygen",
        "galvanic cell with amplifier × 62, or ultrasonic meter",
        "oxygen-safe; date of the cell on its label",
        1,
    ),
    ("oxygen, optional", "pressure sensor 0 to 250 kPa, gauge", "oxygen-safe, degreased", 1),
    (
        "battery, optional",
        "isolated divider 0 to 300 V direct",
        "fused at the battery, arc-safe fuse for direct current",
        1,
    ),
    ("UPS, optional", "split-core current clamp 40 A", "insulated; burden at the clamp", 1),
    ("module", "microcontroller board, 240 MHz class", "ten 12-bit inputs, 8 MB of memory, MicroPython", 1),
    ("module", "precision reference 3.3 V, 50 ppm/K", "long-term drift stated", 1),
    ("module", "real-time clock with its own cell", "±2 ppm or better", 1),
    (
        "module",
        "own cell, protected, with charger",
        "capacity as in module_power.md; a kind that bears heat and does not burn",
        1,
    ),
    ("module", "adapter on the UPS output, 5 V", "two means of patient protection", 1),
    ("module", "buzzer with 0.47 F of stored charge", "sounds when all else has ended", 1),
    ("module", "sounder and its driver", "four harmonics within 15 dB from 300 to 4000 Hz", 1),
    ("module", "lamps: red, yellow, cyan, sound paused", "legible from 4 m (IEC 60601-1-8, quoted)", 4),
    ("module", "buttons: pause sound, acknowledge", "sealed, to be felt through a glove", 2),
    (
        "host",
        "isolated USB or serial link",
        "insulation by IEC 60601-1 for the side that is nobody's medical equipment",
        1,
    ),
    ("housing", "enclosure, insulating", "flame-retardant, no opening within reach of the mains side", 1),
)

# Test, level (IEC 60601-1-2, Edition 4), what it means here, where the level is from.
QUOTED = "quoted in published declarations of conformity"
MEMORY = "from memory"
EMC = (
    (
        "IEC 61000-4-2, electrostatic discharge",
        "±8 kV contact; ±2, 4, 8, 15 kV air",
        "buttons, lamps, sensor sockets",
        QUOTED,
    ),
    (
        "IEC 61000-4-3, radiated field",
        "3 V/m, 80 MHz to 2.7 GHz, 80 % at 1 kHz",
        "sensor leads act as aerials",
        MEMORY,
    ),
    (
        "near fields of radio sets (IEC 60601-1-2, Table 9)",
        "9 to 28 V/m by band",
        "telephones and radios at the bed",
        MEMORY,
    ),
    (
        "IEC 61000-4-4, fast transients",
        "±2 kV supply, ±1 kV signal lines over 3 m",
        "adapter and taps; relays of the UPS",
        QUOTED,
    ),
    (
        "IEC 61000-4-5, surge",
        "±1 kV line to line, ±2 kV line to earth",
        "adapter and taps: the taps see it first",
        QUOTED,
    ),
    (
        "IEC 61000-4-6, conducted fields",
        "3 V, 6 V in ISM bands, 150 kHz to 80 MHz",
        "all leads, the patient side too",
        QUOTED,
    ),
    ("IEC 61000-4-8, magnetic field", "30 A/m, 50 and 60 Hz", "beside a UPS's transformer", QUOTED),
    (
        "IEC 61000-4-11, dips",
        "0 % for half a cycle at eight angles; 0 % for 1; 70 % for 25 or 30 cycles",
        "the module must go on and record them",
        QUOTED,
    ),
    (
        "IEC 61000-4-11, interruption",
        "0 % for 250 or 300 cycles",
        "runs on its own cell, limits unchanged",
        QUOTED,
    ),
)

# What is put on, channel, physical value there.
BRING_UP = (
    ("taps open, module on its cell", "supply_in", 0.0),
    ("both taps on an isolated source of 24 V", "supply_in", 24.0),
    ("both taps on the mains, by a licensed person", "supply_in", 230.0),
    ("sampling tube open to the room", "pressure", 0.0),
    ("water column of 20 cm on the tube", "pressure", 20.0),
    ("cell in room air", "oxygen", 20.95),
    ("cell in the concentrator's gas, after ten minutes", "oxygen", 93.0),
    ("adapter plugged", "rail", 5.0),
    ("adapter pulled", "rail", 3.9),
)


def expected_codes(channel: str, value: float) -> float:
    """Return the code that a channel shows at a value; for a tap the rms of the codes."""
    _, _, _, _, low, _, value_low, _, _ = next(row for row in channels.CHANNELS if row[1] == channel)
    if channel.startswith("supply"):
        return value / code_size(channel)
    return low + (value - value_low) / code_size(channel)


def tolerance(channel: str, value: float) -> tuple[float, float]:
    """Return how far a reading may be off before the calibration and after it, in the channel's unit."""
    budget = next(budget for budget in BUDGETS if budget.channel == channel)
    as_built = budget.as_built_percent * value / 100 + budget.as_built_codes * code_size(channel)
    after = claimed(budget, value)
    return as_built + after, after


def bring_up_rows() -> list[tuple[object, ...]]:
    """Write what to put on and which code and reading to expect."""
    rows: list[tuple[object, ...]] = []
    for what, channel, value in BRING_UP:
        unit = next(row[2] for row in channels.CHANNELS if row[1] == channel)
        code = expected_codes(channel, value)
        before, after = tolerance(channel, value)
        shown = f"{code:.0f} rms" if channel.startswith("supply") else f"{code:.0f}"
        rows.append((what, f"`{channel}`", shown, f"{value:g} {unit}", f"±{before:.3g}", f"±{after:.3g}"))
    return rows
