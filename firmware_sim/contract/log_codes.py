"""What the module's event log holds: one code an entry, with two integers and a short text.

The same codes travel in the message `log`. `weight` says what is overwritten last: 2 high-priority alarms,
1 what changes the module or its limits, 0 the rest.
"""

POWER_UP = 1
POWER_LOSS = 2
ALARM = 3
SETTING = 4
BUTTON = 5
SELF_TEST = 6
COMMAND = 7
CLOCK = 8
LIMITS_CONFIRMED = 9
MODE = 10
PRESET = 11
NEW_PATIENT = 12
CALIBRATION = 13
BATTERY_TEST = 14
MEMORY = 15
LOG_FULL = 16
WARMING_UP = 17
BROWN_OUT = 18
LOG_READ = 19
CASE = 20
CYLINDER = 21

# Code, name, weight, meaning of `first`, meaning of `second`. The text of a `command` is the row of an
# acknowledgement, so that a rehearsal can do it again; else it is empty.
CODES = (
    (POWER_UP, "power_up", 1, "reset cause", "seconds without power, -1 unknown"),
    (POWER_LOSS, "power_loss", 1, "boot of the loss", ""),
    (ALARM, "alarm", 0, "row | transition << 8 | priority << 16 | flags << 20", "value"),
    (SETTING, "setting", 1, "setting id | version << 8", "new value"),
    (BUTTON, "button", 0, "button", "1 pressed"),
    (SELF_TEST, "self_test", 1, "1 passed, 0 failed", "parts that failed, bits"),
    (COMMAND, "command", 0, "command | result << 8 | from_page << 16", "operator"),
    (CLOCK, "clock", 1, "old unix time", "new unix time"),
    (LIMITS_CONFIRMED, "limits_confirmed", 1, "1 drawn anew", "version"),
    (MODE, "mode", 1, "old", "new"),
    (PRESET, "preset", 1, "old", "new"),
    (NEW_PATIENT, "new_patient", 1, "preset", ""),
    (CALIBRATION, "calibration", 1, "channel", "gain"),
    (BATTERY_TEST, "battery_test", 1, "1 start, 0 end", "minutes proven"),
    (MEMORY, "memory", 1, "what failed", ""),
    (LOG_FULL, "log_full", 1, "entries overwritten", ""),
    (WARMING_UP, "warming_up", 1, "seconds", ""),
    (BROWN_OUT, "brown_out", 1, "mV", ""),
    (LOG_READ, "log_read", 1, "serial read up to", ""),
    (CASE, "case", 1, "number of the case", "mode | preset << 8 at its start, -1 at its end"),
    (CYLINDER, "cylinder", 1, "litres", "rate in 0.01 L/min | drawn << 16 | flowing << 17"),
)

# Parts of the self-test, one bit each.
TEST_PROGRAM, TEST_SETTINGS, TEST_LOG, TEST_CONVERTER, TEST_CLOCK, TEST_BUTTON = 1, 2, 4, 8, 16, 32
SELF_TEST_PARTS = (
    (TEST_PROGRAM, "program", "the program's files read back as they were written"),
    (TEST_SETTINGS, "settings", "a slot of the settings that can't be read is written anew and reads back"),
    (TEST_LOG, "log", "the newest entry of the event log reads back"),
    (TEST_CONVERTER, "converter", "the rail reads between 2.9 V and 5.6 V; its sensor is whole, also later"),
    (TEST_CLOCK, "clock", "the clock goes on within 5 s"),
    (TEST_BUTTON, "button", "no button is down for all of the test, or for 30 s later on"),
)

NAMES = {row[0]: row[1] for row in CODES}
WEIGHTS = {row[0]: row[2] for row in CODES}
WEIGHT_HIGH = 2


def alarm_first(row, transition, priority, flags):
    """Pack an alarm transition into the first integer of a log entry."""
    return row | transition << 8 | priority << 16 | flags << 20


def alarm_parts(first):
    """Return (row, transition, priority, flags) of an alarm entry."""
    return first & 255, first >> 8 & 255, first >> 16 & 15, first >> 20 & 255
