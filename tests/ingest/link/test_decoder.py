"""The decoder: every whole frame comes through, everything else is counted, nothing raises."""

import binascii

import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_sim.contract import frames, messages
from ingest.link.decoder import REASONS, Decoder

UP = [row for row in messages.MESSAGES if row[2] == "up"]
LOW_HIGH = {"B": (0, 255), "H": (0, 65535), "I": (0, 2**32 - 1), "h": (-32768, 32767),
            "i": (-2**31, 2**31 - 1)}


def values_of(row, pick):
    """Return one value a field, `pick(low, high)` choosing, missing markers left out."""
    out = []
    for _, code, _, _ in row[4]:
        low, high = LOW_HIGH[code[0]]
        if code.endswith("?"):
            low, high = (low + 1, high) if code[0] in "hi" else (low, high - 1)
        out.append(pick(low, high))
    return out


def reference_frame(message_id, seq, tick, payload):
    """Build a frame with independent libraries: `cobs` (the paper's authors' code) and `binascii.crc_hqx`."""
    body = bytes([message_id]) + seq.to_bytes(4, "little") + tick.to_bytes(4, "little") + payload
    return cobs.encode(body + binascii.crc_hqx(body, 0xFFFF).to_bytes(2, "little")) + b"\0"


@pytest.mark.parametrize("row", UP, ids=lambda row: row[1])
@pytest.mark.parametrize("pick", [lambda low, high: low, lambda low, high: high,
                                  lambda low, high: (low + high) // 2], ids=["low", "high", "middle"])
def test_every_message_comes_through_whole(row, pick):
    tail = None if row[5] is None else b"abcd" if row[5][1] == "B" else [1, 2, 300 % 128]
    payload = messages.encode(row[0], values_of(row, pick), tail)
    decoder = Decoder()
    assert decoder.feed(reference_frame(row[0], 5, 0xFFFFFFFF, payload)) == [(row[0], 5, 0xFFFFFFFF, payload)]
    assert not any(decoder.drops.values())


@pytest.mark.parametrize("row", UP, ids=lambda row: row[1])
def test_byte_by_byte_and_with_trailing_bytes_is_the_same(row):
    tail = None if row[5] is None else []
    payload = messages.encode(row[0], values_of(row, lambda low, high: high), tail)
    wire = reference_frame(row[0], 9, 100, payload)
    decoder = Decoder()
    got = [frame for byte in wire + b"\x05tail" for frame in decoder.feed(bytes([byte]))]
    assert got == [(row[0], 9, 100, payload)]


def _wrong(kind):
    good = frames.build(messages.BREATH, 1, 1, messages.encode(messages.BREATH, (0,) * 10))
    body = bytes([messages.BREATH]) + bytes(8)
    match kind:
        case "stuffing":
            return bytes([200, 1, 1, 0])
        case "short":
            return frames.stuff(b"ab") + b"\0"
        case "crc":
            return bytes([good[0], good[1] ^ 1]) + good[2:]
        case "unknown":
            return frames.build(0x3F, 1, 1, b"x")
        case "length":
            return frames.stuff(body + (frames.crc16(body)).to_bytes(2, "little")) + b"\0"
    return b"\x01" * (frames.FRAME_MAX + 1)


@pytest.mark.parametrize("reason", [reason for reason in REASONS if reason != "mac"])
def test_drop_is_counted_under_its_reason_and_the_next_frame_lives(reason):
    decoder = Decoder()
    assert decoder.feed(_wrong(reason)) == []
    assert decoder.drops[reason] > 0
    assert sum(1 for count in decoder.drops.values() if count) == 1
    good = frames.build(messages.TREND, 2, 3, bytes(messages.LAYOUTS[messages.TREND][2]))
    assert len(decoder.feed(b"\0" + good)) == 1


def test_frame_without_a_code_is_refused_where_one_is_demanded():
    decoder = Decoder(mac=lambda body: b"12345678")
    plain = frames.build(messages.BREATH, 1, 1, messages.encode(messages.BREATH, (0,) * 10))
    assert decoder.feed(plain) == []
    assert decoder.drops["mac"] == 1


def test_messages_of_the_host_echoed_back_are_not_the_modules():
    decoder = Decoder()
    assert decoder.feed(frames.build(messages.ACK, 0, 0, messages.encode(messages.ACK, (1, 2)))) == []
    assert decoder.drops["unknown"] == 1


@settings(max_examples=300, deadline=None)
@given(st.lists(st.binary(max_size=200), max_size=12))
def test_any_bytes_never_raise_and_memory_stays_bounded(pieces):
    decoder = Decoder()
    for piece in pieces:
        decoder.feed(piece)
        assert len(decoder._splitter.rest) <= frames.FRAME_MAX


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_damaged_frames_never_come_through_changed(data):
    payload = messages.encode(messages.PRESSURE_WAVE, (), [5, -6, 700])
    wire = bytearray(frames.build(messages.PRESSURE_WAVE, 77, 1234, payload))
    for _ in range(data.draw(st.integers(1, 3))):
        wire[data.draw(st.integers(0, len(wire) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    # Up to three flipped bits in so short a frame: within the code's distance unless they move a boundary.
    for message_id, seq, tick, got in Decoder().feed(bytes(wire)):
        assert (message_id, seq, tick, got) == (messages.PRESSURE_WAVE, 77, 1234, payload)
