"""Worked numbers of the sensing chains: formulas of textbooks, with the values this design would begin with.

Part values are a start for whoever designs the board, not a design to copy.
"""

from math import atan, degrees, hypot, pi, sin, sqrt

# The conventional value.
PA_PER_CMH2O = 98.0665
GAS_CONSTANT = 8.314462618
# kg/mol and ratio of heat capacities: oxygen, nitrogen, argon (handbook values, from memory).
MOLAR_KG, GAMMA = (0.031998, 0.028013, 0.039948), (1.4, 1.4, 5 / 3)
SAMPLE_HZ, CORNER_HZ, POLES = 3200.0, 1400.0, 4
AIR_PA_S, AIR_KG_M3 = 1.83e-5, 1.19

TOP_OHM, TOPS, BOTTOM_OHM = 1.0e6, 4, 8_250.0
CONVERTER_V, CONVERTER_CODES = 3.3, 4096
TAP_V = 800.0

Row = tuple[str, str]


def gain(hertz: float) -> float:
    """Return the anti-alias filter's gain: Butterworth, maximally flat (definition)."""
    return float(1 / sqrt(1 + (hertz / CORNER_HZ) ** (2 * POLES)))


def droop_between(low_hz: float, high_hz: float, at_hz: float = 50.0) -> float:
    """Return by which fraction the filter's gain changes at most over a span, against `at_hz`."""
    return max(abs(gain(edge) / gain(at_hz) - 1) for edge in (low_hz, high_hz))


def divider_rows() -> list[Row]:
    """Write the resistive divider of a tap, with what a surge does to it."""
    total = TOPS * TOP_OHM + BOTTOM_OHM
    ratio = total / BOTTOM_OHM
    code_v = CONVERTER_V / CONVERTER_CODES * ratio
    nominal = TAP_V / 2048
    current = TAP_V / total
    return [
        ("ratio, 4 × 1 MΩ against 8.25 kΩ", f"{total:,.0f} / {BOTTOM_OHM:,.0f} = {ratio:.1f}"),
        (
            "one code, 3.3 V over 4096",
            f"{CONVERTER_V / CONVERTER_CODES * 1000:.4f} mV × {ratio:.1f} = {code_v:.4f} V",
        ),
        (
            "that is above the nominal 0.390625 V by",
            f"{100 * (code_v / nominal - 1):.1f} %: for the calibration",
        ),
        (
            "current at 800 V",
            f"{current * 1000:.2f} mA; {TAP_V * current:.2f} W in all, "
            f"{current**2 * TOP_OHM:.3f} W a resistor of 1 MΩ",
        ),
        (
            "voltage across each of them at 800 V",
            f"{current * TOP_OHM:.0f} V: types whose working voltage is stated, and above it",
        ),
        (
            "the same at a surge of 2 kV",
            f"{2000 / total * TOP_OHM:.0f} V each, {2000 / ratio:.1f} V at the "
            "converter's side: clamp it there",
        ),
        (
            "one resistor of the four shorted",
            f"{TAP_V / (total - TOP_OHM) * TOP_OHM:.0f} V across each of the "
            f"others, reading {100 * (total / (total - TOP_OHM) - 1):.0f} % high",
        ),
        (
            "quantisation in a one-cycle rms of 64 samples",
            f"{nominal:.4f} / √12 / √64 = {nominal / sqrt(12) / 8:.3f} V: not the limit",
        ),
    ]


def transformer_rows() -> list[Row]:
    """Write the measuring transformer as the other way to isolation."""
    ohm, burden, phase = 400e3, 825.0, 0.2
    current = TAP_V / ohm
    lag_us = phase / 360 / 50 * 1e6
    seen = 200 * sin(phase / 2 * pi / 180)
    return [
        (
            "current transformer 1:1 behind 400 kΩ",
            f"{current * 1000:.1f} mA at 800 V, {TAP_V * current:.1f} W: more heat than the divider",
        ),
        ("burden of 825 Ω", f"{current * burden:.2f} V at 800 V, half the converter's range"),
        (
            "phase error of 0.2° (choose one no worse)",
            f"{lag_us:.0f} µs at 50 Hz, {lag_us * SAMPLE_HZ / 1e6:.3f} of a sample",
        ),
        (
            "what it does between the taps",
            f"a difference of {seen:.2f} % of the amplitude; the supply state fits "
            "gain and delay first, so only its change counts",
        ),
        ("direct voltage", "not passed: after a half-wave load the rms reads low; saturation distorts"),
    ]


def filter_rows() -> list[Row]:
    """Write the filter before the supply converter: what folds back, and what droops."""
    rows = [
        (
            "kind",
            f"Butterworth of order {POLES}, corner {CORNER_HZ:,.0f} Hz; half the sampling rate is 1,600 Hz",
        )
    ]
    for hertz in (1250.0, 1200.0, 50.0):
        image = SAMPLE_HZ - hertz
        rows.append((f"{image:,.0f} Hz folds onto {hertz:,.0f} Hz", f"passed at {100 * gain(image):.1f} %"))
    rows += [
        (
            "droop at 1,250 Hz (harmonic 25 at 50 Hz)",
            f"{100 * (1 - gain(1250)):.1f} %: the highest harmonics read "
            "low by that; a converter that samples faster and filters by number has neither fault",
        ),
        ("change of gain from 42.5 to 65 Hz", f"below {1e6 * droop_between(42.5, 65.0) + 0.1:.1f} ppm"),
        (
            "skew of 5 µs between the taps",
            f"{5e-6 * 50 * 360:.2f}° at 50 Hz, {5e-6 * SAMPLE_HZ:.3f} of a sample",
        ),
        (
            "phase at 50 Hz of a plain RC of 1.4 kHz instead",
            f"{degrees(atan(50 / CORNER_HZ)):.1f}°, and 1 % parts make the two taps differ by up to 0.04°",
        ),
    ]
    return rows


def sound_m_s(shares: tuple[float, float, float], kelvin: float) -> float:
    """Return the speed of sound in oxygen, nitrogen and argon by share (ideal gas, from the definition)."""
    molar = sum(share * mass for share, mass in zip(shares, MOLAR_KG, strict=True))
    heat = sum(share / (gamma - 1) for share, gamma in zip(shares, GAMMA, strict=True))
    return sqrt((1 + 1 / heat) * GAS_CONSTANT * kelvin / molar)


def as_oxygen(speed: float, kelvin: float) -> float:
    """Return the share of oxygen that a meter reads which believes in oxygen and nitrogen only."""
    # c² = γRT/M, and γ is one for both gases: M is linear in the share.
    molar = GAMMA[0] * GAS_CONSTANT * kelvin / speed**2
    return (molar - MOLAR_KG[1]) / (MOLAR_KG[0] - MOLAR_KG[1])


def oxygen_rows() -> list[Row]:
    """Write the galvanic cell with its amplifier."""
    cell_mv, factor = 10.0, 62.0
    per_percent = cell_mv / 20.95
    code_uv = CONVERTER_V / CONVERTER_CODES / factor * 1e6
    high_pa = 101_325 * (1 - 0.0065 * 1500 / 288.15) ** 5.2559
    return [
        (
            "cell in air (9 to 13 mV, common practice)",
            f"{cell_mv:g} mV at 20.95 %: {per_percent:.3f} mV a per cent",
        ),
        ("amplifier × 62", f"3.3 V at {CONVERTER_V / factor * 1000 / per_percent:.0f} % oxygen"),
        ("one code", f"{code_uv:.1f} µV at the cell, {code_uv / 1000 / per_percent:.4f} %"),
        ("offset of 20 µV", f"{0.020 / per_percent:.3f} %: for the calibration; its drift is what matters"),
        (
            "filter",
            "RC of 1 s before the converter: the cell itself takes 12 s for nine tenths (common practice)",
        ),
        (
            "1,500 m above the sea on a sea-level calibration",
            f"{high_pa / 1000:.1f} kPa (ICAO standard atmosphere): "
            f"reads {100 * (1 - high_pa / 101_325):.0f} % of the reading low",
        ),
    ]


def ultrasonic_rows() -> list[Row]:
    """Write the time-of-flight meter as the other way, and what argon and temperature do to it."""
    kelvin, path_m = 298.15, 0.1
    pure, none = sound_m_s((1, 0, 0), kelvin), sound_m_s((0, 1, 0), kelvin)
    per_percent_us = (path_m / pure - path_m / none) * 1e6 / 100
    kelvin_us = path_m / pure * 1e6 * 0.5 / kelvin
    sieve = sound_m_s((0.956, 0, 0.044), kelvin)
    return [
        ("speed of sound at 25 °C", f"{pure:.1f} m/s in oxygen, {none:.1f} m/s in nitrogen"),
        ("100 mm of path", f"{per_percent_us * 1000:.0f} ns for each per cent of oxygen"),
        (
            "1 K of error in the gas's temperature",
            f"{kelvin_us * 1000:.0f} ns, read as {kelvin_us / per_percent_us:.1f} % oxygen",
        ),
        (
            "sieve gas, 95.6 % oxygen and 4.4 % argon",
            f"read as {100 * as_oxygen(sieve, kelvin):.1f} % by a meter that "
            "knows nitrogen only: calibrate with the concentrator's own gas, not with bottled nitrogen",
        ),
    ]


def pressure_rows() -> list[Row]:
    """Write the pressure sensor with its sampling tube and what may hit it."""
    radius, length, blocked_kpa = 1.0e-3, 2.0, 135.0
    resistance = 8 * AIR_PA_S * length / (pi * radius**4)
    volume = pi * radius**2 * length
    # A distributed line answers like half its resistance into all its volume; gas moves adiabatically.
    lag_s = resistance * volume / (1.4 * 101_325) / 2
    plug = 5e-3 * 1000 * 9.80665 / PA_PER_CMH2O
    return [
        (
            "sensor's span for −30 to 120 cmH2O",
            f"{150 * PA_PER_CMH2O / 1000:.2f} kPa; one code is "
            f"{150 / 4095:.4f} cmH2O = {150 / 4095 * PA_PER_CMH2O:.1f} Pa",
        ),
        (
            "overpressure: outlet of a concentrator blocked at 135 kPa",
            f"{blocked_kpa * 1000 / PA_PER_CMH2O:,.0f} cmH2O, "
            f"{blocked_kpa * 1000 / PA_PER_CMH2O / 150:.0f} times the "
            "span: a relief valve, or a sensor that bears it",
        ),
        (
            "sampling tube, 2 m of 2 mm bore",
            f"{volume * 1e6:.1f} mL; laminar (Poiseuille) "
            f"{resistance / PA_PER_CMH2O / 1000:.0f} cmH2O for 1 L/s",
        ),
        ("its lag", f"{lag_s * 1000:.1f} ms; a flow to the sensor of nearly nothing drops no pressure"),
        (
            "filter before the converter",
            f"RC of 15 Hz: 90 Hz, which folds onto 10 Hz at 100 samples/s, is passed at "
            f"{100 / hypot(1, 90 / 15):.0f} %; lag {1000 / (2 * pi * 15):.0f} ms",
        ),
        ("5 mm of water in an upright tube", f"{plug:.2f} cmH2O: slope the tube up to the sensor"),
    ]


TEES = (("adult, 22 mm", 22.0, 45.0, 500.0), ("child, 15 mm", 15.0, 35.0, 105.0))


def tee_ml(bore_mm: float, length_mm: float) -> float:
    """Return the volume of a straight tee's body in mL."""
    return pi / 4 * bore_mm**2 * length_mm / 1000


def leak_l_min(hole_mm: float, cmh2o: float) -> float:
    """Return the flow through a sharp hole in L/min (orifice equation, discharge coefficient 0.6)."""
    speed = sqrt(2 * cmh2o * PA_PER_CMH2O / AIR_KG_M3)
    return 0.6 * pi / 4 * (hole_mm / 1000) ** 2 * speed * 60_000


def tee_rows() -> list[Row]:
    """Write dead space and leak of the tee."""
    rows = [
        (
            f"dead space, {name} bore, {length:g} mm long",
            f"{tee_ml(bore, length):.1f} mL, "
            f"{100 * tee_ml(bore, length) / tidal:.1f} % of a tidal volume of {tidal:g} mL",
        )
        for name, bore, length, tidal in TEES
    ]
    rows += [
        (f"leak at 20 cmH2O through a hole of {hole:g} mm", f"{leak_l_min(hole, 20):.2f} L/min")
        for hole in (0.3, 0.5, 1.0)
    ]
    volume_l, fall, seconds = 2.0, 1.0, 10.0
    # Gas lost = volume × fall / ambient pressure (isothermal).
    lost = volume_l * fall * PA_PER_CMH2O / 101_325 / seconds * 60
    rows += [
        ("pressure hold: 1 cmH2O in 10 s, 2 L of stiff tubes", f"{lost * 1000:.0f} mL/min lost"),
        (
            "the same with 1 mL/cmH2O of stretch beside it",
            f"{(lost + 0.001 * fall / seconds * 60) * 1000:.0f} mL/min",
        ),
        (
            "gas moved in the sampling tube at each breath of 20 cmH2O",
            f"{6.28 * 20 * PA_PER_CMH2O / 101_325:.2f} mL: it is not dead space",
        ),
    ]
    return rows
