"""Frames against others' tools on the same trend records: built and opened, answers compared first."""

import binascii
import struct
import time

import msgpack
from cobs import cobs

from firmware_sim.contract import frames, messages

LAYOUT = "<" + "".join(
    field[1][0] for row in messages.MESSAGES if row[0] == messages.TREND for field in row[4]
)


def trends(count):
    """Return values of `count` trend records that differ a little."""
    base = [0] * len(messages.field_names(messages.TREND))
    return [[(k * 7 + n) % 120 for n in range(len(base))] for k in range(count)]


def ours(values, seq):
    """Build one frame with the contract's own code."""
    return frames.build(messages.TREND, seq, seq * 1000, messages.encode(messages.TREND, values))


def theirs(values, seq):
    """Build the same frame with `struct`, PyPI cobs and binascii."""
    body = struct.pack("<BII", messages.TREND, seq, seq * 1000) + struct.pack(LAYOUT, *values)
    return cobs.encode(body + struct.pack("<H", binascii.crc_hqx(body, 0xFFFF))) + b"\0"


def packed(values, seq):
    """Build a msgpack message of the same content in a cobs frame with the same check."""
    body = msgpack.packb([messages.TREND, seq, seq * 1000, values])
    return cobs.encode(body + struct.pack("<H", binascii.crc_hqx(body, 0xFFFF))) + b"\0"


def timed(make, rows):
    """Return microseconds a record and bytes a record."""
    began = time.perf_counter()
    size = sum(len(make(values, seq)) for seq, values in enumerate(rows, 1))
    return (time.perf_counter() - began) / len(rows) * 1e6, size / len(rows)


def rows(quick):
    """Yield build time and size; the ratio is the peer's figure to ours."""
    records = trends(2_000 if quick else 50_000)
    assert all(ours(values, 9) == theirs(values, 9) for values in records[:200]), "the peers disagree"
    mine, plain, other = timed(ours, records), timed(theirs, records), timed(packed, records)
    yield "build a trend frame, against struct + cobs", mine[0], "us", "range-checked", plain[0] / mine[0]
    yield "build a trend frame, against msgpack + cobs", mine[0], "us", "", other[0] / mine[0]
    yield "bytes of a trend frame, against msgpack + cobs", mine[1], "B", "", other[1] / mine[1]
    stream = b"".join(ours(values, seq) for seq, values in enumerate(records, 1))
    began = time.perf_counter()
    opened = [frames.parse(block) for block in frames.Splitter().feed(stream)]
    read_us = (time.perf_counter() - began) / len(records) * 1e6
    assert len(opened) == len(records)
    began = time.perf_counter()
    for block in stream.split(b"\0")[:-1]:
        data = cobs.decode(block)
        assert binascii.crc_hqx(data[:-2], 0xFFFF) == data[-2] | data[-1] << 8
    peer_us = (time.perf_counter() - began) / len(records) * 1e6
    yield "open a trend frame, against cobs + binascii", read_us, "us", "", peer_us / read_us
