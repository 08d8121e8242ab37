"""Everything between the measured inputs and the lamps: settings, engine, buttons, log, annunciation.

`prepare` adds to the inputs that the measuring parts fill in those the alarm system knows itself (mode,
preset, warming up, clock, log, confirmation), `judge` steps the engine where no kernel did, `signal` sends
and logs every transition, and drives lamps and sounder. A reset comes back armed: mode and limits from flash,
latched rows from the log.
"""

from firmware_sim.contract import WRITTEN_UNIX_S, alarms, digest, log_codes, values
from firmware_sim.contract import messages as m
from firmware_sim.contract import settings as s
from firmware_sim.contract.channels import CHANNELS, OXYGEN_STATES, SENSOR_STUCK
from firmware_sim.contract.engine import Engine, compile_table
from firmware_sim.core.annunciator import Annunciator, Buttons
from firmware_sim.core.calibration_store import CalibrationStore
from firmware_sim.core.cylinder import Cylinder
from firmware_sim.core.event_log import EventLog
from firmware_sim.core.oxygen import UNKNOWN
from firmware_sim.core.self_test import SelfTest
from firmware_sim.core.settings_store import BLANK, DAMAGED, SettingsStore
from firmware_sim.kernels import alarms as k

CAUSE_POWER = 0
# Alarm settings come back unasked after so long without power; after longer somebody must confirm them.
OFF_TIME_MAX_S = 30
STEPS_A_SECOND = 10
DAY_S = 86400
WARM_AGAIN_MS = 2 * 3600 * 1000
SELF_TEST_FAILED = alarms.ID_OF["self_test_failed"]
OXYGEN_CYLINDER = OXYGEN_STATES.index("probably_cylinder")


class AlarmSystem:
    """Run the alarm side of the firmware.

    `records` takes what goes up (core.records.Records), `steps` is the kernels' alarm_steps (None: plain).
    `settings` list of the integers in force, `engine` the Engine, `log` the EventLog, `buttons`.
    """

    def __init__(self, hal, records, steps=None):
        self.hal = hal
        self.records = records
        self.store = SettingsStore(hal)
        self.calibrations = CalibrationStore(hal)
        self.log = EventLog(hal)
        self.settings = self.store.values
        self.table = compile_table(self.settings)
        self.engine = Engine(self.table, steps)
        self.engine.restore(self.log.latched_rows())
        self.buttons = Buttons(hal)
        self.annunciator = Annunciator(hal, self.engine)
        self.cylinder = Cylinder(self.note)
        self.self_test = SelfTest(hal, (self.store, self.calibrations), self.log, self.buttons)
        self.stuck = False
        self.rail_fault = False
        self.warming_left = 0
        self.warmed_tick = None
        self.memory_fault = 1 if DAMAGED in (self.store.condition, self.calibrations.condition) else 0
        self.calibration_due = 0
        self.clock_unset = 0
        self.countdown = 0
        self.log_fill = 0
        self.log_seen = 0
        self.known = None
        # What this system itself gives the engine may have changed, beside settings and log.
        self.moved = True
        self._wake()

    def _wake(self):
        cause = self.hal.reset_cause()
        off = self.hal.off_time_s()
        self._restore_cylinder()
        self.note(log_codes.POWER_UP, cause, -1 if off is None else min(off, k.HIGHEST))
        self.self_test.start()
        if cause != CAUSE_POWER:
            return
        self.annunciator.start_test()
        if (off is None or off > OFF_TIME_MAX_S) and self.store.condition != BLANK:
            self._set("module.unconfirmed", 1)

    def _restore_cylinder(self):
        """Go on counting from what the log holds, less what was drawn since, as far as the clock tells."""
        entry = self.log.newest(log_codes.CYLINDER)
        if entry is None:
            return
        unix_s, _, is_set = self.hal.rtc()
        known = is_set and entry.unix_s > 0
        self.cylinder.restore(entry.first, entry.second, unix_s - entry.unix_s if known else None)

    def start_test(self):
        """Begin the test of lamps, sounder and the module itself."""
        self.annunciator.start_test()
        self.self_test.start()

    def setting(self, name):
        """Return one setting as an integer."""
        return self.settings[s.ID_OF[name]]

    def mode(self):
        """Return the mode in force (channels.MODES)."""
        return self.setting("module.mode")

    def preset(self):
        """Return the preset in force (channels.PRESETS)."""
        return self.setting("module.preset")

    def note(self, code, first=0, second=0, third=0, weight=None, text=""):
        """Write an entry to the event log in flash and send it up, the text with it."""
        self.log.add(code, first, second, third, self.records.tick, weight)
        self.records.log(code, first, second, text)

    def prepare(self, inputs):
        """Begin a step: what persons, clock and the module itself say goes into the engine's inputs."""
        if self.warming_left:
            self.warming_left -= 1
            self.moved = True
        self.countdown -= 1
        if self.countdown <= 0:
            self._look_around(inputs)
        pressed = self.buttons.step()
        if self.self_test.left or self.stuck != self.buttons.stuck:
            self._test(inputs)
        self._hide_oxygen(inputs)
        if self.moved or self.settings is not self.known or self.log.next_serial != self.log_seen:
            self._own_inputs(inputs)
        if pressed:
            self._obey(pressed)

    def judge(self, inputs):
        """Step the engine on inputs (array 'i', values.COUNT) that are whole."""
        self._hide_oxygen(inputs)
        self.engine.step(inputs)

    def signal(self, steps=1):
        """Send and log the newest transitions; drive lamps and sounder on by some steps."""
        if self.engine.state[OUT]:
            self._report(self.engine.state[OUT])
        self.annunciator.step(steps)

    def is_still(self, steps):
        """Tell whether `prepare` would change nothing in some more steps with the same buttons."""
        return (steps <= self.countdown and self.buttons.resting and not self.buttons.stuck
                and not (self.self_test.left or self.annunciator.test_left)
                and (self.warming_left == 0 or self.warming_left > steps))

    def wait(self, steps):
        """Let some steps pass while it is still."""
        self.countdown -= steps
        if self.warming_left:
            self.warming_left -= steps
        self.buttons.wait(steps)

    @staticmethod
    def _hide_oxygen(inputs):
        if inputs[OXYGEN_STATE] in UNKNOWN:
            inputs[OXYGEN] = inputs[OXYGEN_FALL] = NONE

    def _obey(self, pressed):
        """Do what the buttons newly pressed ask for (bits: 1 pause, 2 acknowledge)."""
        if pressed & 1:
            self.note(log_codes.BUTTON, 0, 1, self.engine.pause())
        if pressed & 2:
            self.note(log_codes.BUTTON, 1, 1, self.engine.acknowledge())

    def _test(self, inputs):
        """Go on with the self-test; note its end, and a button that got stuck."""
        self.moved = True
        if self.self_test.step(inputs[values.RAIL]):
            failed = self.self_test.failed
            self.note(log_codes.SELF_TEST, 0 if failed else 1, failed)
        stuck = self.buttons.stuck
        if stuck and not self.stuck:
            self.note(log_codes.SELF_TEST, 0, log_codes.TEST_BUTTON)
        self.stuck = stuck

    def doubt_rail(self, condition):
        """Take what is thought of the rail's own sensor: broken, the module's supply is not watched."""
        fault = condition >= SENSOR_STUCK
        if fault and not self.rail_fault:
            self.note(log_codes.SELF_TEST, 0, log_codes.TEST_CONVERTER)
        self.rail_fault = fault
        self.moved = True

    def _look_around(self, inputs):
        """Look at cylinder, clock and calendar, once a second."""
        self.countdown = STEPS_A_SECOND
        self.moved = True
        self.cylinder.second(inputs[values.OXYGEN_STATE] == OXYGEN_CYLINDER)
        unix_s, _, is_set = self.hal.rtc()
        self.clock_unset = 0 if is_set and unix_s >= WRITTEN_UNIX_S else 1
        day = self.setting("calibration.day")
        if is_set and day:
            self.calibration_due = 1 if unix_s // DAY_S - day > self.setting("calibration.interval") else 0

    def _own_inputs(self, inputs):
        self.moved = False
        if self.settings is not self.known:
            self.known = self.settings
            self.in_force = (self.mode(), self.preset(), self.setting("module.unconfirmed"))
        inputs[values.MODE], inputs[values.PRESET], inputs[values.LIMITS_UNCONFIRMED] = self.in_force
        inputs[values.WARMING_UP] = 1 if self.warming_left else 0
        inputs[values.MEMORY_FAULT] = self.memory_fault
        failed = self.self_test.failed or self.stuck or self.rail_fault
        inputs[values.SELF_TEST_FAILED] = 1 if failed else 0
        inputs[values.CYLINDER] = self.cylinder.minutes
        inputs[values.CALIBRATION_DUE] = self.calibration_due
        inputs[values.CLOCK_UNSET] = self.clock_unset
        if self.log.next_serial != self.log_seen:
            self.log_seen = self.log.next_serial
            self.log_fill = self.log.fill()
        inputs[values.LOG_FILL] = self.log_fill

    def _report(self, count):
        """Send and log every transition of this step."""
        for index in range(count):
            row, code, priority, flags, value, limit, cause = self.engine.transition(index)
            self.records.put(m.ALARM, (row, code, priority, flags, value, limit, cause))
            weight = log_codes.WEIGHT_HIGH if priority == k.HIGH else None
            self.log.add(log_codes.ALARM, log_codes.alarm_first(row, code, priority, flags),
                         k.NONE if value is None else value, k.NONE if limit is None else limit,
                         self.records.tick, weight)
        self.engine.clear()

    def declare_warming_up(self, seconds):
        """Begin or end (0) a declared warming up, never longer than the setting allows.

        Return False when one was declared within the last two hours: after later restarts the limits stay
        in force (practice of the trade, the two hours without a source).
        """
        tick, last = self.records.tick, self.warmed_tick
        if seconds and last is not None and (tick - last) & 0xFFFFFFFF < WARM_AGAIN_MS:
            return False
        if seconds:
            self.warmed_tick = tick
        self.warming_left = min(seconds * STEPS_A_SECOND, self.setting("oxygen.warming_up"))
        self.note(log_codes.WARMING_UP, self.warming_left // STEPS_A_SECOND)
        return True

    def change(self, wanted):
        """Put a whole set of settings in force; return None, or (reason number, setting id, sentence).

        Written to flash first; each change is logged, and the new set goes up.
        """
        refused = s.check(wanted)
        if refused:
            return refused
        before = self.settings
        if list(wanted) == before:
            return None
        if not self.store.save(wanted):
            self.memory_fault = 1
            self.moved = True
            return s.FLASH_FAILED, 0, "the flash did not take the settings; the old ones stay in force"
        self.settings = self.store.values
        for setting in s.SETTINGS:
            if before[setting.id] != wanted[setting.id]:
                self.note(log_codes.SETTING, setting.id | (self.store.version & 0xFFFF) << 8,
                          wanted[setting.id], before[setting.id])
        self.table = compile_table(self.settings)
        self.engine.set_table(self.table)
        self.send_settings()
        return None

    def _set(self, name, value):
        wanted = list(self.settings)
        wanted[s.ID_OF[name]] = value
        return self.change(wanted)

    def set_mode(self, mode):
        """Change the mode; return as `change`."""
        old = self.mode()
        refused = self._set("module.mode", mode)
        if not refused and mode != old:
            self.note(log_codes.MODE, old, mode)
        return refused

    def confirm_limits(self):
        """Take the limits in force as confirmed; return as `change`."""
        refused = self._set("module.unconfirmed", 0)
        if not refused:
            self.note(log_codes.LIMITS_CONFIRMED, 0, self.store.version)
        return refused

    def send_settings(self):
        """Send the settings in force up."""
        version = self.store.version & 0xFFFF
        self.records.settings(version, digest.settings_digest(self.settings), self.settings)

    def send_calibrations(self):
        """Send where each channel's gain and offset come from."""
        for channel in range(len(CHANNELS)):
            row = self.calibrations.row(channel)
            if row is not None:
                in_force = self.calibrations.vouches(channel, row, self.settings)
                self.records.calibration(channel, row, in_force)

    def is_quiet(self):
        """Tell whether nothing of medium or high priority stands: only then lamps may be tested.

        But for a failed test itself, which another test may end.
        """
        return all([self.engine.state[k.G_SIZE + row * k.S_SIZE + k.S_PRIORITY] < k.MEDIUM
                    for row in self.engine.standing() if row != SELF_TEST_FAILED])


# What each step looks at, as globals of this module: one look-up each.
OXYGEN = values.OXYGEN
OXYGEN_FALL = values.OXYGEN_FALL
OXYGEN_STATE = values.OXYGEN_STATE
NONE = k.NONE
OUT = k.G_OUT
