"""The module's end of the link: what it obeys, sends again, refuses and counts."""

import hashlib
import hmac
import random
import struct

import pytest

from firmware_sim.contract import NONE, REVISION, frames
from firmware_sim.contract import messages as m
from firmware_sim.core import link as links
from firmware_sim.core.link import Link
from firmware_sim.core.ring import Ring
from firmware_sim.ports.bridge.hal import StepHal
from tests.support.host import Host

DIGEST = (0x12345678, 0x9ABCDEF0)


class NoFlash:
    read = erase = write = worst_wear = None


class Wire:
    """A link behind a hal, with a host at the far end; `noise(data)` may spoil what goes up."""

    def __init__(self, key=b"", capacity=65536, budget=2304):
        self.hal = StepHal(NoFlash, (1, 2, capacity, 1000, 77, 0, None, 12345, key))
        self.hal.begin(1_700_000_000, 5, True, 0, budget, b"", 0)
        self.ring = Ring(capacity)
        self.link = Link(self.hal, self.ring, 4711, DIGEST)
        self.host = Host(DIGEST, key)
        self.budget = budget
        self.tick = 0
        self.wishes = []

    def step(self, down=b"", noise=None):
        self.tick += 100
        self.hal.begin(1_700_000_000, 5, True, 0, self.budget, down, 0)
        self.wishes += self.link.receive()
        self.link.send(self.tick)
        up = bytes(self.hal.up)
        self.host.feed(up if noise is None else noise(up))
        return up

    def fill(self, count, size=45):
        for n in range(count):
            self.ring.put(m.TREND, self.tick, bytes([n & 255]) * size)


def test_it_says_hello_at_once_and_when_asked():
    wire = Wire()
    wire.step()
    hello, firmware = m.decode(m.HELLO, frames.parse(wire.hal.up[:-1])[3])
    assert hello[:4] == (REVISION, *DIGEST, 4711) and firmware == b"nightkeel"
    assert hello[6:13] == (1, 1, 77, 1, 1, 1_700_000_000, 5)
    assert wire.step() == b""
    wire.step(wire.host.request())
    assert wire.host.hellos == 2
    assert wire.link.trusted


def test_a_host_of_another_contract_is_greeted_but_not_trusted():
    wire = Wire()
    wire.step(Host((1, 2)).request())
    assert wire.host.hellos == 1
    assert not wire.link.trusted
    wire.step(wire.host.request())
    assert wire.link.trusted


def test_silence_is_broken_by_a_beacon():
    wire = Wire()
    for _ in range(3 * links.BEACON_STEPS):
        wire.step()
    assert wire.host.hellos == 4
    assert wire.link.age == NONE


def test_records_wait_for_the_line_and_none_is_cut():
    wire = Wire(budget=100)
    wire.fill(50)
    for _ in range(60):
        assert len(wire.step(wire.host.answer())) <= 100
    assert [seq for _, seq, *_ in wire.host.records] == list(range(1, 51))
    assert wire.host.bad == 0


def test_records_wait_until_the_host_has_named_this_life():
    wire = Wire()
    wire.fill(5)
    hello = wire.step(noise=lambda data: b"")
    assert hello and wire.step() == b"", "a hello, and not one record with it"
    wire.step(wire.host.request())
    assert wire.host.hellos == 1 and wire.host.records == []
    wire.step(wire.host.ack())
    assert [seq for _, seq, *_ in wire.host.records] == [1, 2, 3, 4, 5]


@pytest.mark.parametrize("kind", [m.ACK, m.RESEND])
def test_a_host_that_names_another_life_is_told_of_this_one(kind):
    wire = Wire()
    wire.fill(5)
    wire.step(noise=lambda data: b"")
    wire.step(wire.host.frame(kind, (4710, 3)))
    assert wire.host.hellos == 1 and wire.host.records == []
    wire.step(wire.host.ack())
    assert len(wire.host.records) == 5


def test_the_age_counts_from_the_last_good_word():
    wire = Wire()
    wire.step()
    wire.step(wire.host.request())
    for _ in range(7):
        wire.step(b"\x05garbage\x00")
    assert wire.link.age == 7
    assert wire.link.bad == 7


@pytest.mark.parametrize("seed", range(5))
def test_a_line_that_drops_and_flips_delivers_everything_in_the_end(seed):
    rng = random.Random(seed)

    def noise(data):
        out = bytearray(data)
        for at in range(len(out)):
            if rng.random() < 0.002:
                out[at] ^= 1 << rng.randrange(8)
        return bytes(out) if rng.random() > 0.05 else bytes(out[: rng.randrange(len(out) + 1)])

    wire = Wire()
    wire.step()
    total = 0
    for n in range(400):
        if n < 300 or n == 350:  # the last ones show a host what it missed at the end
            wire.fill(3)
            total += 3
        wire.step(wire.host.answer(), noise if n < 330 else None)
        if wire.host.hole_since is not None and n % 7 == 0:
            wire.host.hole_since = None
    assert [seq for _, seq, *_ in wire.host.records] == list(range(1, total + 1))
    assert wire.host.bad > 0 and wire.link.resent > 0
    assert wire.ring.acked == total
    assert wire.ring.fill() == 0


def test_a_host_that_comes_back_gets_everything_from_the_oldest():
    wire = Wire()
    wire.step()
    wire.step(wire.host.request())
    wire.fill(20)
    wire.step(wire.host.ack())
    acked = wire.host.expected - 1
    wire.step(wire.host.ack())
    wire.fill(20)
    for _ in range(links.AWAY_STEPS):
        wire.step(noise=lambda data: b"")
    wire.step(wire.host.request())
    wire.step()
    assert [seq for _, seq, *_ in wire.host.records] == list(range(1, 41))
    assert wire.host.duplicates == 0 and acked == 20


def test_a_living_host_that_stops_acknowledging_is_served_again():
    wire = Wire()
    wire.step()
    wire.step(wire.host.request())
    wire.fill(5)
    wire.step()
    old_ack = wire.host.frame(m.ACK, (4711, 0))
    for _ in range(links.RESEND_STEPS + 1):
        wire.step(old_ack)
    assert wire.host.duplicates == 5
    assert wire.link.resent == 5


def test_an_acknowledgement_of_another_boot_or_of_the_future_frees_nothing():
    wire = Wire()
    wire.step()
    wire.fill(5)
    wire.step()
    for boot_id, seq in [(99, 5), (4711, 6), (4711, 2**32 - 1)]:
        wire.step(wire.host.frame(m.ACK, (boot_id, seq)))
    assert wire.ring.acked == 0
    assert wire.link.bad == 2


def test_commands_reach_the_app_with_their_body():
    wire = Wire()
    wire.step()
    values = (4711, 1, 1_700_000_001, 3, 12, 0)
    wire.step(wire.host.frame(m.SET_CLOCK, (1_700_000_009, 7)) + wire.host.frame(m.COMMAND, values, b"ab"))
    assert wire.wishes == [
        (links.SET_CLOCK, (1_700_000_009, 7), None),
        (links.COMMAND, values, b"ab"),
    ]


def test_the_code_is_that_of_the_independent_library():
    # hmac of the standard library is the independent implementation of RFC 2104.
    for key in (b"k", bytes(64), bytes(range(100))):
        ours = frames.mac_of(key, 1, 2**32 - 1, b"body")
        assert ours == hmac.new(key, struct.pack("<II", 1, 2**32 - 1) + b"body", hashlib.sha256).digest()[:8]


def test_with_a_key_only_fresh_genuine_frames_count():
    wire = Wire(key=b"shared")
    wire.step()
    assert wire.host.hellos == 1
    wire.fill(3)
    wire.step()
    bare = frames.build(m.ACK, 0, 0, m.encode(m.ACK, (4711, 3)))
    wire.step(bare)
    assert wire.ring.acked == 0 and wire.link.bad == 1
    wire.step(wire.host.frame(m.ACK, (4711, 0)))
    genuine = wire.host.frame(m.ACK, (4711, 2))
    wire.step(genuine)
    assert wire.ring.acked == 2
    clock = wire.host.frame(m.SET_CLOCK, (1_700_000_009, 7))
    wire.step(clock)
    wire.step(clock)
    assert len(wire.wishes) == 1 and wire.link.bad == 2
    wire.host.key = b"forged"
    wire.step(wire.host.frame(m.ACK, (4711, 3)))
    assert wire.ring.acked == 2 and wire.link.bad == 3
    wire.host.key = b"shared"
    for _ in range(10):
        wire.step()
    wire.step(wire.host.request())
    wire.step(clock)
    assert len(wire.wishes) == 1, "a frame of an earlier nonce must not count"
