"""Obey the host's commands: admit, unpack, do, answer, log. Nothing is done that isn't answered."""

from firmware_sim.contract import commands as c
from firmware_sim.contract import log_codes
from firmware_sim.contract import settings as s
from firmware_sim.contract.channels import CHANNELS, MODE_STANDBY, MODES, PRESET_CHILD, PRESET_INFANT
from firmware_sim.core.calibration_store import REFERENCE_MAX, ids, merged
from firmware_sim.kernels.alarms import NO_ROW

# A pressure-hold test is refused when a breath was seen within so many steps.
BREATH_MIN_AGE = 600


class Commands:
    """Handle commands against an AlarmSystem and the rest of the firmware.

    `app` answers for what is not alarms: `set_clock(unix_s, unix_ms)`, `battery_test(start, day)`,
    `ask_capture(tap)`, `pressure_hold(stage)`, `new_patient(preset)` return a result number of
    contract.commands; `settings_changed()` returns nothing; `breath()` returns (peak, end-expiratory, rate,
    age in steps) in the scales of the inputs, or None when none was seen.
    """

    def __init__(self, system, app, boot_id):
        self.system = system
        self.app = app
        self.gate = c.Gate(boot_id)
        self.doers = {
            c.SET_SETTINGS: self._set_settings, c.SET_MODE: self._set_mode, c.SET_PRESET: self._set_preset,
            c.PAUSE_AUDIO: self._pause, c.ACKNOWLEDGE: self._acknowledge,
            c.DECLARE_WARMING_UP: self._warming_up, c.CONFIRM_LIMITS: self._confirm,
            c.SELF_TEST: self._self_test, c.CLOCK: self._clock, c.BATTERY_TEST: self._battery_test,
            c.ASK_CAPTURE: self._capture, c.ASK_SETTINGS: self._ask_settings, c.READ_LOG: self._read_log,
            c.CALIBRATE: self._calibrate, c.NEW_PATIENT: self._new_patient,
            c.PRESSURE_HOLD: self._pressure_hold, c.CLEAR_LOG_NOTICE: self._log_read,
            c.START_CASE: self._start_case, c.END_CASE: self._end_case, c.CYLINDER: self._cylinder,
        }

    def handle(self, fields, body):
        """Obey one decoded message `command`, its fields and its tail; answer, log, return the answer.

        Answer: (result, detail, text). The order of the refusals: another boot, come before, unknown,
        malformed, button not pressed.
        """
        boot_id, command_seq, _, command, operator, from_page = fields
        result, detail, text = self._obey(boot_id, command_seq, command, bytes(body or b""), bool(from_page))
        records = self.system.records
        self.system.note(log_codes.COMMAND, command | result << 8 | (1 if from_page else 0) << 16,
                         operator - (1 << 32) if operator >= 1 << 31 else operator,
                         # Which row was acknowledged: a rehearsal does it again.
                         text=str(body[0]) if command == c.ACKNOWLEDGE and body else "")
        records.command_result(command_seq, command, result, detail, text)
        return result, detail, text

    def _obey(self, boot_id, command_seq, command, body, from_page):
        admitted = self.gate.admit(boot_id, command_seq)
        if admitted != c.DONE:
            return admitted, 0, ""
        if command not in self.doers:
            return c.UNKNOWN_COMMAND, command, ""
        unpacked = c.unpack(command, body)
        if unpacked is None:
            return c.BAD_BODY, len(body), ""
        pressed = self.system.buttons.since_press
        if from_page and c.needs_button(command) and (pressed is None or pressed > c.BUTTON_WINDOW):
            return c.BUTTON_FIRST, 0, ""
        answer = self.doers[command](unpacked[0], unpacked[1], from_page)
        return answer if isinstance(answer, tuple) else (answer, 0, "")

    def _change(self, wanted):
        """Put settings in force; return the answer."""
        refused = self.system.change(wanted)
        if refused is None:
            self.app.settings_changed()
            return c.DONE, self.system.store.version & 0xFFFF, ""
        reason, setting, sentence = refused
        result = c.FLASH_FAILED if reason == s.FLASH_FAILED else c.REFUSED
        return result, setting, sentence

    def _set_settings(self, _, pairs, from_page):
        wanted = list(self.system.settings)
        given = []
        for setting, value in pairs:
            if setting >= s.COUNT:
                return c.REFUSED, setting, "there is no setting number " + str(setting)
            if s.SETTINGS[setting].name in s.OWN_COMMAND and value != wanted[setting]:
                return c.REFUSED, setting, s.SETTINGS[setting].name + " has a command of its own"
            wanted[setting] = value
            given.append(setting)
        preset = s.ID_OF["module.preset"]
        if wanted[preset] == PRESET_INFANT and self.system.preset() != PRESET_INFANT:
            missing = [index for index in s.PATIENT_IDS if index not in given]
            if missing:
                return c.INFANT_NOT_SUPPLIED, missing[0], (
                    "there are no infant values; the site must supply " + s.SETTINGS[missing[0]].name)
        answer = self._change(wanted)
        if any([s.SETTINGS[setting].group == "calibration" for setting in given]):
            self.system.send_calibrations()
        return answer

    def _set_mode(self, fields, _, from_page):
        if fields[0] >= len(MODES):
            return c.REFUSED, fields[0], "there is no such mode"
        refused = self.system.set_mode(fields[0])
        if refused is None:
            self.app.settings_changed()
            return c.DONE
        return c.REFUSED, refused[1], refused[2]

    def _set_preset(self, fields, _, from_page):
        preset = fields[0]
        if preset == PRESET_INFANT:
            return c.INFANT_NOT_SUPPLIED, 0, "there are no infant values; a site must supply all of them"
        if preset > PRESET_CHILD:
            return c.REFUSED, preset, "there is no such preset"
        old = self.system.preset()
        wanted = s.apply_preset(self.system.settings, preset)
        wanted[s.ID_OF["module.unconfirmed"]] = 1
        answer = self._change(wanted)
        if answer[0] == c.DONE:
            self.system.note(log_codes.PRESET, old, preset)
        return answer

    def _pause(self, _, __, from_page):
        return self.system.engine.pause(from_page)

    def _acknowledge(self, fields, _, from_page):
        row = fields[0]
        return self.system.engine.acknowledge(NO_ROW if row == 255 else row, from_page)

    def _warming_up(self, fields, _, from_page):
        if self.system.declare_warming_up(fields[0]):
            return c.DONE
        return c.REFUSED, 0, "warming up was declared within the last 2 h; the purity limits stay in force"

    def _confirm(self, fields, _, from_page):
        if fields[0]:
            breath = self.app.breath()
            if breath is None or breath[3] > BREATH_MIN_AGE:
                return c.NO_BREATH_SEEN, 0, "no breath was seen in the last 60 s to draw limits around"
            wanted, refused = s.confirm(self.system.settings, breath[0], breath[1], breath[2])
            if refused:
                return c.REFUSED, refused[1], refused[2]
            answer = self._change(wanted)
            if answer[0] != c.DONE:
                return answer
        refused = self.system.confirm_limits()
        return c.DONE if refused is None else (c.FLASH_FAILED, refused[1], refused[2])

    def _self_test(self, _, __, from_page):
        if not self.system.is_quiet():
            return c.BUSY, 0, "an alarm stands; lamps and sounder are busy with it"
        self.system.start_test()
        return c.STARTED

    def _clock(self, fields, _, from_page):
        old, _, is_set = self.system.hal.rtc()
        result = self.app.set_clock(fields[0], fields[1])
        if result == c.DONE:
            # The log keeps both as 32 bits, signed.
            self.system.note(log_codes.CLOCK, _signed(old) if is_set else 0, _signed(fields[0]))
        return result

    def _battery_test(self, fields, _, from_page):
        return self.app.battery_test(fields[0], fields[1])

    def _capture(self, fields, _, from_page):
        return self.app.ask_capture(fields[0])

    def _ask_settings(self, _, __, from_page):
        self.system.send_settings()
        self.system.send_calibrations()
        return c.DONE

    def _read_log(self, fields, _, from_page):
        for entry in self.system.log.entries(fields[0], fields[1]):
            # Entry by entry as text, so that nothing of the flash is lost on the way.
            text = ",".join([str(number) for number in entry])
            self.system.records.log(entry.code, entry.first, entry.second, text)
        return c.DONE

    def _calibrate(self, fields, letters, from_page):
        channel, gain, offset, day, points, gain_u, offset_u = fields
        if channel >= len(CHANNELS) or not points:
            return c.REFUSED, channel, "there is no such channel, or no point"
        if len(letters) > REFERENCE_MAX:
            return c.REFUSED, len(letters), "the reference's name has 40 letters at most"
        system, store = self.system, self.system.calibrations
        gain_id, offset_id = ids(channel)
        wanted = list(system.settings)
        if points == 1:
            gain = wanted[gain_id]
        wanted[gain_id], wanted[offset_id] = gain, offset
        refused = s.check(wanted)
        if refused:
            return c.REFUSED, refused[1], refused[2]
        reference = bytes([letter[0] for letter in letters])
        # First who vouches, then the numbers: torn in between, the row vouches for nothing.
        row = merged(store.row(channel), gain, offset, day, points, gain_u, offset_u, reference)
        if not store.put(channel, row):
            return c.FLASH_FAILED, channel, "the flash did not take the calibration; the old one stays"
        wanted[s.ID_OF["calibration.day"]] = store.oldest_day(wanted)
        answer = self._change(wanted)
        system.send_calibrations()
        if answer[0] == c.DONE:
            system.note(log_codes.CALIBRATION, channel, gain, offset)
        return answer

    def _new_patient(self, fields, _, from_page):
        # The same preset again is the usual case; infant stays only where a site's values are in force.
        if fields[0] == PRESET_INFANT and self.system.preset() == PRESET_INFANT:
            answer = c.DONE
        else:
            answer = self._set_preset(fields, _, from_page)
        done = c.DONE in (answer, answer[0] if isinstance(answer, tuple) else None)
        if done:
            self.system.note(log_codes.NEW_PATIENT, fields[0])
            self.app.new_patient(fields[0])
        return answer

    def _start_case(self, fields, _, from_page):
        number, mode, preset = fields
        if mode >= len(MODES):
            return c.REFUSED, mode, "there is no such mode"
        if preset == PRESET_INFANT and self.system.preset() != PRESET_INFANT:
            return c.INFANT_NOT_SUPPLIED, 0, "there are no infant values; a site must supply all of them"
        if preset > PRESET_INFANT:
            return c.REFUSED, preset, "there is no such preset"
        wanted = list(self.system.settings)
        if preset != PRESET_INFANT:
            wanted = s.apply_preset(wanted, preset)
        wanted[s.ID_OF["module.mode"]] = mode
        wanted[s.ID_OF["module.unconfirmed"]] = 1
        return self._hand_over(wanted, preset, number, mode | preset << 8)

    def _end_case(self, fields, _, from_page):
        wanted = list(self.system.settings)
        wanted[s.ID_OF["module.mode"]] = MODE_STANDBY
        return self._hand_over(wanted, self.system.preset(), fields[0], -1)

    def _hand_over(self, wanted, preset, number, second):
        """Put a case's settings in force in one write, nothing of the last patient's breath in them."""
        system = self.system
        for name in ("confirmed.peak", "confirmed.end_expiratory", "confirmed.rate"):
            wanted[s.ID_OF[name]] = 0
        old_mode, old_preset = system.mode(), system.preset()
        answer = self._change(wanted)
        if answer[0] != c.DONE:
            return answer
        if system.preset() != old_preset:
            system.note(log_codes.PRESET, old_preset, preset)
        if system.mode() != old_mode:
            system.note(log_codes.MODE, old_mode, system.mode())
        system.note(log_codes.CASE, number, second)
        self.app.new_patient(preset)
        return answer

    def _pressure_hold(self, fields, _, from_page):
        breath = self.app.breath()
        if fields[0] and breath is not None and breath[3] <= BREATH_MIN_AGE:
            return c.BREATH_SEEN, 0, "a breath was seen in the last 60 s; is the patient off?"
        return self.app.pressure_hold(fields[0])

    def _cylinder(self, fields, _, from_page):
        litres, rate, drawn = fields
        self.system.cylinder.told(litres, rate, drawn)
        return c.DONE

    def _log_read(self, _, __, from_page):
        self.system.log.mark_read()
        return c.DONE


def _signed(number):
    return number - (1 << 32) if number >= 1 << 31 else number
