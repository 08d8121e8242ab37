"""What the alarm engine looks at: one integer a row, renewed every 100 ms step.

Row: (id, name, unit, scale, kind). `scale` is steps in one unit. `kind` is 'level' (predicted to stay),
'age' (a time in steps of 100 ms, predicted to grow by one) or 'code' (a state number or a flag).
An input that is not available is `NONE`. The module stores every change of these inputs (message
`inputs`), so that a rehearsal replays exactly what the engine saw.

A missing input starts no alarm and ends none, except that a missing breath_age alarms. So: pressure_max and
pressure_min are the extremes within the step, missing only where the sensor gives nothing; breath_age counts
from power-up until a breath is seen, in every mode, and goes on when the sensor fails; oxygen and oxygen_fall
are missing while the reading is not current or the sensor is at fault; mode_doubtful is 1 while the signal
suggests another mode than the one set; link_age and undetermined_age are
missing until the link was up, and while the state is known; supply_*_low and *_high are the extremes of the
cycles that ended within the step; mode, preset, warming_up, limits_unconfirmed, memory_fault, clock_unset,
self_test_failed, log_fill, calibration_due and cylinder are filled in by the alarm system itself.
"""

PRESSURE_MAX = 0
PRESSURE_MIN = 1
CYCLE_AGE = 2
BREATH_AGE = 3
PEAK = 4
END_EXPIRATORY = 5
RATE = 6
OXYGEN = 7
OXYGEN_FALL = 8
OXYGEN_STATE = 9
SOURCE_STOPPED = 10
SUPPLY_IN_LOW = 11
SUPPLY_IN_HIGH = 12
SUPPLY_OUT_LOW = 13
SUPPLY_OUT_HIGH = 14
FREQUENCY = 15
SUPPLY_STATE = 16
UNDETERMINED_AGE = 17
BATTERY = 18
DIPS_HOUR = 19
RESTLESS = 20
SENSOR_SUPPLY_IN = 21
SENSOR_SUPPLY_OUT = 22
SENSOR_PRESSURE = 23
SENSOR_OXYGEN = 24
RAIL = 25
MEMORY_FAULT = 26
CLOCK_UNSET = 27
LINK_AGE = 28
SELF_TEST_FAILED = 29
LOG_FILL = 30
CALIBRATION_DUE = 31
LIMITS_UNCONFIRMED = 32
WARMING_UP = 33
MODE = 34
PRESET = 35
CYLINDER = 36
MODE_DOUBTFUL = 37

VALUES = (
    (PRESSURE_MAX, "pressure_max", "cmH2O", 100, "level"),
    (PRESSURE_MIN, "pressure_min", "cmH2O", 100, "level"),
    (CYCLE_AGE, "cycle_age", "s", 10, "age"),
    (BREATH_AGE, "breath_age", "s", 10, "age"),
    (PEAK, "peak", "cmH2O", 100, "level"),
    (END_EXPIRATORY, "end_expiratory", "cmH2O", 100, "level"),
    (RATE, "rate", "/min", 100, "level"),
    (OXYGEN, "oxygen", "%", 100, "level"),
    (OXYGEN_FALL, "oxygen_fall", "%/min", 100, "level"),
    (OXYGEN_STATE, "oxygen_state", "", 1, "code"),
    (SOURCE_STOPPED, "source_stopped", "", 1, "code"),
    (SUPPLY_IN_LOW, "supply_in_low", "% of nominal", 100, "level"),
    (SUPPLY_IN_HIGH, "supply_in_high", "% of nominal", 100, "level"),
    (SUPPLY_OUT_LOW, "supply_out_low", "% of nominal", 100, "level"),
    (SUPPLY_OUT_HIGH, "supply_out_high", "% of nominal", 100, "level"),
    (FREQUENCY, "frequency", "Hz", 1000, "level"),
    (SUPPLY_STATE, "supply_state", "", 1, "code"),
    (UNDETERMINED_AGE, "undetermined_age", "s", 10, "age"),
    (BATTERY, "battery", "s", 1, "level"),
    (DIPS_HOUR, "dips_hour", "", 1, "level"),
    (RESTLESS, "restless", "", 1, "code"),
    (SENSOR_SUPPLY_IN, "sensor_supply_in", "", 1, "code"),
    (SENSOR_SUPPLY_OUT, "sensor_supply_out", "", 1, "code"),
    (SENSOR_PRESSURE, "sensor_pressure", "", 1, "code"),
    (SENSOR_OXYGEN, "sensor_oxygen", "", 1, "code"),
    (RAIL, "rail", "V", 1000, "level"),
    (MEMORY_FAULT, "memory_fault", "", 1, "code"),
    (CLOCK_UNSET, "clock_unset", "", 1, "code"),
    (LINK_AGE, "link_age", "s", 10, "age"),
    (SELF_TEST_FAILED, "self_test_failed", "", 1, "code"),
    (LOG_FILL, "log_fill", "%", 1, "level"),
    (CALIBRATION_DUE, "calibration_due", "", 1, "code"),
    (LIMITS_UNCONFIRMED, "limits_unconfirmed", "", 1, "code"),
    (WARMING_UP, "warming_up", "", 1, "code"),
    (MODE, "mode", "", 1, "code"),
    (PRESET, "preset", "", 1, "code"),
    (CYLINDER, "cylinder", "min", 1, "level"),
    (MODE_DOUBTFUL, "mode_doubtful", "", 1, "code"),
)

COUNT = len(VALUES)
AGES = tuple(row[4] == "age" for row in VALUES)
