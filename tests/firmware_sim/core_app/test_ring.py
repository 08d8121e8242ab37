"""The ring against a plain model: in order, nothing lost in silence, and the right class goes first."""

from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_sim.contract import messages as m
from firmware_sim.core import ring as r
from firmware_sim.core.ring import Ring


def fill(ring, kind, count, size=40, tick=0):
    return [ring.put(kind, tick + n, bytes(size)) for n in range(count)]


def drain(ring):
    out = []
    while (record := ring.give()) is not None:
        out.append(record)
    return out


def lost_ranges(records):
    return [m.decode(m.LOST, payload)[0][:2] for kind, _, _, payload in records if kind == m.LOST]


def test_records_come_out_in_sequence_whatever_their_class():
    ring = Ring(8192)
    kinds = [m.PRESSURE_WAVE, m.ALARM, m.TREND, m.BREATH, m.CAPTURE, m.LOG, m.TREND]
    for n, kind in enumerate(kinds):
        ring.put(kind, n * 100, bytes([n]) * (10 + 30 * n))
    out = drain(ring)
    assert [record[:3] for record in out] == [(kind, n + 1, n * 100) for n, kind in enumerate(kinds)]
    assert [payload for *_, payload in out] == [bytes([n]) * (10 + 30 * n) for n in range(7)]
    assert ring.give() is None


def test_samples_go_before_trends_before_breaths_before_alarms():
    ring = Ring(34 * 35)
    alarms = fill(ring, m.ALARM, 4, 13)
    waves = fill(ring, m.PRESSURE_WAVE, 3, 200)
    trends = fill(ring, m.TREND, 6, 45)
    # The newest trends pushed out the oldest wave.
    assert ring.lost == 1 and ring.lost_seq == waves[0]
    breaths = fill(ring, m.BREATH, 12, 21)
    events = fill(ring, m.ALARM, 12, 13)
    kept = {seq for kind, seq, _, _ in drain(ring) if kind != m.LOST}
    assert kept >= {*alarms, *events}
    assert not kept & set(waves)
    assert len(kept & set(breaths)) > len(kept & set(trends))


def test_a_low_newcomer_never_pushes_out_a_higher_record():
    ring = Ring(34 * 10)
    fill(ring, m.ALARM, 10, 13)
    wave = ring.put(m.PRESSURE_WAVE, 5, bytes(200))
    out = drain(ring)
    assert [kind for kind, *_ in out[:10]] == [m.ALARM] * 10
    assert lost_ranges(out) == [(wave, wave)]


def test_one_lost_record_stands_in_for_a_run_and_names_its_place_in_time():
    ring = Ring(34 * 8)
    ring.put(m.ALARM, 1000, bytes(13))
    ring.put(m.PRESSURE_WAVE, 2000, bytes(100))
    ring.put(m.SUPPLY_CYCLES, 2000, bytes(24))
    for n in range(7):
        ring.put(m.ALARM, 3000 + n, bytes(13))
    out = drain(ring)
    kind, seq, tick, payload = out[1]
    values, _ = m.decode(kind, payload)
    assert (kind, seq, tick) == (m.LOST, 3, 3000)
    waves_and_cycles = 1 << (m.PRESSURE_WAVE - 16) | 1 << (m.SUPPLY_CYCLES - 16)
    assert values == (2, 3, 2, waves_and_cycles, 1000, 3000)
    assert ring.ack(10)
    assert ring.lost_kinds == 0 and ring.fill() == 0


def test_a_rewound_ring_gives_the_same_records_again():
    ring = Ring(8192)
    fill(ring, m.TREND, 10)
    first = drain(ring)
    ring.rewind(4)
    assert drain(ring) == first[3:]
    assert ring.ack(6)
    ring.rewind()
    assert drain(ring) == first[6:]
    ring.rewind(2)
    assert drain(ring) == first[6:]


def test_what_was_not_given_out_cannot_be_acknowledged():
    ring = Ring(8192)
    fill(ring, m.TREND, 3)
    assert not ring.ack(1)
    ring.give()
    assert ring.ack(1) and not ring.ack(2)


OPERATIONS = st.lists(
    st.one_of(
        st.tuples(st.just("put"), st.sampled_from(sorted(r.CLASS_OF)), st.integers(0, 700)),
        st.tuples(st.just("give"), st.integers(1, 5)),
        st.tuples(st.just("ack"), st.integers(0, 400)),
        st.tuples(st.just("rewind"), st.integers(0, 400)),
    ),
    max_size=120,
)


@settings(max_examples=150, deadline=None)
@given(OPERATIONS)
def test_every_sequence_is_given_in_order_as_itself_or_as_lost(operations):
    ring = Ring(4096)
    sent, expected = {}, 1
    for name, *rest in operations:
        if name == "put":
            seq = ring.put(rest[0], len(sent), bytes([len(sent) & 255]) * rest[1])
            sent[seq] = (rest[0], bytes([len(sent) & 255]) * rest[1])
        elif name == "ack":
            ring.ack(rest[0])
        elif name == "rewind":
            before = expected
            ring.rewind(rest[0])
            expected = ring.give_seq
            assert expected <= before
        else:
            for _ in range(rest[0]):
                expected = check_next(ring, sent, expected)
    ring.rewind()
    expected = ring.acked + 1
    while ring.give_seq < ring.next_seq:
        expected = check_next(ring, sent, expected)
    assert expected == ring.next_seq
    ring.ack(ring.next_seq - 1)
    assert ring.free_count == ring.blocks


def check_next(ring, sent, expected):
    record = ring.give()
    if record is None:
        assert expected == ring.next_seq
        return expected
    kind, seq, _, payload = record
    if kind == m.LOST:
        first, last, count, *_ = m.decode(kind, payload)[0]
        assert (first, last, count) == (expected, seq, seq - expected + 1)
    else:
        assert seq == expected
        assert sent[seq] == (kind, payload)
    return seq + 1


def test_a_ring_emptied_again_and_again_begins_anew_each_time():
    """Far more goes through than fits, in rows while the host keeps up and in chains when it lags."""
    ring, said = Ring(34 * 64), 0
    for turn in range(200):
        made = []
        for n in range(1 + turn % 9):
            kind, payload = (m.TREND, m.PRESSURE_WAVE, m.ALARM)[n % 3], bytes([turn, n]) * (7 + n * 9)
            made.append((kind, ring.put(kind, 10 * turn, payload), 10 * turn, payload))
        assert drain(ring) == made
        said = made[-1][1]
        # Now and then the host lags: all but the newest record is acknowledged.
        assert ring.ack(said if turn % 5 else said - 1)
    assert ring.ack(said)
    assert ring.lost == 0
    assert ring.fill() == 0


def test_what_was_lost_after_an_emptied_ring_is_told_from_the_last_tick_that_arrived():
    ring = Ring(34 * 8)
    ring.put(m.TREND, 500, bytes(40))
    drain(ring)
    assert ring.ack(1)
    ring.put(m.TREND, 700, bytes(40))
    drain(ring)
    ring.rewind()
    fill(ring, m.ALARM, 4, 40, tick=900)
    first = ring.give()
    assert first[0] == m.LOST
    assert m.decode(m.LOST, first[3])[0][4] == 500
