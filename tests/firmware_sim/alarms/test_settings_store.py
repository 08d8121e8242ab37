"""Settings in flash: a power cut at every single byte of a write leaves the old set or the new one whole."""

import contextlib

import pytest

from firmware_sim.board.flash import PAGE, Flash, PowerCut
from firmware_sim.contract import alarms, settings
from firmware_sim.contract import values as v
from firmware_sim.core import settings_store
from firmware_sim.core.settings_store import BLANK, DAMAGED, SOUND, SettingsStore
from tests.support.alarm_bench import Flashless, Module, quiet

PRESSURE_HIGH = settings.ID_OF["pressure.high"]


def written(*highs):
    """Return a flash in which sets with these pressure limits were saved, one after another."""
    flash = Flash(4)
    store = SettingsStore(Flashless(flash))
    for high in highs:
        assert store.save(changed(high))
    return flash


def changed(high):
    """Return the default set with another pressure limit."""
    values = settings.defaults()
    values[PRESSURE_HIGH] = high
    return values


def test_a_blank_flash_gives_the_defaults():
    store = SettingsStore(Flashless(Flash(4)))
    assert (store.condition, store.version, store.values) == (BLANK, 0, settings.defaults())


def test_the_last_set_comes_back():
    store = SettingsStore(Flashless(written(3000, 3100, 3200)))
    assert (store.condition, store.version, store.values[PRESSURE_HIGH]) == (SOUND, 3, 3200)


@pytest.mark.parametrize("fewer", [1, 10, 40])
def test_limits_outlive_an_update_that_adds_settings(monkeypatch, fewer):
    with monkeypatch.context() as older:
        older.setattr(SettingsStore, "count", settings.COUNT - fewer)
        older.setattr(SettingsStore, "blank", staticmethod(lambda: settings.defaults()[:-fewer]))
        older.setattr(SettingsStore, "check", staticmethod(lambda values: None))
        flash = Flash(4)
        assert SettingsStore(Flashless(flash)).save(changed(3200)[:-fewer])
    store = SettingsStore(Flashless(flash))
    assert (store.condition, store.version, store.values) == (SOUND, 1, changed(3200))
    assert store.save(changed(3300))
    assert SettingsStore(Flashless(flash)).values == changed(3300)


def test_a_set_of_a_newer_firmware_is_not_guessed_at(monkeypatch):
    flash = written(3000, 3100)
    monkeypatch.setattr(SettingsStore, "count", settings.COUNT - 1)
    assert SettingsStore(Flashless(flash)).condition == DAMAGED


def cuts():
    """Return the number of bytes that one save spends: an erase counts as a page."""
    flash = written(3000, 3100)
    flash.cut_after(1 << 20)
    SettingsStore(Flashless(flash)).save(changed(3200))
    return (1 << 20) - flash.left


def outcome(cut, base):
    """Cut the save of a new set after so many bytes; return the limit that comes back."""
    flash = Flash(4, base)
    flash.cut_after(cut)
    with contextlib.suppress(PowerCut):
        SettingsStore(Flashless(flash)).save(changed(3200))
    store = SettingsStore(Flashless(flash))
    assert store.condition == SOUND
    assert store.values in (changed(3100), changed(3200)), f"a mixture after {cut} bytes"
    return store.values[PRESSURE_HIGH]


def test_a_cut_at_every_byte_leaves_the_old_or_the_new_set():
    base = bytes(written(3000, 3100).memory)
    total = cuts()
    found = [outcome(cut, base) for cut in range(total + 1)]
    assert total == PAGE + settings_store.HEAD_SIZE + 4 * settings.COUNT + settings_store.SUM_SIZE
    # Old up to the last bytes, then new for good: the sum is written last.
    assert found == sorted(found)
    assert found[0] == 3100 and found[-1] == 3200
    assert found[-settings_store.SUM_SIZE - 1] == 3100


def test_without_the_sum_a_cut_would_be_seen(monkeypatch):
    """The test above is no decoration: a store that doesn't check its sum mixes sets."""
    monkeypatch.setattr(settings_store, "_sum", lambda data: b"\xff" * 8)
    # Bounds would hide some of it, by what happens to stand last in the table.
    monkeypatch.setattr(SettingsStore, "check", staticmethod(lambda values: None))
    base = bytes(written(3000, 3100).memory)
    with pytest.raises(AssertionError):
        [outcome(cut, base) for cut in range(cuts() - 60, cuts())]


@pytest.mark.parametrize("page", [0, 1])
def test_one_damaged_slot_leaves_the_other(page):
    flash = written(3000, 3100)
    flash.memory[page * PAGE + 40] ^= 4
    store = SettingsStore(Flashless(flash))
    assert store.condition == SOUND
    assert store.values[PRESSURE_HIGH] in (3000, 3100)


def test_two_damaged_slots_are_a_memory_fault_that_alarms():
    flash = written(3000, 3100)
    flash.memory[40] ^= 4
    flash.memory[PAGE + 40] ^= 4
    assert SettingsStore(Flashless(flash)).condition == DAMAGED
    big = Flash(64)
    big.memory[: 2 * PAGE] = flash.memory[: 2 * PAGE]
    module = Module(big)
    module.step(quiet(), 5)
    assert module.system.engine.stands(alarms.ID_OF["memory_fault"])
    assert module.system.settings == settings.defaults()


class DeadFlash(Flash):
    """A flash that takes nothing more."""

    def write(self, page, offset, data):
        """Lose the data."""


def test_a_flash_that_takes_nothing_keeps_the_old_limits_in_force():
    flash = DeadFlash(64, None)
    module = Module(flash)
    refused = module.system.change(changed(3200))
    assert refused[0] == settings.FLASH_FAILED
    assert module.system.settings[PRESSURE_HIGH] == 3500
    module.step(quiet(), 2)
    assert module.system.engine.stands(alarms.ID_OF["memory_fault"])


@pytest.mark.parametrize(("off_s", "cause", "confirm"), [
    (0, 0, False), (30, 0, False), (31, 0, True), (None, 0, True), (0, 1, False)])
def test_limits_come_back_and_after_30_s_ask_for_confirmation(off_s, cause, confirm):
    """Supply loss of 30 s or less: settings as they were (from memory, IEC 60601-1-8, 6.5)."""
    flash = Flash(64)
    module = Module(flash)
    assert module.system.change(changed(3200)) is None
    assert module.system.set_mode(2) is None
    again = Module(flash, cause, off_s)
    assert again.system.settings[PRESSURE_HIGH] == 3200
    assert again.system.mode() == 2
    again.step(quiet(), 2)
    assert again.system.engine.stands(alarms.ID_OF["limits_unconfirmed"]) == confirm
    assert (1, cause, -1 if off_s is None else off_s) in again.sent.logs
    if confirm:
        # It stands over a further restart, until somebody confirms.
        third = Module(flash, 1, 0)
        third.step(quiet(), 2)
        assert third.system.engine.stands(alarms.ID_OF["limits_unconfirmed"])
        assert third.system.confirm_limits() is None
        third.step(quiet(), 2)
        assert not third.system.engine.stands(alarms.ID_OF["limits_unconfirmed"])


def test_a_reset_comes_back_armed():
    """A watchdog reset in the middle of a case: mode, limits, a present condition and a latched row."""
    flash = Flash(64)
    module = Module(flash)
    module.step(quiet(), 30)
    apart = quiet(pressure_max=300, supply_in_high=14000)
    module.step(apart, 150)
    module.step(quiet(pressure_max=300), 200)
    assert module.system.engine.phase(alarms.ID_OF["supply_dangerous"]) == 4
    again = Module(flash, cause=1)
    again.step(quiet(pressure_max=300), 1)
    stands = {alarms.ROWS[row].name for row in again.system.engine.standing()}
    assert {"disconnected", "supply_dangerous"} <= stands
    assert again.system.engine.sound() == 3
    assert again.sent.alarms[0][2] == alarms.TRANSITIONS.index("restored")
    again.system.engine.acknowledge()
    again.step(quiet(), 2)
    third = Module(flash, cause=1)
    third.step(quiet(), 1)
    assert third.system.engine.standing() == []
    assert len(quiet()) == v.COUNT
