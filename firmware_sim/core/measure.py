"""All measurement together: a block of samples in, the engine's inputs and the second's trend out."""

from firmware_sim.contract import NONE, SUPPLY_BLOCK, channels, values
from firmware_sim.contract import messages as m
from firmware_sim.contract.commands import BUTTON_WINDOW
from firmware_sim.contract.settings import ID_OF
from firmware_sim.core.battery import Battery
from firmware_sim.core.breathing import Breathing
from firmware_sim.core.oxygen import STARTING, UNKNOWN, Oxygen
from firmware_sim.core.records import bounded
from firmware_sim.core.sensors import Sensors
from firmware_sim.core.supply import Supply
from firmware_sim.kernels import steps

U16 = 65534
DAY_S = 86400
# The adapter is plugged and fed above this, in mV; the module's own cell never reaches it.
ADAPTER_MV = 4500


class Slow:
    """One slow channel: `value` in the wire's steps, None where not fitted or not seen yet."""

    def __init__(self, channel_id, settings):
        _, name, _, scale, low, high, value_low, value_high, _ = channels.channel(channel_id)
        self.codes = high - low
        self.span = int((value_high - value_low) * scale + 0.5)
        self.offset_id = ID_OF["calibration." + name + "_offset"]
        self.gain_id = ID_OF["calibration." + name + "_gain"]
        self.value = None
        self.configure(settings)

    def configure(self, settings):
        """Take the calibration in force."""
        self.offset = settings[self.offset_id]
        self.gain = settings[self.gain_id]

    def take(self, code):
        """Convert one code; None leaves the last value."""
        if code is not None:
            value = ((code - self.offset) * self.span + (self.codes >> 1)) // self.codes
            value += value * (self.gain - 16384) >> 14
            self.value = bounded(value, 0, U16)


class Measure:
    """Measure: `begin` before the kernel, `step` after it (`run` is what the kernel is told and says).

    `wave`: the block's circuit pressure ('h', 0.01 cmH2O). `news`: supply or breathing have records to send.
    """

    def __init__(self, kernels, settings):
        self.supply = Supply(kernels, settings)
        self.run = self.supply.state.run
        self.breathing = Breathing(kernels, settings)
        self.oxygen = Oxygen(kernels, settings)
        self.sensors = Sensors(kernels)
        self.battery = Battery(kernels, settings)
        self.rail = Slow(channels.RAIL, settings)
        self.product_pressure = Slow(channels.PRODUCT_PRESSURE, settings)
        self.battery_voltage = Slow(channels.BATTERY_VOLTAGE, settings)
        self.ups_current = Slow(channels.UPS_CURRENT, settings)
        self.surge_peak = Slow(channels.SURGE_PEAK, settings)
        self.slow = (
            self.rail, self.product_pressure, self.battery_voltage, self.ups_current, self.surge_peak)
        self.wave = self.breathing.wave
        self.today = 0
        self.news = False
        self.alive_min = settings[ID_OF["supply.output_lost"]]

    def configure(self, settings):
        """Take other settings in force."""
        self.supply.configure(settings)
        self.breathing.configure(settings)
        self.oxygen.configure(settings)
        self.battery.configure(settings, self.today)
        self.alive_min = settings[ID_OF["supply.output_lost"]]
        for channel in self.slow:
            channel.configure(settings)

    def new_day(self, today, settings):
        """Take the day since 1970-01-01; 0: the clock isn't set."""
        if today != self.today:
            self.today = today
            self.battery.configure(settings, today)

    def begin(self, block, inputs):
        """Take what is due of the slow channels."""
        if block.oxygen is not None:
            self.oxygen.sample(block.oxygen)
            self.sensors.oxygen(block.oxygen)
            inputs[values.OXYGEN] = self.oxygen.value
        self.run[OXYGEN_DUE] = block.later_step
        self.run[OXYGEN_CODE] = block.later_oxygen
        self.run[OXYGEN_HIDDEN] = 1 if inputs[values.OXYGEN_STATE] in UNKNOWN else 0
        if block.rail is not None:
            self._slow(block, inputs)
        self.supply.state.begin()

    def step(self, count, block, inputs, warming_up):
        """Look after what the kernel measured in `count` steps of a block; True when they end a second."""
        what = self.run[WHAT]
        supply = self.supply
        supply.step(count)
        if 0 < block.later_step < count:
            self.sensors.oxygen(block.later_oxygen)
        if what & steps.BREATHS:
            self.breathing.gather()
        state = supply.state
        second = what & steps.SECOND_ENDED
        if state.changed or second:
            inputs[values.SUPPLY_STATE] = state.state
            inputs[values.UNDETERMINED_AGE] = state.undetermined_steps or NONE
        self.news = bool(supply.records or supply.captures or state.changed or self.breathing.records)
        if second:
            self._second(block, (block.first + count - 1) * SUPPLY_BLOCK, inputs, warming_up)
        return second

    def _slow(self, block, inputs):
        self.sensors.rail(block.rail)
        self.rail.take(block.rail)
        raw = self.sensors.raw
        raw.one(channels.PRODUCT_PRESSURE, block.product_pressure)
        raw.one(channels.BATTERY_VOLTAGE, block.battery_voltage)
        raw.one(channels.UPS_CURRENT, block.ups_current)
        raw.one(channels.SURGE_PEAK, block.surge_peak)
        self.product_pressure.take(block.product_pressure)
        self.battery_voltage.take(block.battery_voltage)
        self.ups_current.take(block.ups_current)
        self.surge_peak.take(block.surge_peak)
        self.supply.state.contact = block.ups_contact
        inputs[values.RAIL] = self.rail.value

    def _second(self, block, first, inputs, warming_up):
        supply, oxygen, sensors = self.supply, self.oxygen, self.sensors
        self.breathing.second()
        sensors.second(block.supply_in, block.supply_out, first, self.breathing.words)
        conditions = sensors.conditions
        supply.doubt(conditions[channels.SUPPLY_IN], conditions[channels.SUPPLY_OUT])
        alive = supply.is_alive(self.alive_min)
        oxygen.second(alive, self.product_pressure.value, conditions[channels.OXYGEN], warming_up)
        self.battery.second(supply.state.state, self.battery_voltage.value, self.ups_current.value)
        inputs[values.OXYGEN_FALL] = oxygen.fall
        inputs[values.OXYGEN_STATE] = oxygen.state
        inputs[values.SOURCE_STOPPED] = oxygen.stopped
        inputs[values.FREQUENCY] = supply.in_frequency or NONE
        inputs[values.BATTERY] = self.battery.left
        inputs[values.MODE_DOUBTFUL] = 0 if self.breathing.suggested_mode() is None else 1
        inputs[values.DIPS_HOUR] = supply.dips_hour
        inputs[values.RESTLESS] = supply.restless()
        inputs[values.SENSOR_SUPPLY_IN] = conditions[channels.SUPPLY_IN]
        inputs[values.SENSOR_SUPPLY_OUT] = conditions[channels.SUPPLY_OUT]
        inputs[values.SENSOR_PRESSURE] = conditions[channels.PRESSURE]
        inputs[values.SENSOR_OXYGEN] = conditions[channels.OXYGEN]

    def flags(self, system):
        """Return the bits of `trend.flags`."""
        supply = self.supply
        flags = m.FLAG_CLIPPED_IN if supply.in_clipped else 0
        flags |= m.FLAG_CLIPPED_OUT if supply.out_clipped else 0
        flags |= m.FLAG_BATTERY_PROVEN if self.battery.proven else 0
        flags |= m.FLAG_BATTERY_BY_VOLTAGE if self.battery.by_voltage else 0
        flags |= m.FLAG_STARTING if self.oxygen.state == STARTING else 0
        flags |= m.FLAG_MAINS_POWERED if (self.rail.value or 0) >= ADAPTER_MV else 0
        flags |= m.FLAG_WARMING_UP if system.warming_left else 0
        flags |= m.FLAG_AUDIO_PAUSED if system.engine.pause_left() else 0
        flags |= m.FLAG_CLOCK_SET if not system.clock_unset else 0
        flags |= m.FLAG_LIMITS_UNCONFIRMED if system.setting("module.unconfirmed") else 0
        since = system.buttons.since_press
        return flags | (m.FLAG_BUTTON_OPEN if since is not None and since <= BUTTON_WINDOW else 0)

    def trend(self, system):
        """Return the fields of message `trend` for the second that just ended."""
        supply, breathing, oxygen = self.supply, self.breathing, self.oxygen
        left = system.engine.pause_left()
        return (
            bounded(supply.in_rms, 0, U16), bounded(supply.in_min, 0, U16), bounded(supply.in_max, 0, U16),
            bounded(supply.out_rms, 0, U16), bounded(supply.out_min, 0, U16), bounded(supply.out_max, 0, U16),
            supply.in_frequency, supply.out_frequency,
            breathing.mean, breathing.low, breathing.high,
            None if oxygen.value == NONE else bounded(oxygen.value, 0, U16), self.rail.value,
            bounded(self.battery.left_s, 0, U16),
            supply.state.state, oxygen.state, system.mode(), system.preset(),
            self.sensors.packed(), self.flags(system), min(255, (left + 9) // 10),
            self.product_pressure.value, self.battery_voltage.value,
            self.ups_current.value, self.surge_peak.value,
        )


# What each step looks at, as globals of this module: one look-up each.
WHAT = steps.WHAT
OXYGEN_DUE = steps.OXYGEN_DUE
OXYGEN_CODE = steps.OXYGEN_CODE
OXYGEN_HIDDEN = steps.OXYGEN_HIDDEN
