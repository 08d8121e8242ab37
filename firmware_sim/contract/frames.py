"""Frames on the serial link: COBS, delimiter 0x00, CRC-16/CCITT-FALSE.

A frame before stuffing: type u8 · sequence u32 · tick u32 · payload · [mac 8] · crc u16, little-endian.
Bit 7 of `type` says that the eight bytes of a message authentication code stand before the CRC (only on
links that demand a shared key). The tick is the module's millisecond clock; it wraps after 49.7 days.
Sequence 0 marks an unsequenced message.

CRC: polynomial 0x1021, start 0xFFFF, not reflected; "123456789" gives 0x29B1 (the catalogued check
value; `binascii.crc_hqx(data, 0xFFFF)` is the independent implementation used in the tests).
COBS: Cheshire and Baker, "Consistent Overhead Byte Stuffing", 1999.
"""

import hashlib
import struct

HEADER = "<BII"
HEADER_SIZE = 9
CRC_SIZE = 2
MAC_SIZE = 8
MAC_BIT = 0x80
PAYLOAD_MAX = 1024
# Longest stuffed frame without its delimiter.
FRAME_MAX = HEADER_SIZE + PAYLOAD_MAX + MAC_SIZE + CRC_SIZE + 5

try:
    from binascii import crc_hqx
except ImportError:  # MicroPython has no crc_hqx
    _TABLE = None

    def _table():
        rows = []
        for byte in range(256):
            value = byte << 8
            for _ in range(8):
                value = ((value << 1) ^ 0x1021 if value & 0x8000 else value << 1) & 0xFFFF
            rows.append(value)
        return tuple(rows)

    _TABLE = _table()

    def crc_hqx(data, value):
        """Continue a CRC-16/CCITT over `data` from `value`."""
        table = _TABLE
        for byte in data:
            value = ((value << 8) & 0xFFFF) ^ table[(value >> 8) ^ byte]
        return value


def crc16(data):
    """Return the CRC-16/CCITT-FALSE of bytes."""
    return crc_hqx(data, 0xFFFF)


def stuff(data):
    """Return COBS-encoded bytes without the delimiter."""
    # Splitting at zeros keeps the work in the interpreter's own fast code.
    out = bytearray()
    run = b""
    full = False
    for run in data.split(b"\0"):
        size = len(run)
        full = size >= 254
        while size >= 254:
            out.append(255)
            out += run[:254]
            run = run[254:]
            size -= 254
        out.append(size + 1)
        out += run
    if full and not run:
        # A full last block needs no empty one behind it.
        out.pop()
    return bytes(out)


def unstuff(data):
    """Return the bytes of a COBS block (without delimiter), or None when it is malformed."""
    # Where no run is longer than 253 bytes, each code byte is a zero of the data in its own place.
    out = bytearray(data)
    at = 0
    size = len(data)
    while at < size:
        code = data[at]
        if code == 0:
            return None
        if code == 255:
            return _unstuff_long(data)
        out[at] = 0
        at += code
    return bytes(out[1:]) if at == size else None


def _unstuff_long(data):
    out = bytearray()
    at = 0
    size = len(data)
    while at < size:
        code = data[at]
        end = at + code
        if code == 0 or end > size:
            return None
        out += data[at + 1:end]
        at = end
        if code != 255 and at < size:
            out.append(0)
    return bytes(out)


def build(message_id, seq, tick, payload, mac=None):
    """Return one whole frame, delimiter included. `mac(body) -> 8 bytes` or None."""
    if mac is not None:
        body = struct.pack(HEADER, message_id | MAC_BIT, seq, tick) + payload
        body += mac(body)
    else:
        body = struct.pack(HEADER, message_id, seq, tick) + payload
    return stuff(body + struct.pack("<H", crc_hqx(body, 0xFFFF))) + b"\0"


def parse(block, mac=None):
    """Open one stuffed block. Return (message_id, seq, tick, payload), or a reason as text.

    Reasons: 'stuffing', 'short', 'crc', 'mac'. Never raises on outside bytes. With `mac` given, a frame
    without a valid code is refused.
    """
    data = unstuff(block)
    if data is None:
        return "stuffing"
    if len(data) < HEADER_SIZE + CRC_SIZE:
        return "short"
    body = data[:-CRC_SIZE]
    if crc_hqx(body, 0xFFFF) != data[-2] | data[-1] << 8:
        return "crc"
    message_id, seq, tick = struct.unpack_from(HEADER, data, 0)
    if message_id & MAC_BIT:
        if len(body) < HEADER_SIZE + MAC_SIZE:
            return "short"
        given = body[-MAC_SIZE:]
        body = body[:-MAC_SIZE]
        if mac is not None and not same(given, mac(body)):
            return "mac"
        message_id &= ~MAC_BIT & 0xFF
    elif mac is not None:
        return "mac"
    return message_id, seq, tick, body[HEADER_SIZE:]


def same(first, second):
    """Compare two byte strings of equal length in constant time."""
    if len(first) != len(second):
        return False
    differ = 0
    for one, two in zip(first, second):
        differ |= one ^ two
    return differ == 0


def mac_of(key, nonce_low, nonce_high, body):
    """Return the eight-byte code of a frame's body: HMAC-SHA-256 (RFC 2104) over nonce and body, cut short.

    `key` is bytes of any length; the nonce is that of the module's last hello, as two 32-bit words.
    """
    if len(key) > 64:
        key = hashlib.sha256(key).digest()
    key = key + bytes(64 - len(key))
    inner = hashlib.sha256(bytes([one ^ 0x36 for one in key]))
    inner.update(struct.pack("<II", nonce_low, nonce_high) + body)
    outer = hashlib.sha256(bytes([one ^ 0x5C for one in key]))
    outer.update(inner.digest())
    return outer.digest()[:MAC_SIZE]


class Splitter:
    """Cut a byte stream at the delimiters; bounded memory, never raises.

    `feed(data)` returns the whole blocks; `overlong` counts bytes thrown away because no delimiter came
    within FRAME_MAX.
    """

    def __init__(self):
        self.rest = b""
        self.overlong = 0

    def feed(self, data):
        """Take bytes, return a list of stuffed blocks without delimiters (empty ones left out)."""
        pieces = (self.rest + data).split(b"\0")
        self.rest = pieces.pop()
        if len(self.rest) > FRAME_MAX:
            self.overlong += len(self.rest)
            self.rest = b""
        return [piece for piece in pieces if piece]
