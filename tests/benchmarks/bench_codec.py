"""Frames against others' tools on the same trend records: built and opened, answers compared.

Processor time, the best of several rounds, so that other work on the machine matters little.
"""

import binascii
import struct
import time

import msgpack
from cobs import cobs
from google.protobuf import descriptor_pb2, descriptor_pool, message_factory

from firmware_sim.contract import frames, messages

FIELDS = next(row[4] for row in messages.MESSAGES if row[0] == messages.TREND)
ROUNDS = 3
LAYOUT = "<" + "".join(field[1][0] for field in FIELDS)
TYPICAL = (
    *(22_950, 22_900, 23_010, 23_000, 22_990, 23_020, 49_980, 50_000, 900, 480, 2_010, 9_320, 5_010, 900),
    *(1, 0, 1, 0, 0, 545, 0, 700, 5_400, 350, 12),
)


def trends(count):
    """Return values of `count` trend records that differ a little, of the size that a night has."""
    most = [250 if value < 256 else 65_000 for value in TYPICAL]
    return [
        [min(value + (k * 7 + n) % 5, most[n]) for n, value in enumerate(TYPICAL)] for k in range(count)
    ]


def ours(values, seq):
    """Build one frame with the contract's own code."""
    return frames.build(messages.TREND, seq, seq * 1000, messages.encode(messages.TREND, values))


def framed(body):
    """Put a check behind a body, stuff it, end it: as ours, with others' code."""
    return cobs.encode(body + struct.pack("<H", binascii.crc_hqx(body, 0xFFFF))) + b"\0"


def theirs(values, seq):
    """Build the same frame with `struct`, PyPI cobs and binascii."""
    return framed(struct.pack("<BII", messages.TREND, seq, seq * 1000) + struct.pack(LAYOUT, *values))


def packed(values, seq):
    """Build a msgpack message of the same content in a cobs frame with the same check."""
    return framed(msgpack.packb([messages.TREND, seq, seq * 1000, values]))


def proto_class():
    """Return a protobuf message with the fields of a trend and its head, made without a compiler."""
    file = descriptor_pb2.FileDescriptorProto(name="trend.proto", syntax="proto3")
    kind = file.message_type.add(name="Trend")
    names = ["type", "sequence", "tick", *(field[0] for field in FIELDS)]
    for number, name in enumerate(names, 1):
        signed = number > 3 and FIELDS[number - 4][1][0] in "hi"
        kind.field.add(name=name, number=number, label=1, type=17 if signed else 13)
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    return names, message_factory.GetMessageClass(pool.FindMessageTypeByName("Trend"))


NAMES, Trend = proto_class()


def proto(values, seq):
    """Build a protobuf message of the same content in a cobs frame with the same check."""
    numbers = (messages.TREND, seq, seq * 1000, *values)
    return framed(Trend(**dict(zip(NAMES, numbers, strict=True))).SerializeToString())


def best_us(call, count):
    """Return the least microseconds a record of several rounds, and the last answer."""
    least, answer = float("inf"), None
    for _ in range(ROUNDS):
        began = time.process_time()
        answer = call()
        least = min(least, time.process_time() - began)
    return least / count * 1e6, answer


def timed(make, rows):
    """Return microseconds a record and bytes a record."""
    took, size = best_us(lambda: sum(len(make(values, seq)) for seq, values in enumerate(rows, 1)), len(rows))
    return took, size / len(rows)


def open_ours(stream):
    """Open all frames of a stream and read their values, as the host does."""
    parsed = (frames.parse(block) for block in frames.Splitter().feed(stream))
    return [list(messages.decode(kind, payload)[0]) for kind, _, _, payload in parsed]


def bodies(stream):
    """Yield what is in each frame, its check compared, with others' code."""
    for block in stream.split(b"\0")[:-1]:
        data = cobs.decode(block)
        assert binascii.crc_hqx(data[:-2], 0xFFFF) == data[-2] | data[-1] << 8
        yield data[:-2]


def open_struct(stream):
    """The same with cobs, binascii and `struct`."""
    return [list(struct.unpack(LAYOUT, body[9:])) for body in bodies(stream)]


def open_msgpack(stream):
    """The same with cobs, binascii and msgpack."""
    return [msgpack.unpackb(body)[3] for body in bodies(stream)]


def open_proto(stream):
    """The same with cobs, binascii and protobuf."""
    out = []
    for body in bodies(stream):
        message = Trend.FromString(body)
        out.append([getattr(message, name) for name in NAMES[3:]])
    return out


def opened(open_all, build, records):
    """Return microseconds a record; what comes out must be what went in."""
    stream = b"".join(build(values, seq) for seq, values in enumerate(records, 1))
    took, found = best_us(lambda: open_all(stream), len(records))
    assert found == records, open_all.__name__
    return took


PEERS = (
    ("struct + cobs", theirs, open_struct),
    ("msgpack + cobs", packed, open_msgpack),
    ("protobuf + cobs", proto, open_proto),
)


def rows(quick):
    """Yield build time, size and reading time; the ratio is the peer's figure to ours."""
    records = trends(2_000 if quick else 20_000)
    assert all(ours(values, 9) == theirs(values, 9) for values in records[:200]), "the peers disagree"
    mine, reading = timed(ours, records), opened(open_ours, ours, records)
    for name, build, open_all in PEERS:
        other = timed(build, records)
        yield f"build a trend frame, range-checked, against {name}", mine[0], "us", "", other[0] / mine[0]
        yield f"bytes of a trend frame, against {name}", mine[1], "B", "", other[1] / mine[1]
        took = opened(open_all, build, records)
        yield f"open a trend frame and read it, against {name}", reading, "us", "", took / reading
