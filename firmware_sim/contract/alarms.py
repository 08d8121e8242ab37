"""The alarm table: one row a condition, the only place that says what alarms, when, and how loudly.

The module's engine, the rehearsal, the drill, the tests and the documents all read this table. Columns:

id, name, value (input of `values.py`), kind (above, below, stale, rate, state), limit (a setting's name; for
kind state the set of codes as bits), deadband (setting's name or 0: normal only below limit - deadband),
on_delay and off_delay (setting's name, or steps of 100 ms), priority, latching (signals go on after the
condition until somebody acts), may_pause (its sound may be paused), may_acknowledge (while present),
from_page (a page may pause or acknowledge it), causes (rows under which it is shown without sounding; supply
and source rows only), modes, gate (another input and the codes that let the row be judged), escalate
(setting's name: unacknowledged for so long, it rises one priority), re_alarm (an acknowledgement ends by
itself), circuit (acknowledge and pause together silence it for 120 s at most), from_start (stands from
power-up until the opposite is first seen), delay_max (hard maximum of the on-delay, steps; None: as the
setting's bounds), note (where the numbers come from).

A missing input (NONE) starts nothing and ends nothing, but a stale row alarms on it.
Priorities follow harm and onset (IEC 60601-1-8, Table 1, from memory) and the trade's practice.
"""

from collections import namedtuple

from firmware_sim.contract import values as v
from firmware_sim.kernels.alarms import (
    ABOVE,
    BELOW,
    HIGH,
    LOW,
    MEDIUM,
    RATE,
    STALE,
    STATE,
)

PRIORITIES = ("none", "low", "medium", "high")
KINDS = ("above", "below", "stale", "rate", "state")

TRANSITIONS = (
    "none", "raised", "cleared", "latched", "acknowledged", "escalated", "reminded", "re_alarmed",
    "audio_paused", "pause_ended", "ungrouped", "restored", "grouped",
)
PHASES = ("idle", "pending", "active", "leaving", "latched")

# What each phase does with each event; everything else an event may do is in the engine's `attend`.
# 'ignored' is a decision, not an omission.
PHASE_EVENTS = {
    "idle": {
        "true": "pending, or active when the on-delay is 0", "false": "ignored", "missing": "ignored",
        "closed": "ignored", "delay over": "ignored", "acknowledge": "ignored", "pause": "ignored",
        "time": "ignored", "reset": "idle",
    },
    "pending": {
        "true": "ignored", "false": "idle", "missing": "idle", "closed": "idle", "delay over": "active",
        "acknowledge": "ignored", "pause": "ignored", "time": "ignored", "reset": "idle",
    },
    "active": {
        "true": "ignored", "false": "leaving, or its end when the off-delay is 0", "missing": "ignored",
        "closed": "its end", "delay over": "ignored", "acknowledge": "silent", "pause": "silent",
        "time": "escalates, reminds, sounds again", "reset": "pending, or latched where it latches",
    },
    "leaving": {
        "true": "active", "false": "ignored", "missing": "ignored", "closed": "its end",
        "delay over": "its end: idle, or latched", "acknowledge": "silent", "pause": "silent",
        "time": "escalates, reminds, sounds again", "reset": "idle, or latched where it latches",
    },
    "latched": {
        "true": "active", "false": "ignored", "missing": "ignored", "closed": "ignored",
        "delay over": "ignored", "acknowledge": "idle", "pause": "silent", "time": "escalates",
        "reset": "latched",
    },
}
EVENTS = ("true", "false", "missing", "closed", "delay over", "acknowledge", "pause", "time", "reset")

ALL_MODES = 0b1111
STANDBY = 0b0001
VENTILATOR = 0b0010
HAND = 0b0100
SPONTANEOUS = 0b1000
BREATHING = VENTILATOR | HAND | SPONTANEOUS

Row = namedtuple("Row", (
    "id", "name", "value", "kind", "limit", "deadband", "on_delay", "off_delay", "priority", "latching",
    "may_pause", "may_acknowledge", "from_page", "causes", "modes", "gate", "escalate", "re_alarm", "circuit",
    "from_start", "delay_max", "group", "note",
))

_OPTIONS = {
    "deadband": 0, "on": 0, "off": 0, "latching": False, "may_pause": True, "may_acknowledge": True,
    "from_page": True, "causes": (), "modes": ALL_MODES, "gate": None, "escalate": None, "re_alarm": True,
    "from_start": False, "delay_max": None,
}


def _codes(*codes):
    bits = 0
    for code in codes:
        bits |= 1 << code
    return bits


def _build(lines):
    """Turn the written lines into rows with ids and all columns."""
    rows = []
    ids = {}
    for group, name, value, kind, limit, priority, options, note in lines:
        for key in options:
            if key not in _OPTIONS:
                raise ValueError("row " + name + " has an unknown option " + key)
        o = dict(_OPTIONS)
        o.update(options)
        ids[name] = len(rows)
        rows.append(Row(
            len(rows), name, value, kind, limit, o["deadband"], o["on"], o["off"], priority, o["latching"],
            o["may_pause"], o["may_acknowledge"], o["from_page"], tuple([ids[c] for c in o["causes"]]),
            o["modes"], o["gate"], o["escalate"], o["re_alarm"] and priority > LOW, group == "circuit",
            o["from_start"], o["delay_max"], group, note,
        ))
    return tuple(rows)


_STUCK_OR_WORSE = _codes(3, 4, 5, 6)
_DOUBTFUL = _codes(1, 2)
_ON_BATTERY = (v.SUPPLY_STATE, _codes(2))
_OFF_BATTERY = (v.SUPPLY_STATE, _codes(0, 1, 3))
_NOT_WARMING = (v.WARMING_UP, _codes(0))

# A line: group, name, value, kind, limit, priority, options, note. Causes stand before their consequences.
ROWS = _build((
    # Circuit and breath: never under a cause, always sound; no page silences what says 'no breath'.
    ("circuit", "pressure_high", v.PRESSURE_MAX, ABOVE, "pressure.high", HIGH,
     {"deadband": "pressure.deadband", "off": "pressure.high_off_delay", "may_pause": False,
      "may_acknowledge": False, "from_page": False, "delay_max": 0},
     "limit 10-15 above the peak or fixed 35, rarely above 40 cmH2O (texts); no delay, within the breath"),
    ("circuit", "pressure_sustained", v.PRESSURE_MIN, ABOVE, "pressure.sustained", HIGH,
     {"deadband": "pressure.deadband", "on": "pressure.sustained_delay", "modes": BREATHING,
      "from_page": False, "delay_max": 150},
     "15 cmH2O for 15 s (from memory); end-expiratory + 10 for 10-15 s (trade)"),
    ("circuit", "disconnected", v.PRESSURE_MAX, BELOW, "pressure.disconnect", HIGH,
     {"deadband": "pressure.deadband", "on": "pressure.disconnect_delay", "modes": VENTILATOR,
      "from_page": False, "from_start": True, "delay_max": 200},
     "peak - 5, never under end-expiratory + 3; max(10 s, 1.3 cycles), 20 s at most, child 10 s (trade)"),
    ("circuit", "no_breath", v.BREATH_AGE, STALE, "breath.no_breath", HIGH,
     {"modes": VENTILATOR | HAND, "from_page": False, "delay_max": 200},
     "apnoea 20 s at most (teaching texts)"),
    ("circuit", "no_effort", v.BREATH_AGE, STALE, "breath.no_effort", HIGH,
     {"modes": SPONTANEOUS, "from_page": False, "delay_max": 200},
     "no negative swing: apnoea 20 s at most (teaching texts)"),
    ("circuit", "pressure_sensor_fault", v.SENSOR_PRESSURE, STATE, _STUCK_OR_WORSE, HIGH,
     {"on": "sensor.delay", "off": "sensor.off_delay", "modes": BREATHING, "from_page": False,
      "delay_max": 100},
     "a stuck sensor and apnoea look the same, so it has the priority of what it hides (trade)"),
    ("circuit", "below_ambient", v.PRESSURE_MIN, BELOW, "pressure.below_ambient", HIGH,
     {"deadband": "pressure.deadband", "on": "pressure.below_ambient_delay", "modes": BREATHING,
      "delay_max": 20}, "below -10 cmH2O (teaching text) for 1 s (trade)"),
    ("circuit", "pressure_low", v.PEAK, BELOW, "pressure.low", MEDIUM,
     {"deadband": "pressure.deadband", "on": "pressure.low_delay", "modes": VENTILATOR | HAND,
      "escalate": "alarm.escalate", "delay_max": 300},
     "5-15 below the peak or fixed 10 cmH2O (teaching texts): a leak"),
    ("circuit", "end_expiratory_high", v.END_EXPIRATORY, ABOVE, "end_expiratory.high", MEDIUM,
     {"deadband": "pressure.deadband", "on": "end_expiratory.delay", "modes": BREATHING,
      "escalate": "alarm.escalate", "delay_max": 300}, "no source, common practice"),
    ("circuit", "end_expiratory_low", v.END_EXPIRATORY, BELOW, "end_expiratory.low", MEDIUM,
     {"deadband": "pressure.deadband", "on": "end_expiratory.delay", "modes": VENTILATOR | HAND,
      "escalate": "alarm.escalate", "delay_max": 300}, "no source, common practice"),
    ("circuit", "rate_high", v.RATE, ABOVE, "rate.high", MEDIUM,
     {"deadband": "rate.deadband", "on": "rate.delay", "modes": VENTILATOR | SPONTANEOUS,
      "escalate": "alarm.escalate", "delay_max": 300}, "no source, common practice"),
    ("circuit", "rate_low", v.RATE, BELOW, "rate.low", MEDIUM,
     {"deadband": "rate.deadband", "on": "rate.delay", "modes": VENTILATOR | SPONTANEOUS,
      "escalate": "alarm.escalate", "delay_max": 300}, "no source, common practice"),
    ("circuit", "standby_breathing", v.BREATH_AGE, BELOW, "breath.standby", MEDIUM,
     {"on": "breath.standby_delay", "off": "breath.standby_delay", "modes": STANDBY},
     "breaths are seen while the mode says nobody is there; no source, common practice"),

    # Supply: interruptions first, they are the causes of what follows.
    ("supply", "supply_dangerous", v.SUPPLY_IN_HIGH, ABOVE, "supply.dangerous", HIGH,
     {"deadband": "supply.deadband", "on": "supply.dangerous_delay", "off": "supply.dangerous_off_delay",
      "latching": True},
     "a lost neutral brings up to 400 V rms, which destroys equipment (definition)"),
    ("supply", "output_dangerous", v.SUPPLY_OUT_HIGH, ABOVE, "supply.output_dangerous", HIGH,
     {"deadband": "supply.deadband", "on": "supply.dangerous_delay", "off": "supply.dangerous_off_delay",
      "latching": True, "causes": ("supply_dangerous",)},
     "the concentrator hangs on the output; no source, common practice"),
    ("supply", "supply_interrupted", v.SUPPLY_IN_HIGH, BELOW, "supply.interrupted", MEDIUM,
     {"deadband": "supply.deadband", "on": "supply.delay", "off": "supply.off_delay"},
     "well above the tens of volts that a dead line floats at; no source, common practice"),
    ("supply", "output_lost", v.SUPPLY_OUT_HIGH, BELOW, "supply.output_lost", HIGH,
     {"deadband": "supply.deadband", "on": "supply.output_delay", "off": "supply.output_off_delay"},
     "nothing behind the UPS runs; no source, common practice"),
    ("supply", "output_low", v.SUPPLY_OUT_LOW, BELOW, "supply.output_low", MEDIUM,
     {"deadband": "supply.deadband", "on": "supply.delay", "off": "supply.off_delay",
      "causes": ("output_lost",)}, "no source, common practice"),
    ("supply", "supply_below_window", v.SUPPLY_IN_LOW, BELOW, "supply.window_low", MEDIUM,
     {"deadband": "supply.deadband", "on": "supply.delay", "off": "supply.off_delay",
      "causes": ("supply_interrupted",)}, "the UPS accepts 69.6 % of rated (160 V at 230 V)"),
    ("supply", "supply_above_window", v.SUPPLY_IN_HIGH, ABOVE, "supply.window_high", MEDIUM,
     {"deadband": "supply.deadband", "on": "supply.delay", "off": "supply.off_delay",
      "causes": ("supply_dangerous",)}, "the UPS accepts 130.4 % of rated (300 V at 230 V)"),
    ("supply", "stored_energy", v.SUPPLY_STATE, STATE, _codes(2), MEDIUM,
     {"on": "supply.state_delay", "off": "supply.off_delay",
      "causes": ("supply_interrupted", "supply_below_window", "supply_above_window")},
     "the battery is being used (trade: medium)"),
    ("supply", "battery_very_short", v.BATTERY, BELOW, "battery.very_short", HIGH,
     {"deadband": "battery.deadband", "on": "battery.delay", "gate": _ON_BATTERY}, "5 min left (trade)"),
    ("supply", "battery_short", v.BATTERY, BELOW, "battery.short", MEDIUM,
     {"deadband": "battery.deadband", "on": "battery.delay", "gate": _ON_BATTERY,
      "causes": ("battery_very_short",)}, "10 min left (trade)"),
    ("supply", "battery_reserve_low", v.BATTERY, BELOW, "battery.short", LOW,
     {"deadband": "battery.deadband", "on": "battery.delay", "gate": _OFF_BATTERY},
     "not in use, but would last less than 10 min (trade)"),
    ("supply", "bypass_restless", v.RESTLESS, STATE, _codes(1), MEDIUM,
     {"on": "supply.bypass_delay", "off": "supply.off_delay", "gate": (v.SUPPLY_STATE, _codes(3))},
     "no battery behind the output and the mains is restless (trade: medium)"),
    ("supply", "bypass", v.SUPPLY_STATE, STATE, _codes(3), LOW,
     {"on": "supply.bypass_delay", "off": "supply.state_delay", "causes": ("bypass_restless",)},
     "no battery behind the output, good mains (trade: low)"),
    ("supply", "battery_not_proven", v.UNDETERMINED_AGE, ABOVE, "supply.undetermined", LOW,
     {"gate": (v.SUPPLY_STATE, _codes(0))},
     "after 10 min undetermined it reads 'battery support not proven' (trade)"),
    ("supply", "frequency_low", v.FREQUENCY, BELOW, "frequency.low", LOW,
     {"deadband": "frequency.deadband", "on": "frequency.delay", "off": "supply.off_delay",
      "causes": ("supply_interrupted",)}, "5 % of nominal; no source, common practice"),
    ("supply", "frequency_high", v.FREQUENCY, ABOVE, "frequency.high", LOW,
     {"deadband": "frequency.deadband", "on": "frequency.delay", "off": "supply.off_delay",
      "causes": ("supply_interrupted",)}, "5 % of nominal; no source, common practice"),
    ("supply", "many_dips", v.DIPS_HOUR, ABOVE, "supply.dips_hour", LOW, {"off": "supply.off_delay"},
     "no source, common practice"),

    # Oxygen source. Warming up is declared by a person, and says so.
    ("source", "source_stopped", v.SOURCE_STOPPED, STATE, _codes(1), MEDIUM,
     {"on": "oxygen.stopped_delay", "off": "oxygen.off_delay", "causes": ("output_lost",)},
     "the supply is good and the source stands still: look, reset (trade)"),
    ("source", "purity_very_low", v.OXYGEN, BELOW, "oxygen.very_low", HIGH,
     {"deadband": "oxygen.deadband", "on": "oxygen.delay", "off": "oxygen.off_delay", "gate": _NOT_WARMING,
      "causes": ("output_lost",)}, "below 70 % high (trade)"),
    ("source", "purity_low", v.OXYGEN, BELOW, "oxygen.low", MEDIUM,
     {"deadband": "oxygen.deadband", "on": "oxygen.delay", "off": "oxygen.off_delay", "gate": _NOT_WARMING,
      "escalate": "alarm.escalate", "causes": ("output_lost", "purity_very_low", "source_stopped")},
     "below 82 % medium (trade)"),
    ("source", "purity_falling", v.OXYGEN_FALL, RATE, "oxygen.fall", MEDIUM,
     {"deadband": "oxygen.fall_deadband", "on": "oxygen.fall_delay", "off": "oxygen.off_delay",
      "gate": _NOT_WARMING, "causes": ("output_lost", "purity_very_low", "source_stopped", "purity_low")},
     "no source, common practice"),
    ("source", "oxygen_not_current", v.OXYGEN_STATE, STATE, _codes(1), MEDIUM,
     {"on": "oxygen.not_current_delay", "off": "oxygen.off_delay",
      "causes": ("output_lost", "source_stopped")},
     "without flow the gas at the cell is stagnant and holds its reading (trade)"),
    ("source", "oxygen_implausible", v.OXYGEN_STATE, STATE, _codes(2), LOW, {"off": "oxygen.off_delay"},
     "above 96 % plus uncertainty for 5 min with the cylinder shut (trade: low)"),
    ("source", "cylinder_in_use", v.OXYGEN_STATE, STATE, _codes(3), LOW, {"off": "oxygen.off_delay"},
     "a step above 97 % is probably cylinder (trade)"),
    ("source", "cylinder_short", v.CYLINDER, BELOW, "cylinder.short", MEDIUM,
     {"deadband": "cylinder.deadband"},
     "from a person's gauge reading and flows, counted down by the module; no source, common practice"),
    ("source", "warming_up", v.WARMING_UP, STATE, _codes(1), LOW, {},
     "purity alarms are off because a person declared warming up, 10 min at most (trade)"),

    # Technical: medium at most, except the pressure sensor above.
    ("technical", "self_test_failed", v.SELF_TEST_FAILED, STATE, _codes(1), MEDIUM, {"latching": True},
     "at power-up and on command; priority: trade"),
    ("technical", "memory_fault", v.MEMORY_FAULT, STATE, _codes(1), MEDIUM, {"latching": True},
     "priority: trade"),
    ("technical", "rail_low", v.RAIL, BELOW, "rail.low", MEDIUM,
     {"deadband": "rail.deadband", "on": "rail.delay", "off": "rail.off_delay"},
     "the module runs on its own cell; no source, common practice"),
    ("technical", "supply_in_sensor_fault", v.SENSOR_SUPPLY_IN, STATE, _STUCK_OR_WORSE, MEDIUM,
     {"on": "sensor.delay", "off": "sensor.off_delay"}, "priority: trade"),
    ("technical", "supply_out_sensor_fault", v.SENSOR_SUPPLY_OUT, STATE, _STUCK_OR_WORSE, MEDIUM,
     {"on": "sensor.delay", "off": "sensor.off_delay"}, "priority: trade"),
    ("technical", "oxygen_sensor_fault", v.SENSOR_OXYGEN, STATE, _STUCK_OR_WORSE, MEDIUM,
     {"on": "sensor.delay", "off": "sensor.off_delay"}, "priority: trade; above 103 % is a fault"),
    ("technical", "pressure_sensor_idle", v.SENSOR_PRESSURE, STATE, _STUCK_OR_WORSE, MEDIUM,
     {"on": "sensor.delay", "off": "sensor.off_delay", "modes": STANDBY}, "nobody is on the circuit"),
    ("technical", "pressure_sensor_doubtful", v.SENSOR_PRESSURE, STATE, _DOUBTFUL, MEDIUM,
     {"on": "sensor.delay", "off": "sensor.off_delay"}, "noisy or drifting; priority: trade"),
    ("technical", "supply_sensor_doubtful", v.SENSOR_SUPPLY_IN, STATE, _DOUBTFUL, LOW,
     {"on": "sensor.delay", "off": "sensor.off_delay"}, "noisy or drifting"),
    ("technical", "output_sensor_doubtful", v.SENSOR_SUPPLY_OUT, STATE, _DOUBTFUL, LOW,
     {"on": "sensor.delay", "off": "sensor.off_delay"}, "noisy or drifting"),
    ("technical", "oxygen_sensor_doubtful", v.SENSOR_OXYGEN, STATE, _DOUBTFUL, LOW,
     {"on": "sensor.delay", "off": "sensor.off_delay"}, "noisy or drifting"),
    ("technical", "preset_doubtful", v.RATE, ABOVE, "rate.adult_doubtful", LOW,
     {"deadband": "rate.deadband", "on": "rate.doubtful_delay", "off": "rate.doubtful_delay",
      "modes": VENTILATOR | SPONTANEOUS, "gate": (v.PRESET, _codes(0))},
     "breathes like a child under the adult preset; no source, common practice"),
    ("technical", "mode_doubtful", v.MODE_DOUBTFUL, STATE, _codes(1), LOW,
     {"on": "breath.mode_delay", "off": "breath.mode_delay", "modes": BREATHING},
     "the signal suggests another mode; a person sets it (trade)"),
    ("technical", "limits_unconfirmed", v.LIMITS_UNCONFIRMED, STATE, _codes(1), LOW, {},
     "after more than 30 s without power 'limits of previous use: confirm' stands (trade)"),
    ("technical", "calibration_due", v.CALIBRATION_DUE, STATE, _codes(1), LOW, {}, "priority: trade"),
    ("technical", "clock_unset", v.CLOCK_UNSET, STATE, _codes(1), LOW, {"on": "clock.delay"},
     "priority: trade"),
    ("technical", "link_lost", v.LINK_AGE, ABOVE, "link.lost", LOW, {},
     "only once it was up (trade: low)"),
    ("technical", "log_nearly_full", v.LOG_FILL, ABOVE, "log.fill", LOW, {"deadband": "log.deadband"},
     "priority: trade"),
))

COUNT = len(ROWS)
ID_OF = {row.name: row.id for row in ROWS}


def text_key(row_id):
    """Return the key of a row's text in the catalogue of the screens."""
    return "alarm." + ROWS[row_id].name
