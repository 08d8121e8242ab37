"""The one definition that the module and the host share.

Everything in this folder runs unchanged under CPython and under MicroPython: channels, engine inputs,
alarm rows, settings, messages, frames. A change of any table changes `digest()`, and a host whose digest
differs refuses the module by name.
"""

REVISION = 1

# One step of the firmware: 100 ms, one alarm-engine step, 320 samples of each supply tap, 10 of pressure.
STEP_MS = 100
SUPPLY_RATE_HZ = 3200
SUPPLY_BLOCK = 320
PRESSURE_RATE_HZ = 100
PRESSURE_BLOCK = 10

# A clock that reads earlier than this was never set: the code is younger (2026-01-01, Unix seconds).
WRITTEN_UNIX_S = 1767225600

# "Not available" for every engine input: the smallest value that a 31-bit small integer holds.
NONE = -0x3FFFFFFF - 1
