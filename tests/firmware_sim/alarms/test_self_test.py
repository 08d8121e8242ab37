"""The module's test of itself: each part fails for its own fault, alarms, is logged, and ends when mended."""

import pytest

from firmware_sim.board.flash import PAGE, Flash
from firmware_sim.contract import NONE, alarms, log_codes
from firmware_sim.core.settings_store import SettingsStore
from tests.support.alarm_bench import Flashless, Module, quiet

ROW = alarms.ID_OF["self_test_failed"]


def outcome(module, inputs=None, steps=60):
    """Run a module for six seconds from power-up; return (passed, bits) of its test as logged."""
    module.step(quiet() if inputs is None else inputs, steps)
    return next((e.first, e.second) for e in reversed(module.system.log.entries())
                if e.code == log_codes.SELF_TEST)


def test_a_sound_module_passes_and_says_so():
    module = Module(Flash(64))
    assert outcome(module) == (1, 0)
    assert not module.system.engine.stands(ROW)
    assert (log_codes.SELF_TEST, 1, 0) in module.sent.logs


class WornFlash(Flash):
    """A flash with pages that take nothing."""

    worn = ()

    def write(self, page, offset, data):
        """Lose what goes to a worn page."""
        if page not in self.worn:
            super().write(page, offset, data)


class TornLog(Flash):
    """A flash in which one bit of each log entry stays as it was."""

    def write(self, page, offset, data):
        """Write all but one bit of the weight."""
        if 2 <= page < 18:
            data = data[:5] + bytes([data[5] | 64]) + data[6:]
        super().write(page, offset, data)


def worn_slot():
    """Return a flash whose second slot of settings is torn and takes nothing more."""
    flash = WornFlash(64)
    store = SettingsStore(Flashless(flash))
    store.save(store.values)
    store.save(store.values)
    flash.memory[(1 - store.slot) * PAGE + 40] ^= 4
    flash.worn = (1 - store.slot,)
    return flash


def stopped_clock(module):
    module.hal.rtc = lambda: (1_700_000_000, 0, True)


FAULTS = {
    "program": (Flash, lambda module: setattr(module.hal, "program_sound", lambda: False), {}),
    "settings": (worn_slot, None, {}),
    "log": (TornLog, None, {}),
    "converter": (Flash, None, {"rail": 1000}),
    "clock": (Flash, stopped_clock, {}),
    "button": (Flash, lambda module: module.hal.pressed.__setitem__(0, True), {}),
}


@pytest.mark.parametrize("part", FAULTS)
def test_each_fault_fails_its_own_part(part):
    make, spoil, values = FAULTS[part]
    flash = make(64) if make is not worn_slot else make()
    module = Module(flash)
    if spoil:
        spoil(module)
    # What is looked at when the life begins is looked at anew.
    module.system.self_test.start()
    module.step(quiet(**values), 60)
    bit = {name: bits for bits, name, _ in log_codes.SELF_TEST_PARTS}[part]
    assert module.system.self_test.failed == bit
    assert module.system.engine.stands(ROW)
    assert (log_codes.SELF_TEST, 0, bit) in module.sent.logs


def test_parts_have_a_bit_each():
    bits = [row[0] for row in log_codes.SELF_TEST_PARTS]
    assert bits == [1 << index for index in range(len(bits))]
    assert set(FAULTS) == {row[1] for row in log_codes.SELF_TEST_PARTS}


def test_no_reading_of_the_rail_is_a_fault_too():
    module = Module(Flash(64))
    assert outcome(module, quiet(rail=NONE)) == (0, log_codes.TEST_CONVERTER)


def test_the_modules_own_cell_is_no_fault():
    """On its cell the rail reads 3.7 V: that is `rail_low`, not a failed test."""
    assert outcome(Module(Flash(64)), quiet(rail=3700)) == (1, 0)


def test_it_stands_until_acknowledged_and_comes_back_after_a_restart():
    flash = Flash(64)
    module = Module(flash)
    outcome(module, quiet(rail=1000))
    again = Module(flash, cause=1)
    again.step(quiet(), 1)
    assert again.system.engine.stands(ROW)
    assert outcome(again)[0] == 1
    assert again.system.engine.phase(ROW) == 4
    again.system.engine.acknowledge()
    again.step(quiet(), 1)
    assert not again.system.engine.stands(ROW)


def test_a_button_that_gets_stuck_later_is_noticed_after_30_s():
    module = Module(Flash(64))
    module.step(quiet(), 60)
    module.hal.pressed[1] = True
    module.step(quiet(), 299)
    assert not module.system.engine.stands(ROW)
    module.step(quiet(), 2)
    assert module.system.engine.stands(ROW)
    assert (log_codes.SELF_TEST, 0, log_codes.TEST_BUTTON) in module.sent.logs


def test_a_torn_slot_is_mended_and_is_no_fault():
    flash = Flash(64)
    store = SettingsStore(Flashless(flash))
    wanted = list(store.values)
    wanted[3] += 100
    store.save(wanted)
    store.save(wanted)
    flash.memory[(1 - store.slot) * PAGE + 40] ^= 4
    module = Module(flash)
    assert outcome(module) == (1, 0)
    assert module.system.settings == wanted
    sound = SettingsStore(Flashless(flash))
    assert sound.values == wanted and sound._read(0) and sound._read(1)
