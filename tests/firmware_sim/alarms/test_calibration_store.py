"""Who vouches for a gain: kept in flash over restarts and cuts, sent up, and never for other numbers."""

import contextlib

import pytest

from firmware_sim.board.flash import Flash, PowerCut
from firmware_sim.contract import alarms, settings
from firmware_sim.contract import commands as c
from firmware_sim.core import calibration_store
from firmware_sim.core.calibration_store import CalibrationStore, Row
from firmware_sim.core.commands import Commands
from firmware_sim.core.settings_store import DAMAGED
from tests.support.alarm_bench import Flashless, Module, quiet

GAUGE = Row(16361, 9, 20781, 3, 850, 140, b"gauge 7")
PRESSURE, OXYGEN = 2, 3


class Quiet:
    """Take what isn't of alarms."""

    def settings_changed(self):
        """Do nothing."""


def calibrate(module, *fields, name=b""):
    """Send one calibration; return the result's word."""
    commands = Commands(module.system, Quiet(), 1)
    body = c.pack(c.CALIBRATE, fields, [(letter,) for letter in name])
    return c.RESULTS[commands.handle((1, 1, 0, c.CALIBRATE, 5, 0), body)[0]]


def test_a_row_comes_back_with_its_reference():
    flash = Flash(64)
    assert CalibrationStore(Flashless(flash)).put(PRESSURE, GAUGE)
    again = CalibrationStore(Flashless(flash))
    assert again.row(PRESSURE) == GAUGE
    assert again.row(OXYGEN) is None
    longest = GAUGE._replace(reference=b"r" * calibration_store.REFERENCE_MAX)
    assert again.put(OXYGEN, longest)
    assert CalibrationStore(Flashless(flash)).row(OXYGEN) == longest
    assert CalibrationStore(Flashless(flash)).row(PRESSURE) == GAUGE


def test_a_power_cut_at_any_stage_leaves_the_old_row_or_the_new_one():
    flash = Flash(64)
    store = CalibrationStore(Flashless(flash))
    for gain in (16000, 16100):
        store.put(PRESSURE, GAUGE._replace(gain=gain))
    base = bytes(flash.memory)
    total = calibration_store.CalibrationStore.count * 4 + 4096 + 18
    for cut in (*range(0, total, 97), *range(total - 9, total + 1)):
        torn = Flash(64, base)
        torn.cut_after(cut)
        with contextlib.suppress(PowerCut):
            CalibrationStore(Flashless(torn)).put(PRESSURE, GAUGE._replace(gain=16200))
        assert CalibrationStore(Flashless(torn)).row(PRESSURE).gain == (16200 if cut >= total else 16100)


def test_a_calibration_is_in_force_kept_and_sent():
    flash = Flash(64)
    module = Module(flash)
    assert calibrate(module, PRESSURE, 16361, 9, 20781, 3, 850, 140, name=b"gauge 7") == "done"
    assert module.sent.calibrations == [(PRESSURE, GAUGE, True)]
    again = Module(flash)
    again.system.send_calibrations()
    assert again.sent.calibrations == [(PRESSURE, GAUGE, True)]


def test_numbers_set_by_hand_are_vouched_for_by_nobody():
    module = Module(Flash(64))
    calibrate(module, PRESSURE, 16361, 9, 20781, 3, 850, 140, name=b"gauge 7")
    wanted = list(module.system.settings)
    wanted[settings.ID_OF["calibration.pressure_gain"]] = 16400
    assert module.system.change(wanted) is None
    module.system.send_calibrations()
    assert module.sent.calibrations[-1] == (PRESSURE, GAUGE, False)
    assert module.system.calibrations.oldest_day(module.system.settings) == 0


def test_a_zero_check_leaves_gain_day_and_reference():
    module = Module(Flash(64))
    calibrate(module, PRESSURE, 16361, 9, 20781, 3, 850, 140, name=b"gauge 7")
    assert calibrate(module, PRESSURE, 16384, 12, 20900, 1, 0, 50, name=b"air") == "done"
    row = module.system.calibrations.row(PRESSURE)
    assert row == GAUGE._replace(offset=12, offset_u=50)
    assert module.system.setting("calibration.pressure_gain") == 16361
    assert module.system.setting("calibration.day") == 20781


def test_the_oldest_calibration_decides_when_the_next_is_due():
    module = Module(Flash(64))
    calibrate(module, PRESSURE, 16361, 9, 20781, 3, 850, 140)
    calibrate(module, OXYGEN, 16300, -3, 20700, 2, 900, 100)
    assert module.system.setting("calibration.day") == 20700
    calibrate(module, OXYGEN, 16300, -3, 20800, 2, 900, 100)
    assert module.system.setting("calibration.day") == 20781


@pytest.mark.parametrize("fields", [
    (9, 16384, 0, 20781, 2, 0, 0), (PRESSURE, 16384, 0, 20781, 0, 0, 0), (PRESSURE, 9000, 0, 20781, 2, 0, 0),
    (PRESSURE, 16384, 500, 20781, 2, 0, 0)])  # fmt: skip
def test_nonsense_is_refused_and_changes_nothing(fields):
    """+-20 % and 400 codes at most: the settings' hard bounds (no source, common practice)."""
    module = Module(Flash(64))
    assert calibrate(module, *fields) == "refused"
    assert module.system.settings == settings.defaults()
    assert module.system.calibrations.row(PRESSURE) is None
    assert calibrate(module, PRESSURE, 16384, 0, 20781, 2, 0, 0, name=b"x" * 41) == "refused"


def test_both_slots_damaged_is_a_memory_fault_that_alarms():
    flash = Flash(64)
    for page in calibration_store.PAGES:
        flash.write(page, 0, b"\x00" * 40)
    module = Module(flash)
    assert module.system.calibrations.condition == DAMAGED
    module.step(quiet(), 5)
    assert module.system.engine.stands(alarms.ID_OF["memory_fault"])
