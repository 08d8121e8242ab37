"""Commands: who may, what is refused and why, and that every one is answered and logged."""

import pytest

from firmware_sim.board.flash import Flash
from firmware_sim.contract import alarms, commands, log_codes, settings
from firmware_sim.contract import commands as c
from firmware_sim.core.commands import Commands
from tests.support.alarm_bench import Module, quiet

BOOT = 77
ID = settings.ID_OF
APART = quiet(pressure_max=300)


class Firmware:
    """What the rest of the firmware answers."""

    def __init__(self):
        self.calls = []
        self.last_breath = (2000, 500, 1500, 12)

    def __getattr__(self, name):
        def call(*arguments):
            self.calls.append((name, *arguments))
            return c.DONE
        return call

    def breath(self):
        """Return the breath of a calm patient."""
        return self.last_breath


class Desk:
    """A module with its commands, and a host that numbers them."""

    def __init__(self, flash=None):
        self.module = Module(flash or Flash(64))
        self.system = self.module.system
        self.firmware = Firmware()
        self.commands = Commands(self.system, self.firmware, BOOT)
        self.seq = 0
        self.module.step(quiet(), 30)

    def send(self, command, values=(), repeated=(), page=False, seq=None, boot=BOOT, body=None):
        """Send one command; return the name of the result."""
        self.seq = self.seq + 1 if seq is None else seq
        packed = c.pack(command, values, repeated) if body is None else body
        fields = (boot, self.seq, 0, command, 4_000_000_000, 1 if page else 0)
        result, self.detail, self.text = self.commands.handle(fields, packed)
        assert self.module.sent.results[-1][:3] == (self.seq, command, result)
        entry = self.system.log.entries()[-1]
        assert entry.code == log_codes.COMMAND and entry.first & 255 == command
        return c.RESULTS[result]

    def set(self, **changes):
        """Send settings in steps; a double underscore stands for the dot."""
        pairs = [(ID[name.replace("__", ".")], value) for name, value in changes.items()]
        return self.send(c.SET_SETTINGS, (), pairs)


@pytest.fixture
def desk():
    return Desk()


def test_settings_are_set_all_or_none(desk):
    assert desk.set(pressure__high=3200, rate__high=2500) == "done"
    assert desk.system.setting("pressure.high") == 3200
    assert desk.set(pressure__high=4000, rate__high=99999) == "refused"
    assert "rate.high must lie between" in desk.text
    assert desk.detail == ID["rate.high"]
    assert desk.system.setting("pressure.high") == 3200
    # The engine and the flash have them, the host is told, each change is in the log with old and new.
    assert Module(desk.module.hal.flash).system.setting("pressure.high") == 3200
    assert desk.module.sent.sets[-1][2] == desk.system.settings
    changes = [e for e in desk.system.log.entries() if e.code == log_codes.SETTING]
    assert [(e.first & 255, e.second, e.third) for e in changes[:1]] == [(ID["pressure.high"], 3200, 3500)]


def test_a_new_limit_is_in_force_from_the_next_step(desk):
    # A peak of 20 cmH2O is calm under 35 and high above 18.
    assert desk.set(pressure__high=1800, pressure__sustained=1400) == "done"
    desk.module.step(quiet(pressure_max=2000), 1)
    assert desk.system.engine.stands(alarms.ID_OF["pressure_high"])


def test_contradictory_settings_are_refused(desk):
    assert desk.set(pressure__low=4000) == "refused"
    assert "must lie below the high one" in desk.text


@pytest.mark.parametrize(("pairs", "words"), [
    ([(250, 1)], "no setting number 250"), ([(ID["module.mode"], 0)], "command of its own"),
    ([(ID["module.unconfirmed"], 1)], "command of its own")])
def test_settings_that_are_no_settings(desk, pairs, words):
    assert desk.send(c.SET_SETTINGS, (), pairs) == "refused"
    assert words in desk.text


def test_infant_only_with_every_patient_setting_from_the_site(desk):
    assert desk.send(c.SET_PRESET, (2,)) == "infant_not_supplied"
    assert desk.set(module__preset=2) == "infant_not_supplied"
    assert "the site must supply pressure.high" in desk.text
    site = settings.defaults(1)
    pairs = [(index, site[index]) for index in settings.PATIENT_IDS] + [(ID["module.preset"], 2)]
    assert desk.send(c.SET_SETTINGS, (), pairs) == "done"
    assert desk.system.preset() == 2
    assert desk.send(c.NEW_PATIENT, (2,)) == "done"


def test_a_preset_brings_its_limits_and_waits_for_confirmation(desk):
    assert desk.send(c.SET_PRESET, (1,)) == "done"
    assert desk.system.setting("pressure.high") == 3000
    assert desk.system.setting("module.unconfirmed") == 1
    assert desk.send(c.CONFIRM_LIMITS, (1,)) == "done"
    assert desk.system.setting("module.unconfirmed") == 0
    assert desk.system.setting("pressure.disconnect") == 1500
    assert desk.send(c.NEW_PATIENT, (0,)) == "done"
    assert desk.system.setting("confirmed.peak") == 0
    assert ("new_patient", 0) in desk.firmware.calls


HAND, ADULT, CHILD, INFANT = 2, 0, 1, 2


def cases(desk):
    """Return number and second integer of each case in the flash log."""
    return [(one.first, one.second) for one in desk.system.log.entries() if one.code == log_codes.CASE]


def test_a_case_brings_mode_and_preset_at_once_and_nothing_of_the_last_patient(desk):
    assert desk.send(c.CONFIRM_LIMITS, (1,)) == "done"
    assert desk.system.setting("confirmed.peak") == 2000
    assert desk.send(c.START_CASE, (7, HAND, CHILD)) == "done"
    assert (desk.system.mode(), desk.system.preset()) == (HAND, CHILD)
    assert desk.system.setting("confirmed.peak") == 0, "limits follow the new patient's breath only"
    assert desk.system.setting("pressure.high") == 3000
    assert desk.system.setting("module.unconfirmed") == 1
    assert ("new_patient", CHILD) in desk.firmware.calls
    assert desk.send(c.END_CASE, (7,)) == "done"
    assert desk.system.mode() == 0, "standby: an empty bed does not call 'no breath'"
    assert cases(desk) == [(7, HAND | CHILD << 8), (7, -1)]
    again = Desk(desk.module.hal.flash)
    assert (again.system.mode(), again.system.preset()) == (0, CHILD), "it outlives a reset"


def test_a_case_that_cannot_be_leaves_all_as_it_was(desk):
    before = list(desk.system.settings)
    assert desk.send(c.START_CASE, (1, 1, INFANT)) == "infant_not_supplied"
    assert desk.text == "there are no infant values; a site must supply all of them"
    assert desk.send(c.START_CASE, (1, 9, ADULT)) == "refused"
    assert desk.send(c.START_CASE, (1, 1, 9)) == "refused"
    assert list(desk.system.settings) == before
    assert cases(desk) == []


def test_limits_are_drawn_only_around_a_breath_of_the_last_minute(desk):
    desk.firmware.last_breath = (2000, 500, 1500, 601)
    assert desk.send(c.CONFIRM_LIMITS, (1,)) == "no_breath_seen"
    desk.firmware.last_breath = None
    assert desk.send(c.CONFIRM_LIMITS, (1,)) == "no_breath_seen"
    assert desk.send(c.CONFIRM_LIMITS, (0,)) == "done"


def test_old_commands_and_other_boots_are_refused(desk):
    assert desk.send(c.ASK_SETTINGS) == "done"
    assert desk.send(c.ASK_SETTINGS, seq=1) == "replayed"
    assert desk.send(c.ASK_SETTINGS, seq=0) == "replayed"
    assert desk.send(c.ASK_SETTINGS, seq=50, boot=BOOT + 1) == "wrong_boot"
    assert desk.send(c.ASK_SETTINGS, seq=50) == "done"


@pytest.mark.parametrize(("command", "body", "answer"), [
    (99, b"", "unknown_command"), (0, b"", "unknown_command"), (c.SET_MODE, b"", "bad_body"),
    (c.SET_MODE, b"\x01\x01", "bad_body"), (c.SET_SETTINGS, b"\x01\x02", "bad_body"),
    (c.PAUSE_AUDIO, b"x", "bad_body"), (c.SET_MODE, b"\x09", "refused")])
def test_outside_bytes_never_raise(desk, command, body, answer):
    assert desk.send(command, body=body) == answer


def test_any_body_of_any_command_gets_an_answer(desk):
    for command in range(256):
        for size in (0, 1, 2, 4, 5, 6, 11):
            desk.seq += 1
            body = bytes(range(200, 200 + size))
            answer = desk.commands.handle((BOOT, desk.seq, 0, command, 0, 1), body)
            assert 0 <= answer[0] < len(c.RESULTS)


@pytest.mark.parametrize(
    ("command", "values"), [(c.PAUSE_AUDIO, ()), (c.ACKNOWLEDGE, (255,)), (c.SET_MODE, (0,)),
                            (c.START_CASE, (1, HAND, ADULT)), (c.END_CASE, (1,))])
def test_a_page_needs_a_press_of_the_modules_button_within_60_s(desk, command, values):
    low = quiet(rail=4000)
    desk.module.step(low, 100)
    assert desk.send(command, values, page=True) == "button_first"
    # A press on a module with nothing to silence only opens the page's controls.
    desk = Desk()
    desk.module.press(1, quiet())
    desk.module.step(low, 550)
    assert desk.send(command, values, page=True) == "done"
    desk.module.step(low, 100)
    assert desk.send(command, values, page=True) == "button_first"
    # The engineer's own command line asks for no button.
    assert desk.send(command, values) != "button_first"


def test_a_page_never_silences_a_disconnection_even_with_the_button(desk):
    desk.module.press(0, quiet())
    desk.module.step(APART, 150)
    assert desk.send(c.PAUSE_AUDIO, page=True) == "not_from_page"
    assert desk.send(c.ACKNOWLEDGE, (255,), page=True) == "not_from_page"
    assert desk.system.engine.sound() == 3
    assert desk.send(c.PAUSE_AUDIO) == "done"
    assert desk.system.engine.pause_left() == 1200


def test_warming_up_lasts_ten_minutes_at_most_and_not_over_a_restart(desk):
    poor = quiet(oxygen=6000)
    assert desk.send(c.DECLARE_WARMING_UP, (3600,)) == "done"
    desk.module.step(poor, 5990)
    assert not desk.system.engine.stands(alarms.ID_OF["purity_low"])
    assert desk.system.engine.stands(alarms.ID_OF["warming_up"])
    desk.module.step(poor, 130)
    assert desk.system.engine.stands(alarms.ID_OF["purity_very_low"])
    desk.send(c.DECLARE_WARMING_UP, (600,))
    again = Module(desk.module.hal.flash, cause=1)
    again.step(poor, 130)
    assert again.system.engine.stands(alarms.ID_OF["purity_very_low"])


def test_self_test_waits_for_quiet(desk):
    assert desk.send(c.SELF_TEST) == "started"
    desk.module.sent.logs.clear()
    desk.module.step(quiet(), 55)
    assert (log_codes.SELF_TEST, 1, 0) in desk.module.sent.logs
    desk.module.step(APART, 150)
    assert desk.send(c.SELF_TEST) == "busy"


def test_pressure_hold_is_refused_within_a_minute_of_a_breath(desk):
    assert desk.send(c.PRESSURE_HOLD, (1,)) == "breath_seen"
    desk.firmware.last_breath = (2000, 500, 1500, 700)
    assert desk.send(c.PRESSURE_HOLD, (1,)) == "done"


def test_what_is_not_alarms_is_passed_on(desk):
    assert desk.send(c.CLOCK, (1_700_000_100, 5)) == "done"
    assert desk.send(c.BATTERY_TEST, (1, 20000)) == "done"
    assert desk.send(c.ASK_CAPTURE, (1,)) == "done"
    assert [call[0] for call in desk.firmware.calls] == ["set_clock", "battery_test", "ask_capture"]


def test_calibration_is_a_setting_with_bounds(desk):
    assert desk.send(c.CALIBRATE, (2, 16500, -12, 20000, 2, 900, 40)) == "done"
    assert desk.system.setting("calibration.pressure_gain") == 16500
    assert desk.system.setting("calibration.day") == 20000
    assert desk.send(c.CALIBRATE, (2, 99999, 0, 20000, 2, 0, 0)) == "refused"
    assert desk.send(c.CALIBRATE, (200, 16384, 0, 20000, 2, 0, 0)) == "refused"


def test_the_log_is_read_and_its_notice_cleared(desk):
    assert desk.send(c.READ_LOG, (1, 3)) == "done"
    texts = len([entry for entry in desk.module.sent.logs if entry[0] == log_codes.POWER_UP])
    assert texts == 2
    assert desk.send(c.CLEAR_LOG_NOTICE) == "done"
    assert desk.system.log.fill() == 0


@pytest.mark.parametrize("row", commands.COMMANDS, ids=lambda row: row[1])
def test_bodies_open_as_they_were_packed(row):
    values = tuple(range(1, len(row[2]) + 1))
    repeated = [(3, -4)[: len(row[3])], (5, 6)[: len(row[3])]] if row[3] else []
    assert c.unpack(row[0], c.pack(row[0], values, repeated)) == (values, repeated)
    # One byte more is another letter only where letters may follow.
    more = c.unpack(row[0], c.pack(row[0], values, repeated) + b"\x01")
    assert (more is None) != (row[3] is not None and len(row[3]) == 1)
    with pytest.raises(ValueError, match="takes"):
        c.pack(row[0], (*values, 1), repeated)


def test_packing_refuses_what_does_not_fit():
    """MicroPython's struct would wrap without a word."""
    with pytest.raises(ValueError, match="out of range"):
        c.pack(c.SET_MODE, (256,))
    with pytest.raises(ValueError, match="out of range"):
        c.pack(c.SET_SETTINGS, (), [(1, 1 << 31)])
