"""The session's state table and its way of asking: holes, repeats, lost records, resets, other contracts."""

import hashlib
import hmac

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_sim.contract import frames, messages
from ingest.link import session as sessions
from ingest.link.decoder import Decoder
from ingest.link.session import ASKING, CLOSED, FLOWING, OPENING, REFUSED, STATES, Contract, Session
from ingest.records import Cursor
from tests.support.module_double import ModuleDouble

CONTRACT = Contract(revision=3, digest_low=0x11, digest_high=0x22)
UTC = 1_700_000_000_000


def in_state(state, start_tick=0):
    """Return a session brought into a state by events."""
    session = Session(CONTRACT, "test")
    module = ModuleDouble(CONTRACT, start_tick=start_tick)
    if state == CLOSED:
        return session, module
    session.opened(0)
    if state == ASKING:
        return session, module
    if state == REFUSED:
        module.contract = Contract(revision=4, digest_low=0x11, digest_high=0x22)
    give(session, module)
    if state == FLOWING:
        session.known(Cursor(boot=1, last_seq=0, last_tick=0, fit=None))
    return session, module


def give(session, module, contract=None):
    old, module.contract = module.contract, contract or module.contract
    module.hello()
    module.contract = old
    return session.receive(Decoder().feed(module.send()), 0, UTC)


def happen(session, module, event):
    match event:
        case "opened":
            session.opened(10)
        case "closed":
            session.closed()
        case "hello":
            module.boot_id = 99
            give(session, module, CONTRACT)
        case "other":
            give(session, module, Contract(revision=9, digest_low=0, digest_high=0))
        case "denied":
            session.denied("no")
        case "known":
            session.known(Cursor(boot=2, last_seq=0, last_tick=0, fit=None))
        case "record":
            module.second()
            session.receive(Decoder().feed(module.send()), 0, UTC)
        case "time":
            session.time(10**6)


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("event", STATES[CLOSED])
def test_every_state_meets_every_event_as_the_table_says(state, event):
    session, module = in_state(state)
    assert session.state == state
    session.out.clear()
    kept = session.harvest.count
    happen(session, module, event)
    says = STATES[state][event]
    target = {"dropped, counted": state, "asks again": state, "waits": state, "ignored": state,
              "same boot: clock; another: opening": OPENING, "taken, dropped or asked for": state,
              "asks again, says hello, keeps alive": state}.get(says, says)
    # In OPENING the frames are handed back to wait, so the session itself sees nothing.
    assert session.state == target
    if says == "ignored":
        assert session.harvest.count == kept
        assert not session.out


def test_the_table_is_complete():
    events = set(STATES[CLOSED])
    assert all(set(row) == events for row in STATES.values())
    assert set(STATES) == {CLOSED, ASKING, OPENING, FLOWING, REFUSED}


def flowing(start_tick=0):
    session, module = in_state(FLOWING, start_tick)
    session.out.clear()
    return session, module


def talk(session, module, mono, data=None):
    """Hand bytes over and let the module answer."""
    session.receive(Decoder().feed(module.send() if data is None else data), mono, UTC + mono)
    module.receive(b"".join(session.out))
    session.out.clear()


def hear(session, data, mono):
    """Hand bytes over and answer for the store when the session asks it."""
    rest = session.receive(Decoder().feed(data), mono, UTC + mono)
    if session.state == OPENING:
        session.known(Cursor(boot=1, last_seq=session.expected - 1, last_tick=session.last_tick, fit=None))
        session.receive(rest, mono, UTC + mono)


def taken(session):
    return sorted(record[0] for kept in session.harvest.records.values() for record in kept)


def test_a_hole_is_asked_for_and_filled():
    session, module = flowing()
    module.second()
    wire = module.send().split(b"\0")
    talk(session, module, 100, b"\0".join([wire[0], *wire[2:]]))
    assert session.drops["ahead"] == 2
    talk(session, module, 200)
    assert taken(session) == [1, 2, 3, 4]
    assert session.harvest.gaps == []


def test_a_lost_question_is_repeated():
    session, module = flowing()
    module.second()
    wire = module.send().split(b"\0")
    session.receive(Decoder().feed(b"\0".join(wire[1:])), 100, UTC)
    session.out.clear()
    session.time(100 + sessions.ASK_AGAIN_MS)
    module.receive(b"".join(session.out))
    talk(session, module, 3000)
    assert taken(session) == [1, 2, 3, 4]


def test_repeated_records_are_dropped_and_counted():
    session, module = flowing()
    module.second()
    talk(session, module, 0)
    module.second()
    wire = module.send()
    talk(session, module, 0, wire + wire)
    assert taken(session) == [1, 2, 3, 4, 5, 6, 7, 8]
    assert session.drops["duplicate"] == 4
    assert session.state == FLOWING


def test_a_life_that_begins_like_the_last_one_is_noticed_though_its_hello_was_lost():
    """Both lives say the same at the same ticks; the second one goes on where the first one broke off."""
    session, module = flowing()
    module.second()
    talk(session, module, 0)
    module.reboot(boot_id=9)
    module.second()
    module.second()
    talk(session, module, 0)
    assert taken(session) == [1, 2, 3, 4]
    assert session.state == ASKING


def test_a_lost_record_becomes_a_gap_with_its_kinds():
    session, module = flowing()
    module.second()
    module.second()
    module.lose(2, 3)
    talk(session, module, 0)
    (gap,) = session.harvest.gaps
    assert (gap.first_seq, gap.last_seq, gap.count) == (2, 3, 2)
    assert gap.kinds == 1 << (messages.PRESSURE_WAVE - 16) | 1 << (messages.SUPPLY_CYCLES - 16)
    assert taken(session) == [1, 3, 4, 5, 6, 7, 8]


def test_a_hole_that_is_never_filled_becomes_a_gap():
    session, module = flowing()
    module.second()
    module.second()
    wire = module.send().split(b"\0")[:-1]
    for round_of in range(sessions.MISSES_MAX + 1):
        session.receive(Decoder().feed(b"\0".join([*wire[3:], b""])), round_of * 100, UTC)
    (gap,) = session.harvest.gaps
    assert (gap.first_seq, gap.last_seq, gap.reason) == (1, 3, "asked for in vain")
    assert taken(session) == [4, 5, 6, 7, 8]
    assert (gap.from_tick, gap.to_tick) == (0, 1000)


def test_records_that_another_host_acknowledged_are_a_gap():
    session, module = in_state(ASKING)
    module.second()
    module.acked = 2
    module.give = 3
    give(session, module)
    rest = session.receive([], 0, UTC)
    assert rest == []
    session.known(Cursor(boot=1, last_seq=0, last_tick=0, fit=None))
    module.give = 3
    talk(session, module, 0)
    (gap,) = session.harvest.gaps
    assert (gap.first_seq, gap.last_seq, gap.reason) == (1, 2, "acknowledged to another host")


def test_ticks_are_widened_past_the_wrap():
    session, module = flowing(start_tick=2**32 - 1500)
    for _ in range(3):
        module.second()
    talk(session, module, 0)
    ticks = [record[1] for record in session.harvest.records[messages.TREND]]
    assert ticks == [2**32 - 500, 2**32 + 500, 2**32 + 1500]


def test_a_module_first_met_after_its_ticks_wrapped_keeps_the_order_of_its_backlog():
    """Its hello says 1500 ms, its oldest records are from before the wrap: they lie before the hello."""
    module = ModuleDouble(CONTRACT, start_tick=2**32 - 3500)
    for _ in range(5):
        module.second()
    session = Session(CONTRACT, "test")
    session.opened(0)
    give(session, module)
    session.known(Cursor(boot=1, last_seq=0, last_tick=0, fit=None))
    session.timed_newest([session.hello.tick], UTC, 0)
    talk(session, module, 0, module.send())
    module.receive(b"".join(session.out))
    talk(session, module, 0)
    ticks = [record[1] for record in session.harvest.records[messages.TREND]]
    assert ticks == [2**32 - 2500 + 1000 * n for n in range(5)]
    (fit,) = session.harvest.fits
    assert fit.utc(2**32 + 1500) == UTC


def test_another_boot_is_noticed_though_its_hello_was_lost():
    session, module = flowing()
    for _ in range(3):
        module.second()
    talk(session, module, 0)
    module.reboot(boot_id=2)
    module.tick = 400
    module.second()
    session.receive(Decoder().feed(module.send()), 10, UTC)
    assert session.state == ASKING
    assert len(taken(session)) == 12


@pytest.mark.parametrize(("spoken", "words"), [
    (Contract(revision=4, digest_low=0x11, digest_high=0x22), "update the host program"),
    (Contract(revision=2, digest_low=0x11, digest_high=0x22), "update the module's firmware"),
    (Contract(revision=3, digest_low=0x12, digest_high=0x22), "other tables"),
])
def test_another_contract_is_refused_by_name(spoken, words):
    session, module = in_state(ASKING)
    give(session, module, spoken)
    assert session.state == REFUSED
    assert words in session.refusal


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_whatever_the_line_does_records_come_once_in_order_and_unchanged(data):
    session, module = flowing()
    mono = 0
    for _ in range(data.draw(st.integers(3, 12))):
        mono += 700
        module.second()
        blocks = module.send().split(b"\0")[:-1]
        out = []
        for block in blocks:
            fate = data.draw(st.sampled_from(["keep", "keep", "keep", "drop", "twice", "flip", "noise"]))
            if fate == "flip":
                place = data.draw(st.integers(0, len(block) - 1))
                block = block[:place] + bytes([block[place] ^ 0x55]) + block[place + 1:]
            out += {"drop": [], "twice": [block, block], "noise": [b"\x03\x01", block]}.get(fate, [block])
        hear(session, b"".join(one + b"\0" for one in out), mono)
        session.time(mono)
        module.receive(b"".join(session.out))
        session.out.clear()
    # A record lost at the very end shows when the next one comes.
    module.second()
    for _ in range(6):
        mono += sessions.ASK_AGAIN_MS
        session.time(mono)
        hear(session, module.send(), mono)
        module.receive(b"".join(session.out))
        session.out.clear()
    assert taken(session) == list(range(1, module.next_seq))
    for message_id, kept in session.harvest.records.items():
        for seq, tick, payload in kept:
            assert module.made[seq] == (message_id, tick, payload)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.sampled_from([row[0] for row in messages.MESSAGES if row[2] == "up"]),
                          st.integers(0, 2**32 - 1), st.integers(0, 2**32 - 1)), max_size=20))
def test_any_sound_frames_in_any_order_never_raise(script):
    session, _ = flowing()
    decoder = Decoder()
    for message_id, seq, tick in script:
        wire = frames.build(message_id, seq, tick, bytes(messages.LAYOUTS[message_id][2]))
        session.receive(decoder.feed(wire), 0, UTC)
        session.time(10_000)


def test_with_a_shared_key_every_word_but_the_first_is_signed_and_numbered():
    """Against `hmac` of the standard library: HMAC-SHA-256 over nonce and body, eight bytes."""
    key = b"0123456789abcdef"
    session, module = Session(CONTRACT, "test", key), ModuleDouble(CONTRACT)
    session.opened(0)
    give(session, module)
    session.known(Cursor(boot=1, last_seq=0, last_tick=0, fit=None))
    session.acknowledge(3)
    session.acknowledge(4)
    # Said again word for word, it is another frame all the same.
    session.say(messages.ACK, (1, 4))
    session.say(messages.ACK, (1, 4))
    request, *signed = [frames.unstuff(block) for block in b"".join(session.out).split(b"\0")[:-1]]
    assert request[0] == messages.HELLO_REQUEST
    numbers = []
    for frame in signed:
        body, code = frame[:-10], frame[-10:-2]
        nonce = (7).to_bytes(4, "little") + (8).to_bytes(4, "little")
        assert code == hmac.new(key, nonce + body, hashlib.sha256).digest()[:8]
        assert body[0] & 0x80
        numbers.append(int.from_bytes(body[1:5], "little"))
    assert numbers == sorted(set(numbers))
    assert numbers[0] > 0
