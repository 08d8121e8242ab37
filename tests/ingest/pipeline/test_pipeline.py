"""The pipeline as a pure step: what it asks for, in which order, and that it does so again."""

import random

from firmware_sim.contract import frames, messages
from ingest.link.session import Contract
from ingest.pipeline import (
    KEEP_ALIVE_MS,
    Closed,
    Commit,
    Committed,
    Elapsed,
    Known,
    LookUp,
    Now,
    Opened,
    Pipeline,
    Received,
    Refuse,
    Send,
)
from ingest.records import Cursor
from tests.support.module_double import ModuleDouble

CONTRACT = Contract(revision=3, digest_low=0x11, digest_high=0x22)
UTC = 1_700_000_000_000


def at(mono):
    return Now(mono, UTC + mono)


def said(effects):
    """Name what the Send effects tell the module."""
    kinds = []
    for effect in effects:
        if isinstance(effect, Send):
            for block in effect.data.split(b"\0")[:-1]:
                kind, _, _, payload = frames.parse(block)
                kinds.append((messages.LAYOUTS[kind][0], messages.decode(kind, payload)[0]))
    return kinds


def flowing(commit_ms=1000):
    pipeline, module = Pipeline("test", CONTRACT, commit_ms), ModuleDouble(CONTRACT)
    module.hello()
    pipeline.step(Opened(), at(0))
    (look_up,) = pipeline.step(Received(module.send()), at(0))
    assert isinstance(look_up, LookUp)
    assert look_up.hello.module == module.module
    pipeline.step(Known(Cursor(boot=5, last_seq=0, last_tick=0, fit=None)), at(0))
    return pipeline, module


def commits(effects):
    return [effect.batch for effect in effects if isinstance(effect, Commit)]


def test_an_acknowledgement_is_the_effect_of_a_commit_and_of_nothing_else():
    pipeline, module = flowing()
    module.second()
    effects = pipeline.step(Received(module.send()), at(100))
    effects += pipeline.step(Elapsed(), at(1100))
    (batch,) = commits(effects)
    assert (batch.boot, batch.last_seq) == (5, 4)
    assert not [kind for kind, _ in said(effects) if kind == "ack"]
    # However long the disk takes, nothing is acknowledged before it says so.
    assert not [values for kind, values in said(pipeline.step(Elapsed(), at(9000))) if values[1]]
    assert ("ack", (1, 4)) in said(pipeline.step(Committed(5, 4), at(9100)))


def test_while_a_batch_is_on_its_way_the_next_one_gathers():
    pipeline, module = flowing(commit_ms=0)
    module.second()
    (first,) = commits(pipeline.step(Received(module.send()), at(0)))
    module.second()
    assert commits(pipeline.step(Received(module.send()), at(10))) == []
    (second,) = commits(pipeline.step(Committed(5, first.last_seq), at(20)))
    assert second.last_seq == 8


def test_a_silent_line_is_kept_alive_with_the_last_acknowledgement():
    pipeline, module = flowing()
    module.second()
    pipeline.step(Received(module.send()), at(0))
    pipeline.step(Elapsed(), at(1000))
    pipeline.step(Committed(5, 4), at(1000))
    assert said(pipeline.step(Elapsed(), at(1500))) == []
    assert ("ack", (1, 4)) in said(pipeline.step(Elapsed(), at(1000 + KEEP_ALIVE_MS)))


def test_another_boot_closes_the_batch_of_the_old_one():
    pipeline, module = flowing(commit_ms=60_000)
    module.second()
    wire = module.send()
    module.reboot(boot_id=2)
    module.hello()
    module.second()
    effects = pipeline.step(Received(wire + module.send()), at(100))
    assert [type(effect) for effect in effects if not isinstance(effect, Send)] == [Commit, LookUp]
    assert commits(effects)[0].boot == 5
    # A module that started again obeys nobody before it is greeted, and is greeted at once.
    assert [kind for kind, _ in said(effects)] == ["hello_request"]
    effects = pipeline.step(Known(Cursor(boot=6, last_seq=0, last_tick=0, fit=None)), at(100))
    effects += pipeline.step(Elapsed(), at(61_000))
    assert [(batch.boot, batch.last_seq) for batch in commits(effects)] == [(6, 4)]


def test_records_that_wait_for_the_store_are_taken_in_order_afterwards():
    pipeline, module = Pipeline("test", CONTRACT, 0), ModuleDouble(CONTRACT)
    module.hello()
    pipeline.step(Opened(), at(0))
    module.second()
    pipeline.step(Received(module.send()), at(0))
    module.second()
    assert pipeline.step(Received(module.send()), at(10)) == []
    (batch,) = commits(pipeline.step(Known(Cursor(boot=1, last_seq=0, last_tick=0, fit=None)), at(20)))
    assert batch.last_seq == 8


def test_what_is_pending_when_the_port_goes_is_committed():
    pipeline, module = flowing()
    module.second()
    pipeline.step(Received(module.send()), at(0))
    (batch,) = commits(pipeline.step(Closed("unplugged"), at(10)))
    assert (batch.last_seq, batch.session.reason, batch.session.closed_utc) == (4, "unplugged", UTC + 10)


def test_a_refused_module_is_named_once():
    pipeline, module = (
        Pipeline("test", CONTRACT),
        ModuleDouble(Contract(revision=9, digest_low=0, digest_high=0)),
    )
    pipeline.step(Opened(), at(0))
    module.hello()
    effects = pipeline.step(Received(module.send()), at(0))
    assert [type(effect) for effect in effects] == [Refuse]
    module.hello()
    module.second()
    assert pipeline.step(Received(module.send()), at(10)) == []


def test_a_host_clock_that_jumps_moves_no_interval():
    pipeline, module = flowing()
    module.second()
    pipeline.step(Received(module.send()), Now(0, UTC))
    assert commits(pipeline.step(Elapsed(), Now(1100, UTC - 31_536_000_000)))


def test_the_same_events_give_the_same_effects():
    def run():
        luck, pipeline, module = random.Random(7), Pipeline("test", CONTRACT, 500), ModuleDouble(CONTRACT)
        trace = [pipeline.step(Opened(), at(0))]
        module.hello()
        for turn in range(200):
            module.second()
            wire = bytearray(module.send())
            if luck.random() < 0.3 and wire:
                wire[luck.randrange(len(wire))] ^= 1 << luck.randrange(8)
            effects = pipeline.step(Received(bytes(wire)), at(turn * 300))
            effects += pipeline.step(Elapsed(), at(turn * 300))
            for effect in list(effects):
                if isinstance(effect, LookUp):
                    effects += pipeline.step(
                        Known(Cursor(boot=1, last_seq=0, last_tick=0, fit=None)), at(turn * 300)
                    )
                if isinstance(effect, Commit):
                    effects += pipeline.step(Committed(1, effect.batch.last_seq), at(turn * 300))
                if isinstance(effect, Send):
                    module.receive(effect.data)
            trace.append(effects)
        return trace

    assert run() == run()
