"""The wire, byte by byte, against independent implementations."""

import binascii
import json
import pathlib

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from firmware_sim.contract import frames, messages

GOLDEN = json.loads((pathlib.Path(__file__).parents[2] / "vectors" / "frames.json").read_text())
by_name = pytest.mark.parametrize("row", GOLDEN, ids=[row["name"] for row in GOLDEN])


def as_missing(message_id, wire):
    """Replace the wire's sentinels by None, from the field list alone."""
    lowest = {"B": 255, "H": 65535, "h": -32768, "i": -2147483648}
    fields = next(row[4] for row in messages.MESSAGES if row[0] == message_id)
    return [None if "?" in f[1] and v == lowest[f[1][0]] else v for f, v in zip(fields, wire, strict=True)]


@by_name
def test_golden_frames_are_built_to_the_byte(row):
    """Bytes made with PyPI cobs and binascii.crc_hqx (tests/vectors/make_frames.py)."""
    payload = messages.encode(row["message"], as_missing(row["message"], row["values"]), row["tail"])
    assert frames.build(row["message"], row["seq"], row["tick"], payload).hex() == row["frame"]


@by_name
def test_golden_frames_are_read_whole_byte_by_byte_and_with_trailing_bytes(row):
    data = bytes.fromhex(row["frame"])
    whole, single = frames.Splitter(), frames.Splitter()
    blocks = whole.feed(data + b"\x07\x01")
    assert blocks == [block for byte in data for block in single.feed(bytes([byte]))] == [data[:-1]]
    message_id, seq, tick, payload = frames.parse(blocks[0])
    assert (message_id, seq, tick) == (row["message"], row["seq"], row["tick"])
    values, tail = messages.decode(message_id, payload)
    assert list(values) == as_missing(message_id, row["values"])
    if row["tail"] is not None:
        assert list(tail) == row["tail"]


def test_crc_check_value():
    """CRC-16/CCITT-FALSE of "123456789" is 0x29B1 (catalogued check value; P)."""
    assert frames.crc16(b"123456789") == 0x29B1


@given(st.binary(max_size=700))
def test_stuffing_agrees_with_the_reference_library(data):
    assert frames.stuff(data) == cobs.encode(data)
    assert frames.unstuff(cobs.encode(data)) == data


@given(st.integers(1, 255), st.integers(0, 600))
def test_runs_without_zeros_agree_with_the_reference_library(byte, length):
    data = bytes([byte]) * length
    assert frames.stuff(data) == cobs.encode(data)
    assert frames.stuff(data + b"\0" + data) == cobs.encode(data + b"\0" + data)


@given(st.binary(max_size=300))
def test_outside_bytes_never_raise(data):
    for block in frames.Splitter().feed(data + b"\0"):
        found = frames.parse(block)
        if isinstance(found, str):
            assert found in ("stuffing", "short", "crc", "mac")
        else:
            decoded = messages.decode(found[0], found[3])
            assert decoded is None or len(decoded[0]) == len(messages.field_names(found[0]))
    assert frames.crc16(data) == binascii.crc_hqx(data, 0xFFFF)


@given(st.integers(0, 8 * 40 - 1))
def test_every_single_bit_flip_is_refused(bit):
    frame = bytearray(frames.build(messages.ACK, 0, 9, messages.encode(messages.ACK, (77, 7))))
    at = bit // 8 % (len(frame) - 1)
    frame[at] ^= 1 << bit % 8
    for block in frames.Splitter().feed(bytes(frame)):
        assert isinstance(frames.parse(block), str)


def test_stream_without_delimiters_is_bounded():
    splitter = frames.Splitter()
    for _ in range(1000):
        assert splitter.feed(b"\x55" * 100) == []
        assert len(splitter.rest) <= frames.FRAME_MAX
    assert splitter.overlong + len(splitter.rest) == 100_000


def test_frame_code_is_demanded_and_checked():
    def code(body):
        return binascii.crc32(body).to_bytes(8, "little")

    frame = frames.build(messages.ACK, 0, 9, messages.encode(messages.ACK, (77, 7)), code)[:-1]
    assert frames.parse(frame, code)[3] == messages.encode(messages.ACK, (77, 7))
    assert frames.parse(frame, lambda body: b"12345678") == "mac"
    plain = frames.build(messages.ACK, 0, 9, messages.encode(messages.ACK, (77, 7)))[:-1]
    assert frames.parse(plain, code) == "mac"


@pytest.mark.parametrize("row", messages.MESSAGES, ids=[row[1] for row in messages.MESSAGES])
def test_every_field_refuses_what_it_cannot_hold(row):
    low = {"B": 0, "H": 0, "I": 0, "h": -32768, "i": -2147483648}
    base = [0] * len(row[4])
    for index, field in enumerate(row[4]):
        for wrong in (low[field[1][0]] - 1, 1 << 32) + (() if "?" in field[1] else (None,)):
            with pytest.raises(messages.MessageError):
                messages.encode(row[0], base[:index] + [wrong] + base[index + 1:])
    assert messages.decode(row[0], messages.encode(row[0], base)[:-1] if base else b"\1") is None or not base


def test_ids_and_names_are_unique():
    assert len({row[0] for row in messages.MESSAGES}) == len({row[1] for row in messages.MESSAGES})
    assert all(row[0] < frames.MAC_BIT for row in messages.MESSAGES)
