"""What the module measures: one row a channel.

Row: (id, name, unit, wire_scale, code_low, code_high, value_low, value_high, rate_hz).
`wire_scale` is the number of wire steps in one unit (2 300 V*100 -> 23000). `code_*` are the converter's
ends after mid-scale removal, `value_*` the quantity at those ends, in the unit. Ranges are this project's
design choice; the +-800 V of the supply taps leaves room for a lost neutral (400 V rms).
"""

SUPPLY_IN = 0
SUPPLY_OUT = 1
PRESSURE = 2
OXYGEN = 3
RAIL = 4
PRODUCT_PRESSURE = 5
BATTERY_VOLTAGE = 6
UPS_CURRENT = 7
SURGE_PEAK = 8

CHANNELS = (
    (SUPPLY_IN, "supply_in", "V", 100, -2048, 2047, -800.0, 799.609375, 3200),
    (SUPPLY_OUT, "supply_out", "V", 100, -2048, 2047, -800.0, 799.609375, 3200),
    (PRESSURE, "pressure", "cmH2O", 100, 0, 4095, -30.0, 120.0, 100),
    (OXYGEN, "oxygen", "%", 100, 0, 4095, 0.0, 110.0, 2),
    (RAIL, "rail", "V", 1000, 0, 4095, 0.0, 6.6, 1),
    (PRODUCT_PRESSURE, "product_pressure", "kPa", 10, 0, 4095, 0.0, 250.0, 1),
    (BATTERY_VOLTAGE, "battery_voltage", "V", 100, 0, 4095, 0.0, 300.0, 1),
    (UPS_CURRENT, "ups_current", "A", 100, 0, 4095, 0.0, 40.0, 1),
    (SURGE_PEAK, "surge_peak", "V", 1, 0, 4095, 0.0, 6000.0, 1),
)

# Channels above this id need hardware that a plain module doesn't have; absent ones read None.
FIRST_OPTIONAL = PRODUCT_PRESSURE

# Condition of a sensor, worst last. The same numbers travel in `trend.sensors`, three bits a channel.
SENSOR_OK = 0
SENSOR_NOISY = 1
SENSOR_DRIFT = 2
SENSOR_STUCK = 3
SENSOR_SATURATED = 4
SENSOR_OPEN = 5
SENSOR_SHORT = 6
SENSOR_CONDITIONS = ("ok", "noisy", "drift", "stuck", "saturated", "open", "short")

# Supply state, inferred from both taps with evidence; undetermined is never drawn as normal.
STATE_UNDETERMINED = 0
STATE_NORMAL = 1
STATE_STORED_ENERGY = 2
STATE_BYPASS = 3
STATE_DEAD = 4
SUPPLY_STATES = ("undetermined", "normal", "stored_energy", "bypass", "dead")

# UPS classes of IEC 62040-3.
UPS_CLASSES = ("VFI", "VI", "VFD")

MODE_STANDBY = 0
MODE_VENTILATOR = 1
MODE_HAND = 2
MODE_SPONTANEOUS = 3
MODES = ("standby", "ventilator", "hand", "spontaneous")

PRESET_ADULT = 0
PRESET_CHILD = 1
PRESET_INFANT = 2
PRESETS = ("adult", "child", "infant")

OXYGEN_STATES = ("current", "not_current", "implausible", "probably_cylinder", "fault", "starting")

BREATH_KINDS = ("ventilator", "hand", "patient", "undetermined")
SUPPLY_EVENT_KINDS = ("dip", "swell", "interruption")
EVENT_PHASES = ("open", "closed")
CAPTURE_KINDS = ("event", "snapshot", "asked")
HALF_CYCLE_TAPS = ("none", "before", "both")


def channel(channel_id):
    """Return the row of a channel id."""
    return CHANNELS[channel_id]
