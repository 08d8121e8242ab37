"""One digest of all tables: what a host and a module compare before they talk.

SHA-256 over a canonical text of the tables, cut to 64 bits, as two 32-bit words. Equal under CPython and
MicroPython: only integers, texts and tuples enter, and no dictionary.
"""

import hashlib

from firmware_sim.contract import (
    REVISION,
    STEP_MS,
    alarms,
    channels,
    commands,
    log_codes,
    messages,
    settings,
    values,
)


def tables():
    """Return every table that both sides must agree on, by name, in a fixed order."""
    return (
        ("revision", (REVISION, STEP_MS)),
        # Ranges as whole and 1/65536, since floats print differently from board to board.
        ("channels", tuple([_integers(row) for row in channels.CHANNELS])),
        ("states", (channels.SENSOR_CONDITIONS, channels.SUPPLY_STATES, channels.UPS_CLASSES, channels.MODES,
                    channels.PRESETS, channels.OXYGEN_STATES, channels.BREATH_KINDS,
                    channels.SUPPLY_EVENT_KINDS, channels.EVENT_PHASES, channels.CAPTURE_KINDS)),
        ("values", values.VALUES),
        ("alarms", tuple([tuple(row) for row in alarms.ROWS])),
        ("transitions", alarms.TRANSITIONS),
        ("settings", tuple([tuple(row) for row in settings.SETTINGS])),
        ("order", settings.ORDER),
        ("commands", commands.COMMANDS),
        ("results", commands.RESULTS),
        ("log", log_codes.CODES),
        ("messages", messages.MESSAGES),
    )


def _integers(row):
    return tuple([(int(item), int((item - int(item)) * 65536)) if isinstance(item, float) else item
                  for item in row])


def text(value):
    """Write a value canonically: tuples in brackets, texts with their length, numbers, T and F and N."""
    if isinstance(value, str):
        return str(len(value)) + ":" + value
    if value is None:
        return "N"
    if isinstance(value, bool):
        return "T" if value else "F"
    if isinstance(value, int):
        return str(value)
    return "(" + ",".join([text(item) for item in value]) + ")"


def digest():
    """Return the digest of the contract as two 32-bit words (low, high)."""
    summed = hashlib.sha256()
    for name, table in tables():
        # Row by row: a whole table's text is more than a full heap may have in one piece.
        before = name + "=("
        for row in table:
            summed.update((before + text(row)).encode())
            before = ","
        summed.update(b")\n")
    data = summed.digest()
    return (data[0] | data[1] << 8 | data[2] << 16 | data[3] << 24,
            data[4] | data[5] << 8 | data[6] << 16 | data[7] << 24)


def settings_digest(numbers):
    """Return 31 bits that name one set of settings (a list of all integers)."""
    data = hashlib.sha256(text(tuple(numbers)).encode()).digest()
    return data[0] | data[1] << 8 | data[2] << 16 | (data[3] & 127) << 24
