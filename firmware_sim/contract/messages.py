"""Every message on the wire: one row a message, little-endian, no padding.

Row: (id, name, direction, reliable, fields, tail). A field is (name, code, unit, scale); `code` is a
`struct` letter, with '?' behind it where the quantity may be missing: None travels as the letter's most
extreme value (65535 for 'H', the smallest for 'h' and 'i', 255 for 'B'). `tail` is None or the (name,
code, unit, scale) of an array that fills the rest of the payload. Reliable messages are *records*: they
carry a sequence number, wait in the module's ring until the host has committed them, and are sent again.

Direction 'up' is module to host, 'down' is host to module.

Time: the tick in a frame's header is the end of what the record covers. A trend with tick t is the second
before t, the last sample of a pressure_wave with tick t was taken 10 ms before t, the last step of an
inputs record is the one that ended at t. `start_tick` fields name a beginning, in the same clock;
that of half_cycles is the end of its first one-cycle window, `period` the distance to the next; with
capture_id 0 it belongs to no capture but to the run that `study.half_cycles` asks for. Each part of
a capture carries the time of its own first code. A raw record covers the `seconds` before its tick: of each
channel in order mean, lowest, highest code; -32768 without one. Of a supply tap it takes a tenth of a second
in each.

Sequence: all records share one sequence, from 1, without holes. What the ring had to overwrite is made good
when its turn comes: a `lost` frame stands in for a whole run of missing records. It covers `first_seq` to
`last_seq`, its header carries `last_seq`, and it is acknowledged like any record. `kinds` has bit
(id - 0x10) set for the kinds overwritten since the ring was last whole; `from_tick` and `to_tick` are the
ticks of the records on either side. A host that sees a hole asks `resend` from the first missing sequence
and gets either the records or a `lost`. `ack` is cumulative; it also says that the host is alive.

A hello_request makes the module say `hello`; after 3 s without a word from the host it also sends again from
the oldest unacknowledged record. Records
flow to any host; set_clock and commands are obeyed only after a hello_request with this very contract.
With a shared key every frame down but hello_request ends with a code (frames.mac_of) under the nonce of
the last hello, and carries a sequence that grows by at least one from 1 under each nonce.
"""

import struct

from firmware_sim.contract import NONE  # noqa: F401  (re-exported for those who only import messages)

HELLO = 0x01
TREND = 0x10
PRESSURE_WAVE = 0x11
SUPPLY_CYCLES = 0x12
BREATH = 0x13
SUPPLY_EVENT = 0x14
CAPTURE = 0x15
HALF_CYCLES = 0x16
ALARM = 0x17
LOG = 0x18
SETTINGS = 0x19
HEALTH = 0x1A
INPUTS = 0x1B
COMMAND_RESULT = 0x1C
LOST = 0x1D
SUPPLY_STATE = 0x1E
RAW = 0x1F
CALIBRATION = 0x20
HELLO_REQUEST = 0x40
ACK = 0x41
RESEND = 0x42
SET_CLOCK = 0x43
COMMAND = 0x44

# Bits of trend.flags.
FLAG_CLIPPED_IN = 1
FLAG_CLIPPED_OUT = 2
FLAG_WARMING_UP = 4
FLAG_AUDIO_PAUSED = 8
FLAG_BUTTON_OPEN = 16
FLAG_CLOCK_SET = 32
FLAG_BATTERY_PROVEN = 64
FLAG_LIMITS_UNCONFIRMED = 128
FLAG_STARTING = 256
FLAG_MAINS_POWERED = 512
FLAG_BATTERY_BY_VOLTAGE = 1024

_UP = "up"
_DOWN = "down"

MESSAGES = (
    (HELLO, "hello", _UP, False, (
        ("revision", "H", "", 1), ("digest_low", "I", "", 1), ("digest_high", "I", "", 1),
        ("boot_id", "I", "", 1), ("nonce_low", "I", "", 1), ("nonce_high", "I", "", 1),
        ("emulated", "B", "", 1), ("profile", "B", "", 1), ("module_id", "I", "", 1),
        ("oldest_seq", "I", "", 1), ("next_seq", "I", "", 1),
        ("unix_s", "I", "s", 1), ("unix_ms", "H", "ms", 1),
        ("nominal_v", "H", "V", 1), ("nominal_hz", "B", "Hz", 1),
    ), ("firmware", "B", "utf-8", 1)),
    (TREND, "trend", _UP, True, (
        ("in_rms", "H?", "V", 100), ("in_min", "H?", "V", 100), ("in_max", "H?", "V", 100),
        ("out_rms", "H?", "V", 100), ("out_min", "H?", "V", 100), ("out_max", "H?", "V", 100),
        ("in_frequency", "H?", "Hz", 1000), ("out_frequency", "H?", "Hz", 1000),
        ("pressure_mean", "h?", "cmH2O", 100), ("pressure_min", "h?", "cmH2O", 100),
        ("pressure_max", "h?", "cmH2O", 100),
        ("oxygen", "H?", "%", 100), ("rail", "H?", "V", 1000), ("battery", "H?", "s", 1),
        ("supply_state", "B", "", 1), ("oxygen_state", "B", "", 1),
        ("mode", "B", "", 1), ("preset", "B", "", 1),
        ("sensors", "H", "", 1), ("flags", "H", "", 1), ("pause_left", "B", "s", 1),
        ("product_pressure", "H?", "kPa", 10), ("battery_voltage", "H?", "V", 100),
        ("ups_current", "H?", "A", 100), ("surge_peak", "H?", "V", 1),
    ), None),
    (PRESSURE_WAVE, "pressure_wave", _UP, True, (), ("wave", "h?", "cmH2O", 100)),
    (SUPPLY_CYCLES, "supply_cycles", _UP, True, (
        ("count_in", "B", "", 1), ("count_out", "B", "", 1),
        ("flagged_in", "B", "", 1), ("flagged_out", "B", "", 1),
    ), ("rms", "H?", "V", 100)),
    (BREATH, "breath", _UP, True, (
        ("kind", "B", "", 1), ("peak", "h", "cmH2O", 100), ("plateau", "h?", "cmH2O", 100),
        ("end_expiratory", "h", "cmH2O", 100), ("mean", "h", "cmH2O", 100), ("minimum", "h", "cmH2O", 100),
        ("ti", "H", "ms", 1), ("te", "H", "ms", 1), ("rate", "H?", "/min", 100), ("flags", "B", "", 1),
    ), None),
    (SUPPLY_EVENT, "supply_event", _UP, True, (
        ("event_id", "H", "", 1), ("tap", "B", "", 1), ("kind", "B", "", 1), ("phase", "B", "", 1),
        ("start_tick", "I", "ms", 1), ("duration", "I", "ms", 1),
        ("extreme", "H", "V", 100), ("flags", "B", "", 1),
    ), None),
    (CAPTURE, "capture", _UP, True, (
        ("capture_id", "H", "", 1), ("event_id", "H?", "", 1), ("kind", "B", "", 1), ("tap", "B", "", 1),
        ("part", "B", "", 1), ("parts", "B", "", 1), ("start_tick", "I", "ms", 1), ("start_us", "H", "us", 1),
        ("gain", "H", "", 16384), ("offset", "h", "codes", 1),
    ), ("codes", "h", "codes", 1)),
    (HALF_CYCLES, "half_cycles", _UP, True, (
        ("capture_id", "H", "", 1), ("tap", "B", "", 1),
        ("start_tick", "I", "ms", 1), ("period", "H", "us", 1),
    ), ("rms", "H?", "V", 100)),
    (ALARM, "alarm", _UP, True, (
        ("row", "B", "", 1), ("transition", "B", "", 1), ("priority", "B", "", 1), ("flags", "B", "", 1),
        ("value", "i?", "", 1), ("limit", "i?", "", 1), ("cause", "B?", "", 1),
    ), None),
    (LOG, "log", _UP, True, (
        ("code", "B", "", 1), ("first", "i", "", 1), ("second", "i", "", 1),
    ), ("text", "B", "utf-8", 1)),
    (SETTINGS, "settings", _UP, True, (
        ("version", "H", "", 1), ("digest", "I", "", 1), ("part", "B", "", 1),
        ("parts", "B", "", 1), ("first", "B", "", 1),
    ), ("values", "i", "", 1)),
    (HEALTH, "health", _UP, True, (
        ("unix_s", "I", "s", 1), ("unix_ms", "H", "ms", 1), ("clock_set", "B", "", 1),
        ("loop_us_max", "I", "us", 1), ("ring_bytes", "I", "B", 1), ("ring_fill", "H", "", 1000),
        ("memory_free", "I", "B", 1), ("frames_sent", "I", "", 1), ("frames_resent", "I", "", 1),
        ("frames_bad", "I", "", 1), ("records_lost", "I", "", 1), ("flash_wear", "I", "", 1),
        ("resets", "H", "", 1), ("last_reset", "B", "", 1), ("log_fill", "B", "%", 1),
    ), None),
    (INPUTS, "inputs", _UP, True, (("steps", "B", "", 1), ("whole", "B", "", 1)), ("changes", "B", "", 1)),
    (COMMAND_RESULT, "command_result", _UP, True, (
        ("command_seq", "I", "", 1), ("command", "B", "", 1), ("result", "B", "", 1), ("detail", "i", "", 1),
    ), ("text", "B", "utf-8", 1)),
    (LOST, "lost", _UP, True, (
        ("first_seq", "I", "", 1), ("last_seq", "I", "", 1), ("count", "I", "", 1), ("kinds", "I", "", 1),
        ("from_tick", "I", "ms", 1), ("to_tick", "I", "ms", 1),
    ), None),
    (SUPPLY_STATE, "supply_state", _UP, True, (
        ("state", "B", "", 1), ("previous", "B", "", 1),
        ("evidence", "H", "", 1), ("residual", "H?", "%", 100),
        ("slope", "h?", "", 1000), ("slip", "h?", "deg/s", 100),
    ), None),
    (RAW, "raw", _UP, True, (("seconds", "B", "s", 1),), ("codes", "h?", "codes", 8)),
    (CALIBRATION, "calibration", _UP, True, (
        ("channel", "B", "", 1), ("in_force", "B", "", 1),
        ("gain", "H", "", 16384), ("offset", "h", "codes", 1), ("day", "H", "d", 1), ("points", "B", "", 1),
        ("gain_u", "H", "ppm", 1), ("offset_u", "H", "codes", 100),
    ), ("reference", "B", "utf-8", 1)),
    (HELLO_REQUEST, "hello_request", _DOWN, False, (
        ("revision", "H", "", 1), ("digest_low", "I", "", 1), ("digest_high", "I", "", 1),
    ), None),
    (ACK, "ack", _DOWN, False, (("boot_id", "I", "", 1), ("seq", "I", "", 1)), None),
    (RESEND, "resend", _DOWN, False, (("boot_id", "I", "", 1), ("seq", "I", "", 1)), None),
    (SET_CLOCK, "set_clock", _DOWN, False, (("unix_s", "I", "s", 1), ("unix_ms", "H", "ms", 1)), None),
    (COMMAND, "command", _DOWN, False, (
        ("boot_id", "I", "", 1), ("command_seq", "I", "", 1),
        ("unix_s", "I", "s", 1), ("command", "B", "", 1),
        ("operator", "I", "", 1), ("from_page", "B", "", 1),
    ), ("body", "B", "", 1)),
)

_NONE_OF = {"B": 0xFF, "H": 0xFFFF, "I": 0xFFFFFFFF, "h": -32768, "i": -2147483648}
_LOW = {"B": 0, "H": 0, "I": 0, "h": -32768, "i": -2147483648}
_HIGH = {"B": 0xFF, "H": 0xFFFF, "I": 0xFFFFFFFF, "h": 32767, "i": 2147483647}
_SIZE = {"B": 1, "H": 2, "I": 4, "h": 2, "i": 4}


def _prepare(row):
    codes = [field[1] for field in row[4]]
    layout = "<" + "".join(code[0] for code in codes)
    size = sum(_SIZE[code[0]] for code in codes)
    bounds = tuple((_LOW[c[0]], _HIGH[c[0]], _NONE_OF[c[0]] if len(c) > 1 else None) for c in codes)
    return (row[1], layout, size, bounds, row[5][1] if row[5] else None, row[2], row[3], len(codes))


LAYOUTS = {row[0]: _prepare(row) for row in MESSAGES}
ID_OF = {row[1]: row[0] for row in MESSAGES}


class MessageError(ValueError):
    """A message that can't be encoded or decoded: unknown id, wrong length, value out of range."""


def encode(message_id, values, tail=None):
    """Return the payload bytes of one message.

    `values` in the order of the row's fields; None only where the field may be missing. `tail` is bytes
    (for a 'B' tail) or a sequence of integers. Raises MessageError for a value outside its field, alike
    under CPython and MicroPython (whose `struct` would wrap).
    """
    name, layout, _, bounds, tail_code, _, _, count = LAYOUTS[message_id]
    if len(values) != count:
        raise MessageError("message " + name + " takes " + str(count) + " values")
    checked = []
    for value, (low, high, none) in zip(values, bounds):
        if value is None:
            if none is None:
                raise MessageError("message " + name + " has a value missing")
            value = none
        elif value < low or value > high:
            raise MessageError("message " + name + ": " + str(value) + " is out of range")
        checked.append(value)
    head = struct.pack(layout, *checked)
    if tail is None or tail_code is None:
        return head
    if tail_code[0] == "B":
        return head + bytes(tail)
    return head + pack_tail(tail, tail_code, name)


def pack_tail(tail, code, name="tail"):
    """Pack a sequence of integers as little-endian `code`; raises MessageError outside its range."""
    letter = code[0]
    if len(tail) and (min(tail) < _LOW[letter] or max(tail) > _HIGH[letter]):
        raise MessageError("message " + name + ": tail out of range")
    return struct.pack("<" + str(len(tail)) + letter, *tail)


def decode(message_id, payload):
    """Return (values, tail) of a payload, or None when it isn't a whole message of that kind.

    Outside bytes never raise. Missing quantities come back as None; the tail as bytes for 'B', else as a
    tuple of integers (sentinels left in place: the reader of the tail knows its code).
    """
    layout_row = LAYOUTS.get(message_id)
    if layout_row is None:
        return None
    _, layout, size, bounds, tail_code, _, _, _ = layout_row
    extra = len(payload) - size
    if extra < 0 or (extra and tail_code is None):
        return None
    values = struct.unpack(layout, payload[:size]) if size else ()
    values = tuple([None if value == bound[2] and bound[2] is not None else value
                    for value, bound in zip(values, bounds)])
    if tail_code is None:
        return values, None
    rest = payload[size:]
    letter = tail_code[0]
    if letter == "B":
        return values, bytes(rest)
    if extra % _SIZE[letter]:
        return None
    return values, struct.unpack("<" + str(extra // _SIZE[letter]) + letter, rest)


def field_names(message_id):
    """Return the field names of a message, in order."""
    for row in MESSAGES:
        if row[0] == message_id:
            return tuple([field[0] for field in row[4]])
    raise MessageError("no message " + str(message_id))
