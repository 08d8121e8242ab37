"""What the firmware does each second and on request: trends, cycles, captures, health, services."""

from firmware_sim.contract import NONE, channels, log_codes, values
from firmware_sim.contract import commands as c
from firmware_sim.contract import messages as m
from firmware_sim.contract import settings as s
from firmware_sim.core.records import bounded
from firmware_sim.core.ring import BLOCK

HEALTH_SECONDS = 10
STEPS_A_MINUTE = 600
# A pressure-hold test ends above this, in 0.01 cmH2O.
HOLD_ABORT = 4000
U16 = 65534
DAY_S = 86400


def breath_fields(fields):
    """Return a breath's fields held within the message's bounds."""
    kind, peak, plateau, end, mean, lowest, ti, te, rate, flags = fields
    return (
        kind, bounded(peak, -32767, 32767), bounded(plateau, -32767, 32767), bounded(end, -32767, 32767),
        bounded(mean, -32767, 32767), bounded(lowest, -32767, 32767),
        bounded(ti, 0, U16), bounded(te, 0, U16), bounded(rate, 0, U16), flags & 255)


class Services:
    """Serve the app; `hold` stage of a pressure-hold test, `battery_steps` of a discharge test or -1."""

    def __init__(self, app):
        self.app = app
        self.hold = 0
        self.battery_steps = -1
        self.health_in = 1
        self.health_s = 1
        self.watching = False

    # What commands ask for (see core.commands.Commands).

    def set_clock(self, unix_s, unix_ms):
        """Set the clock; return a command's result."""
        if unix_ms > 999:
            return c.REFUSED
        self.app.hal.rtc_set(unix_s, unix_ms)
        return c.DONE

    def battery_test(self, start, day):
        """Begin (1) or end (0) the guided discharge test; what it proves becomes a setting."""
        system = self.app.system
        if start:
            self.battery_steps = 0
            self.app.measure.battery.begin_test()
            self.watching = True
            system.note(log_codes.BATTERY_TEST, 1)
            return c.STARTED
        minutes = self.battery_steps // STEPS_A_MINUTE
        self.battery_steps = -1
        if minutes < 1:
            return c.NOTHING_TO_DO
        wanted = list(system.settings)
        wanted[s.ID_OF["battery.proven_minutes"]] = minutes
        wanted[s.ID_OF["battery.proven_day"]] = day
        self.app.measure.battery.tested(wanted)
        if system.change(wanted) is not None:
            return c.REFUSED
        self.settings_changed()
        system.note(log_codes.BATTERY_TEST, 0, minutes)
        return c.DONE

    def ask_capture(self, tap):
        """Ask for a waveform now; both taps are sent."""
        if tap > 1:
            return c.REFUSED
        return c.STARTED if self.app.measure.supply.ask() else c.BUSY

    def pressure_hold(self, stage):
        """Go on with the leak test: 1 asks, 2 confirms, 0 ends; in this order only."""
        if stage > 2 or (stage and stage != self.hold + 1):
            return c.REFUSED
        self.hold = stage
        self.watching = True
        return c.STARTED if stage else c.DONE

    def new_patient(self, preset):
        """Let nothing of the last patient live on."""
        self.app.measure.breathing.forget()

    def settings_changed(self):
        """Measure by the settings in force."""
        self.app.measure.configure(self.app.system.settings)
        self.app.link.nominal(self.app.system.settings)

    def breath(self):
        """Return (peak, end-expiratory, rate, age) of the breath seen last, or None."""
        inputs = self.app.inputs
        names = (values.PEAK, values.END_EXPIRATORY, values.RATE, values.BREATH_AGE)
        seen = tuple([inputs[name] for name in names])
        return None if NONE in seen else seen

    # What each step and second brings.

    def watch(self, inputs):
        """Watch over what a command began; once a step while something runs."""
        if self.hold and inputs[values.PRESSURE_MAX] > HOLD_ABORT:
            self.hold = 0
            self.app.system.note(log_codes.COMMAND, c.PRESSURE_HOLD | c.REFUSED << 8)
        if self.battery_steps >= 0 and inputs[values.SUPPLY_STATE] == channels.STATE_STORED_ENERGY:
            self.battery_steps += 1

    def found(self, measure):
        """Send the breaths and what the supply side found in this step."""
        records = self.app.records
        supply, breathing = measure.supply, measure.breathing
        for fields in breathing.records:
            records.put(m.BREATH, breath_fields(fields))
        breathing.records.clear()
        for fields in supply.records:
            records.put(m.SUPPLY_EVENT, fields)
        supply.records.clear()
        for capture in supply.captures:
            self._capture(capture)
            capture.release()
        supply.captures.clear()
        if supply.state.changed:
            records.put(m.SUPPLY_STATE, supply.state.values())

    def _capture(self, capture):
        records = self.app.records
        for tap in range(2):
            start = (capture.start_tick, capture.start_us)
            records.capture(capture.capture_id, capture.event_id, capture.kind, tap, start,
                            capture.gain[tap], capture.offset[tap], capture.codes[tap][:capture.count])
            count = capture.rms_count[tap]
            if count:
                first_us = capture.start_us + capture.rms_first[tap] * 625 // 2
                tick = (capture.start_tick + first_us // 1000) & 0xFFFFFFFF
                rms = [bounded(value, 0, U16) for value in capture.rms[tap][:count]]
                records.put(m.HALF_CYCLES, (capture.capture_id, tap, tick, capture.period_us[tap]), rms)

    def second(self, measure):
        """Send what belongs to the second that ends with this step."""
        app = self.app
        app.records.put(m.TREND, measure.trend(app.system))
        supply = measure.supply
        rms = [bounded(value, 0, U16) for value in supply.groups_in] + [
            bounded(value, 0, U16) for value in supply.groups_out]
        counts = (len(supply.groups_in), len(supply.groups_out), supply.flagged_in, supply.flagged_out)
        app.records.put(m.SUPPLY_CYCLES, counts, rms)
        for tap, tick, period, values_of in supply.runs:
            run = [bounded(value, 0, U16) for value in values_of]
            app.records.put(m.HALF_CYCLES, (0, tap, tick, period), run)
        supply.runs.clear()
        self.health_in -= 1
        if self.health_in == 0:
            self._health()
            app.records.put(m.RAW, (self.health_s,), measure.sensors.raw.take())
            self.health_in = self.health_s = HEALTH_SECONDS
            unix_s, _, is_set = app.hal.rtc()
            measure.new_day(unix_s // DAY_S if is_set else 0, app.system.settings)

    def _health(self):
        app = self.app
        hal, ring, link, log = app.hal, app.ring, app.link, app.system.log
        unix_s, unix_ms, is_set = hal.rtc()
        app.records.put(m.HEALTH, (
            unix_s, unix_ms, 1 if is_set else 0, hal.loop_us(), ring.blocks * BLOCK, ring.fill(),
            hal.memory_free(), link.sent, link.resent, link.bad, ring.lost, hal.flash_wear(),
            min(log.boot, 65535), hal.reset_cause(), log.fill()))
