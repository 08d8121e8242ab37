"""The packets between the board's devices and the interpreter that runs the firmware.

To the interpreter: a boot packet once, then a step packet each 100 ms. From it: one packet a step. All
little-endian; both ends use this file.
"""

import struct

from firmware_sim.contract import PRESSURE_BLOCK, SUPPLY_BLOCK

# profile, flash pages, ring bytes, free memory, id, reset cause, off time (-1 unknown), seed, key length
BOOT = "<BHIIIBiIB"
BOOT_SIZE = struct.calcsize(BOOT)
# unix_s, unix_ms, flags (1 clock set, 2 and 4 the buttons, 8 program damaged), budget, bytes down, loop time,
# seven slow codes
STEP = "<IHBHII7h"
STEP_SIZE = struct.calcsize(STEP)
SAMPLES_SIZE = 2 * (2 * SUPPLY_BLOCK + PRESSURE_BLOCK)
# bytes up, edges, flash operations, flags (1 watchdog fed, 2 clock set), unix_s, unix_ms
ANSWER = "<IHHBIH"
ANSWER_SIZE = struct.calcsize(ANSWER)
EDGE = "<BHHB"
EDGE_SIZE = struct.calcsize(EDGE)
# page, offset, length; length 65535 is an erase
OPERATION = "<HHH"
OPERATION_SIZE = struct.calcsize(OPERATION)
ERASE = 65535
# "Not fitted or not due" among the slow codes.
ABSENT = -32768
SLOW = ("oxygen", "rail", "product_pressure", "battery_voltage", "ups_current", "ups_contact", "surge_peak")


def pack_slow(block):
    """Return a block's slow codes as a tuple for STEP."""
    return tuple([ABSENT if code is None else code for code in (
        block.oxygen, block.rail, block.product_pressure, block.battery_voltage, block.ups_current,
        block.ups_contact, block.surge_peak)])


def unpack_slow(block, codes):
    """Set a block's slow codes from STEP."""
    (block.oxygen, block.rail, block.product_pressure, block.battery_voltage, block.ups_current,
     block.ups_contact, block.surge_peak) = [None if code == ABSENT else code for code in codes]
