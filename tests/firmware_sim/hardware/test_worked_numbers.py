"""The worked numbers of the notes against textbook values and other people's libraries."""

import math
import re
from pathlib import Path

import CoolProp.CoolProp as coolprop
import numpy as np
import pytest
from scipy import signal

from firmware_sim.board import adc
from firmware_sim.board.converter import WIRE_UNITS
from firmware_sim.contract import channels
from firmware_sim.hardware import chains, module_power, parts
from firmware_sim.world.module_cell import CellSettings, CellState, step_cell

NOTES = Path(__file__).resolve().parents[3] / "hardware_notes"


def number(rows, start):
    """Return the words beside a step."""
    return next(said for what, said in rows if what.startswith(start))


def test_the_filter_is_the_butterworth_of_scipy():
    b, a = signal.butter(chains.POLES, 2 * np.pi * chains.CORNER_HZ, analog=True)
    for hertz in (50.0, 1250.0, 1950.0, 3150.0):
        _, response = signal.freqs(b, a, [2 * np.pi * hertz])
        assert chains.gain(hertz) == pytest.approx(abs(response[0]), rel=1e-9)


def test_the_divider_is_ohm_s_law():
    rows = chains.divider_rows()
    assert "485.8" in number(rows, "ratio")
    assert number(rows, "current at 800 V").startswith("0.20 mA; 0.16 W in all")
    # 2 kV over four equal resistors and next to nothing.
    assert number(rows, "the same at a surge").startswith("499 V each")


@pytest.mark.parametrize(
    ("gas", "shares"), [("Oxygen", (1, 0, 0)), ("Nitrogen", (0, 1, 0)), ("Argon", (0, 0, 1))]
)
def test_speeds_of_sound_are_those_of_real_gas(gas, shares):
    """CoolProp's reference equations at 25 °C and 101325 Pa; ideal gas is off by less than 0.5 %."""
    real = coolprop.PropsSI("A", "T", 298.15, "P", 101_325, gas)
    assert chains.sound_m_s(shares, 298.15) == pytest.approx(real, rel=5e-3)


def test_a_meter_without_argon_reads_sieve_gas_too_high():
    for share in (0.21, 0.6, 0.93):
        speed = chains.sound_m_s((share, 1 - share, 0), 310.0)
        assert chains.as_oxygen(speed, 310.0) == pytest.approx(share)
    read = chains.as_oxygen(chains.sound_m_s((0.956, 0, 0.044), 298.15), 298.15)
    assert 1.03 < read < 1.06


def test_altitude_takes_a_sixth():
    """About 17 % low at 1500 m on a sea-level calibration (from memory)."""
    assert "17 %" in number(chains.oxygen_rows(), "1,500 m")


def test_the_sampling_tube_is_the_textbook_s():
    """Hagen-Poiseuille by hand: 8 × 1.83e-5 × 2 / (π × 1e-12) = 9.32e7 Pa s/m³, 950 cmH2O for 1 L/s."""
    assert 8 * 1.83e-5 * 2 / (math.pi * 1e-12) / 98.0665 / 1000 == pytest.approx(950, rel=0.01)
    assert "950 cmH2O" in number(chains.pressure_rows(), "sampling tube")
    assert "1,377 cmH2O" in number(chains.pressure_rows(), "overpressure")


def test_the_leak_is_the_orifice_equation_s():
    """By hand, 1 mm at 20 cmH2O: 0.6 × 0.785 mm² × √(2 × 1961 / 1.19) = 1.62 L/min."""
    assert chains.leak_l_min(1.0, 20.0) == pytest.approx(1.62, abs=0.01)
    assert chains.leak_l_min(2.0, 20.0) == pytest.approx(4 * chains.leak_l_min(1.0, 20.0))


def test_dead_space_is_a_cylinder_s():
    assert chains.tee_ml(22, 45) == pytest.approx(math.pi * 1.1**2 * 4.5)


def test_the_loads_are_the_emulated_module_s():
    assert module_power.draw_ma() == CellSettings().draw_ma


def test_the_emulated_cell_lasts_as_long_as_the_notes_say():
    """Step the plant's own cell with the adapter pulled until it is dead."""
    settings = CellSettings(adapter=0)
    state, seconds = CellState(), 0
    while state.rail_mv and seconds < 40_000:
        state = step_cell(state, settings, 100.0, 10.0)
        seconds += 10
    assert seconds / 3600 == pytest.approx(module_power.hours(settings.cell_mah), rel=0.002)
    worst = module_power.hours(settings.cell_mah, module_power.AGED * module_power.CLIMATE)
    assert worst >= module_power.HOURS_MIN
    need = module_power.HOURS_AIM * module_power.draw_ma() / (module_power.AGED * module_power.CLIMATE)
    assert module_power.hours(need, module_power.AGED * module_power.CLIMATE) == pytest.approx(4.0)


def test_the_buzzer_sounds_long_enough_at_the_end_of_its_life():
    """At least 120 s (practice of the trade)."""
    assert module_power.buzzer_s(module_power.TOLERANCE * module_power.BUZZER_AGED) >= 120


@pytest.mark.parametrize(("what", "channel", "value"), parts.BRING_UP)
def test_the_emulated_board_shows_the_expected_codes(what, channel, value):
    """What the bring-up table promises, read off the emulated converter; taps as a sine at 50 Hz."""
    row = next(row for row in channels.CHANNELS if row[1] == channel)
    unit, count = WIRE_UNITS[row[0]], 6400
    wave = np.full(count, value)
    if channel.startswith("supply"):
        wave = value * math.sqrt(2) * np.sin(2 * np.pi * 50 * np.arange(count) / 3200)
    codes = np.empty(count, np.int16)
    adc.convert(np.round(wave / unit).astype(np.int32), 0, adc.parameters(row[0], unit, seed=3), codes)
    shown = codes.astype(float).std() if channel.startswith("supply") else codes.mean()
    step = (row[7] - row[6]) / (row[5] - row[4])
    # A tap without voltage shows the converter's noise.
    assert abs(shown - parts.expected_codes(channel, value)) * step <= parts.tolerance(channel, value)[0]


def test_every_page_of_the_notes_carries_its_caution():
    pages = sorted(NOTES.glob("*.md"))
    assert len(pages) > 8
    silent = [page.name for page in pages if "medical device" not in " ".join(page.read_text().split())]
    assert silent == []


def test_the_notes_point_at_isolation_and_invent_no_distance():
    """No creepage or clearance figure stands in the notes: they point at the standards in force."""
    text = (NOTES / "isolation_and_cautions.md").read_text("utf-8")
    assert "IEC 60601-1" in text and "IEC 61010-1" in text
    for line in text.splitlines():
        if "creepage" in line.lower() or "clearance" in line.lower():
            assert not re.search(r"\d\s*mm\b", line), line


def test_every_emc_level_says_where_it_was_seen():
    assert all(level[3] in (parts.QUOTED, parts.MEMORY) for level in parts.EMC)
    named = {level[0].split(",")[0] for level in parts.EMC}
    assert {f"IEC 61000-4-{part}" for part in (2, 3, 4, 5, 6, 8, 11)} <= named
