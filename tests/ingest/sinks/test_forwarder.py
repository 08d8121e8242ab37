"""Forwarding: every answer by its table, outages, live before backlog, a cursor that never loses or skips.

Statuses, Retry-After and partial writes come from a scripted server on loopback; the real server is in
test_real_server.py.
"""

import random

import pytest

from ingest.control_client import socket_path
from ingest.inline import Inline
from ingest.pipeline import this_contract
from ingest.sinks.cursors import Cursors
from ingest.sinks.forwarder import Forwarder, Halted
from ingest.sinks.influx import InfluxSender, open_sender
from ingest.sinks.outcomes import (
    ACCEPTED,
    HALTED,
    OUTCOMES,
    RETRY,
    RETRY_AFTER_MAX_S,
    SPLIT,
    Answer,
    outcome,
    wait_s,
)
from ingest.store.outbox import Outbox
from tests.support.module_double import ModuleDouble
from tests.support.scripted_server import ScriptedServer
from tests.support.store_check import lines_of

UTC = 1_700_000_000_000


class Recording:
    """A store that grows by whole minutes."""

    def __init__(self, path):
        self.path = path
        self.module = ModuleDouble(this_contract())
        self.inline = Inline(path, UTC, site="clinic, north", bed="3", commit_ms=0)
        self.now = 0

    def minutes(self, count):
        for _ in range(count * 60):
            self.module.second()
            self.now += 1000
            self.module.receive(self.inline.feed(self.module.send(), self.now, UTC + self.now))


@pytest.fixture
def recording(tmp_path):
    made = Recording(tmp_path / "s.db")
    made.minutes(2)
    yield made
    made.inline.close()


@pytest.fixture
def server():
    made = []

    def start(*arguments, **options):
        made.append(ScriptedServer(*arguments, **options))
        return made[-1]

    yield start
    for one in made:
        one.close()


def forward(recording, server, batch_records=100, waits=None, rounds=10_000):
    """Run a forwarder over a store until nothing is left; the cursor goes through the store's open writer."""
    outbox = Outbox(recording.path, "test")
    sender = InfluxSender(server.url, org="o", bucket="b", token="t", timeout_s=5)

    def save(place):
        from ingest.store.outbox import put_place

        with recording.inline.writer.transaction() as connection:
            put_place(connection, "test", place)

    waits = [] if waits is None else waits
    forwarder = Forwarder(outbox, sender, save=save, sleep=waits.append, batch_records=batch_records)
    try:
        for _ in range(rounds):
            if not forwarder.round():
                break
    finally:
        forwarder.close()
        sender.close()
        outbox.close()
    return forwarder.tally


def expected(recording):
    outbox = Outbox(recording.path, "other")
    lines = [line for place in outbox.places() for line in lines_of(outbox, place.boot, 0, place.newest)]
    outbox.close()
    return lines


def test_every_record_arrives_once_and_again_nothing(recording, server):
    one = server()
    tally = forward(recording, one)
    assert sorted(one.lines) == sorted(expected(recording))
    assert len(one.lines) == 120 + 30
    assert (tally.lines, tally.retries, tally.rejected) == (150, 0, 0)
    assert forward(recording, one).requests == 0
    assert all("bucket=b" in path and "precision=ms" in path for path in one.paths)
    trend = min(line for line in one.lines if line.startswith("trend"))
    assert trend.startswith(
        r"trend,bed=3,module=00001234,simulated=yes,site=clinic\,\ north in_rms=23001e-2,"
    )


def test_beyond_this_machine_lines_are_packed(recording, server):
    one, outbox = server(), Outbox(recording.path, "packed")
    body = outbox.body(1, 0, 999)
    outbox.close()
    sender = InfluxSender(one.url, org="o", bucket="b", token="t", gzip=True)
    assert sender(body).status == 204
    sender.close()
    assert one.lines == body.decode().split("\n")
    assert one.packed == 1
    for url, packs in ((one.url, False), ("http://localhost:1", False), ("http://[::1]:1", False),
                       ("http://192.0.2.1:8086", True), ("https://192.0.2.1:8443", True)):  # fmt: skip
        made = open_sender(url, "o", "b", None)
        assert made.gzip is packs
        made.close()


@pytest.mark.parametrize("status", OUTCOMES)
def test_each_status_has_its_outcome(recording, server, status):
    what, _ = OUTCOMES[status]
    one, waits = server([(status, {})]), []
    if what == HALTED:
        with pytest.raises(Halted, match=str(status)):
            forward(recording, one, waits=waits)
        assert one.lines == []
        # Mended by a person, it goes on where it was.
        forward(recording, one)
    else:
        tally = forward(recording, one, waits=waits)
        assert tally.retries == (1 if what == RETRY else 0)
        assert waits == ([1.0] if what == RETRY else [])
    if what == ACCEPTED:
        # The script took the first body without keeping it.
        assert len(one.lines) < 150
    else:
        assert sorted(one.lines) == sorted(expected(recording))


def test_retry_after_is_obeyed_within_reason(recording, server):
    waits = []
    forward(
        recording,
        server([(429, {"Retry-After": "17"}), (503, {"Retry-After": "999999"}), (503, {})]),
        waits=waits,
    )
    assert waits == [17.0, RETRY_AFTER_MAX_S, 4.0]


def test_waiting_doubles_and_ends_doubling():
    waits = [wait_s(Answer(status=500), failures) for failures in range(1, 15)]
    assert waits[:4] == [1, 2, 4, 8]
    assert max(waits) == 300


def test_an_unknown_status_is_tried_again():
    assert outcome(Answer(status=599))[0] == RETRY
    assert outcome(Answer(status=None))[0] == RETRY


def test_too_large_a_body_is_cut_until_it_fits(recording, server):
    one = server(lines_max=7)
    tally = forward(recording, one)
    assert sorted(one.lines) == sorted(expected(recording))
    assert tally.rejected == 0


def test_a_line_that_is_refused_alone_is_counted_and_the_others_arrive(recording, server):
    bad = {expected(recording)[17], expected(recording)[60]}
    one = server(accept=lambda line: line not in bad)
    tally = forward(recording, one)
    assert tally.rejected == 2
    assert set(one.lines) == set(expected(recording)) - bad
    outbox = Outbox(recording.path, "test")
    assert outbox.places()[0].rejected == 2
    outbox.close()


def test_a_day_without_the_server_loses_nothing_and_live_records_go_first(recording, server):
    recording.minutes(10)
    one = server()
    forward(recording, one, batch_records=200, rounds=1)
    first = [int(line.rsplit(" ", 1)[1]) for line in one.lines]
    assert max(first) == max(int(line.rsplit(" ", 1)[1]) for line in expected(recording))
    recording.minutes(1)
    forward(recording, one, batch_records=200)
    assert set(one.lines) == set(expected(recording))


def test_a_server_that_is_not_there_is_waited_for(recording, server):
    gone = server()
    gone.close()
    waits = []

    class Enough(Exception):
        pass

    def patience(seconds):
        waits.append(seconds)
        if len(waits) == 4:
            raise Enough

    sender = InfluxSender(gone.url, org="o", bucket="b", token="t", timeout_s=2)
    outbox = Outbox(recording.path, "test")
    forwarder = Forwarder(outbox, sender, save=lambda place: None, sleep=patience)
    with pytest.raises(Enough):
        forwarder.round()
    assert waits == [1, 2, 4, 8]
    sender.close()
    outbox.close()


def test_cut_anywhere_between_sending_and_the_cursor_nothing_is_lost(recording, server):
    """The save fails at random: what was sent is sent again, the same lines."""
    luck, one = random.Random(3), server()
    outbox = Outbox(recording.path, "test")
    sender = InfluxSender(one.url, org="o", bucket="b", token="t")

    def save(place):
        from ingest.store.outbox import put_place

        # The cursor never says more than the server has.
        assert set(lines_of(outbox, place.boot, 0, place.seq)) <= set(one.lines)
        if luck.random() < 0.5:
            raise ConnectionError
        with recording.inline.writer.transaction() as connection:
            put_place(connection, "test", place)

    while True:
        try:
            if not Forwarder(outbox, sender, save=save, batch_records=40).round():
                break
        except ConnectionError:
            continue
    assert set(one.lines) == set(expected(recording))
    assert len(one.lines) > 150
    sender.close()
    outbox.close()


def test_the_cursor_is_kept_without_a_daemon(tmp_path, server):
    made = Recording(tmp_path / "s.db")
    made.minutes(1)
    made.inline.close()
    assert not socket_path(made.path).exists()
    for rounds in (1, 2):
        outbox = Outbox(made.path, "test")
        one = server()
        sender = InfluxSender(one.url, org="o", bucket="b", token="t")
        Forwarder(outbox, sender, save=Cursors(made.path, "test").save).round()
        assert bool(one.lines) == (rounds == 1)
        sender.close()
        outbox.close()


def test_labels_never_change_once_they_were_sent(recording, server):
    """A later estimate of the clock labels later records only."""
    before = expected(recording)
    recording.inline.link.pipeline.commit_ms = 60_000
    recording.now += 400
    recording.minutes(70)
    assert set(before) <= set(expected(recording))


def test_the_table_names_what_a_person_can_do():
    for what, why in OUTCOMES.values():
        assert why or what == ACCEPTED
        assert what in (ACCEPTED, RETRY, SPLIT, HALTED)
