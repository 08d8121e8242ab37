"""The event log: whole after any power cut, says when it is full, high-priority entries are the last to go.

Each high-priority condition with its identity, and whether the log outlives a power loss and what happens
when it is full: IEC 60601-1-8, 6.12 (published).
"""

import contextlib

import pytest

from firmware_sim.board.flash import Flash, PowerCut
from firmware_sim.contract import alarms, log_codes
from firmware_sim.core import event_log
from firmware_sim.core.event_log import PER_PAGE, EventLog
from tests.support.alarm_bench import Flashless, Module, quiet

PAGES = 4


def log_on(flash):
    return EventLog(Flashless(flash), 0, PAGES)


def serials(log):
    return [entry.serial for entry in log.entries()]


def test_entries_come_back_after_power_loss():
    flash = Flash(PAGES)
    log = log_on(flash)
    for number in range(300):
        log.add(log_codes.SETTING, number, -number, 7, tick=4_294_967_295)
    again = log_on(flash)
    assert again.boot == log.boot + 1
    assert [(e.first, e.second, e.tick) for e in again.entries()] == [
        (number, -number, 4_294_967_295) for number in range(300)]
    assert again.add(log_codes.POWER_UP) == 301


def test_a_full_log_says_so_and_goes_on():
    flash = Flash(PAGES)
    log = log_on(flash)
    fills = []
    for _ in range(PER_PAGE * 3):
        log.add(log_codes.BUTTON)
        fills.append(log.fill())
    assert fills[0] == 0 and fills[-2] >= 99
    for _ in range(PER_PAGE):
        log.add(log_codes.BUTTON)
    assert log.fill() == 100 and log.overwritten > 0
    assert any(entry.code == log_codes.LOG_FULL for entry in log.entries())
    newest = serials(log)
    assert newest == list(range(newest[0], newest[-1] + 1))
    log.mark_read()
    assert log.fill() == 0
    assert log_on(flash).fill() <= 1


def test_a_nearly_full_log_alarms():
    module = Module(Flash(64))
    module.step(quiet(), 5)
    for _ in range(module.system.log.capacity() * 92 // 100):
        module.system.log.add(log_codes.BUTTON)
    module.step(quiet(), 2)
    assert module.system.engine.stands(alarms.ID_OF["log_nearly_full"])
    module.system.log.mark_read()
    module.step(quiet(), 2)
    assert not module.system.engine.stands(alarms.ID_OF["log_nearly_full"])


def test_high_entries_are_the_last_to_be_overwritten():
    flash = Flash(PAGES)
    log = log_on(flash)
    kept = [log.add(log_codes.ALARM, number, weight=log_codes.WEIGHT_HIGH) for number in range(50)]
    for _ in range(PER_PAGE * 20):
        log.add(log_codes.BUTTON)
    found = serials(log)
    assert set(kept) <= set(found)
    assert set(kept) <= set(serials(log_on(flash)))
    # Only high ones crowd high ones out, and then the oldest go first.
    for number in range(PER_PAGE * 6):
        log.add(log_codes.ALARM, number, weight=log_codes.WEIGHT_HIGH)
    found = serials(log)
    assert not set(kept) & set(found)
    high = [entry.serial for entry in log.entries() if entry.weight == log_codes.WEIGHT_HIGH]
    assert len(high) > PER_PAGE * 2 and high[-1] == log.next_serial - 1


def fill(log, count, every=9):
    """Write a mixture; return the serials of the high ones."""
    high = []
    for number in range(count):
        weight = log_codes.WEIGHT_HIGH if number % every == 0 else None
        serial = log.add(log_codes.ALARM if weight else log_codes.BUTTON, number, weight=weight)
        if weight:
            high.append(serial)
    return high


def test_a_cut_at_every_byte_of_an_entry_loses_at_most_that_entry():
    base = Flash(PAGES)
    fill(log_on(base), 100)
    for cut in range(event_log.ENTRY + 1):
        flash = Flash(PAGES, bytes(base.memory))
        log = log_on(flash)
        flash.cut_after(cut)
        with contextlib.suppress(PowerCut):
            log.add(log_codes.BUTTON, 4711)
        flash.cut_after(None)
        again = log_on(flash)
        assert serials(again)[:100] == list(range(1, 101))
        assert again.add(log_codes.POWER_UP) in serials(again)
        assert serials(log_on(flash))[:100] == list(range(1, 101))


def test_a_cut_anywhere_in_the_change_of_pages_loses_no_high_entry():
    """Every 61st byte of carrying over and erasing, then again during the repair after it."""
    base = Flash(PAGES)
    log = log_on(base)
    high = fill(log, PER_PAGE * 4)
    while log.used < PER_PAGE:
        log.add(log_codes.BUTTON)
    image, whole = bytes(base.memory), set(serials(log))
    high = [serial for serial in high if serial in whole]
    base.cut_after(1 << 20)
    log.add(log_codes.BUTTON)
    total = (1 << 20) - base.left
    assert total > 4096
    for cut in range(0, total, 61):
        flash = Flash(PAGES, image)
        for again in (cut, cut // 2, None):
            flash.cut_after(again)
            try:
                log_on(flash).add(log_codes.BUTTON)
                break
            except PowerCut:
                pass
        found = log_on(flash)
        assert set(high) <= set(serials(found)), f"cut after {cut} bytes"
        assert len(serials(found)) == len(set(serials(found)))


def torn(monkeypatch, crc):
    """Tear the 101st entry; return how many are believed."""
    if crc is not None:
        monkeypatch.setattr(event_log, "crc16", crc)
    flash = Flash(PAGES)
    log = log_on(flash)
    fill(log, 100)
    flash.cut_after(9)
    with pytest.raises(PowerCut):
        log.add(log_codes.BUTTON, 4711)
    return len(serials(log_on(flash)))


def test_without_the_crc_a_torn_entry_would_be_believed(monkeypatch):
    assert torn(monkeypatch, None) == 100
    assert torn(monkeypatch, lambda data: 0xFFFF) == 101


def test_a_damaged_entry_is_counted_and_left_out():
    flash = Flash(PAGES)
    fill(log_on(flash), 10)
    flash.memory[3 * event_log.ENTRY + 12] ^= 1
    log = log_on(flash)
    assert log.damaged == 1
    assert serials(log) == [1, 2, 3, 5, 6, 7, 8, 9, 10]


def test_an_alarm_is_logged_with_time_limit_and_inactivation():
    module = Module(Flash(64))
    module.step(quiet(), 30)
    module.step(quiet(pressure_max=300), 150)
    module.press(0, quiet(pressure_max=300))
    entries = [e for e in module.system.log.entries() if e.code == log_codes.ALARM]
    row, transition, priority, _ = log_codes.alarm_parts(entries[0].first)
    assert (alarms.ROWS[row].name, alarms.TRANSITIONS[transition], priority) == ("disconnected", "raised", 3)
    assert (entries[0].second, entries[0].third, entries[0].weight) == (300, 1000, log_codes.WEIGHT_HIGH)
    assert entries[0].tick == module.sent.alarms[0][0] and entries[0].unix_s == 1_700_000_013
    assert log_codes.alarm_parts(entries[1].first)[1] == alarms.TRANSITIONS.index("audio_paused")
    assert next(e for e in module.system.log.entries() if e.code == log_codes.BUTTON).second == 1
