"""Planted mistakes, each put into the code for one test only, and the promise that must catch it."""

import inspect
import sys
import textwrap
from contextlib import contextmanager
from dataclasses import dataclass

from firmware_sim.contract import frames
from firmware_sim.core.alarm_system import AlarmSystem
from firmware_sim.core.ring import Ring
from firmware_sim.core.settings_store import SettingsStore
from ingest.link.session import Session
from ingest.pipeline import Pipeline
from ingest.sinks.forwarder import Forwarder
from ingest.store.writer import Writer


@dataclass(frozen=True)
class Mutant:
    """Replace `old` by `new` in the text of owner.function; `caught_by` is the check that must notice."""

    name: str
    owner: object
    function: str
    old: str
    new: str
    caught_by: str
    more: tuple = ()

    def applied(self, text):
        """Return the text of the function with the mistake in it."""
        for old, new in ((self.old, self.new), *self.more):
            assert text.count(old) == 1, f"{self.name}: '{old}' stands {text.count(old)} times"
            text = text.replace(old, new)
        return text


MUTANTS = (
    Mutant("CRC off", frames, "parse", "if crc_hqx(body, 0xFFFF) != data[-2] | data[-1] << 8:", "if False:",
           "nothing invented"),
    Mutant("acknowledge before commit", Pipeline, "_commit", "self._in_flight = last_seq",
           "self._in_flight = last_seq; session.acknowledge(last_seq)", "acknowledged means durable"),
    Mutant("dedupe off", Session, "_repeated", 'self.drops["duplicate"] += 1',
           "return self._take(message_id, seq, clocks.widen(raw, self.last_tick), frame[3])",
           "nothing twice"),
    Mutant("cursor before write", Forwarder, "_older", "body = self._read(place.boot, place.seq, upto)",
           "body = self._read(place.boot, place.seq, upto); self._save(replace(place, seq=upto))",
           "forwarded whole"),
    Mutant("store's cursor before the records", Writer, "_put_batch", "before = self._committed(boot)",
           'before = self._committed(boot); connection.execute("UPDATE boot SET last_seq = max(last_seq, ?) '
           'WHERE id = ?", (batch.last_seq, boot)); connection.execute("COMMIT"); '
           'connection.execute("BEGIN IMMEDIATE")', "the model agrees"),
    Mutant("ring overwrites alarms before samples", Ring, "_make_room", "for lower in range(rank + 1):",
           "for lower in range(rank, -1, -1):", "alarms outlive samples"),
    Mutant("tick wrap ignored", Session, "receive",
           "tick = self.last_tick + ((raw - self.last_tick) & 0xFFFFFFFF)",
           "tick = raw; self.last_tick = min(self.last_tick, raw)", "nothing invented"),
    Mutant("torn settings accepted", SettingsStore, "_read", "if data[-SUM_SIZE:] != _sum(data[:-SUM_SIZE]):",
           "if False:", "settings whole", ((" if self.check(values) is None else ()", ""),)),
    Mutant("alarms signalled once a second", AlarmSystem, "signal", "self.annunciator.step(steps)",
           "self.annunciator.step(steps) if self.countdown == 10 else None", "alarms in time"),
    Mutant("noise hoarded", frames.Splitter, "feed", "if len(self.rest) > FRAME_MAX:", "if False:",
           "queues bounded"),
    Mutant("holes forgotten", Session, "_ahead", "if not self._hole_seen:",
           "if not self._hole_seen:\n        self.expected = seq", "nothing lost in silence"),
    Mutant("no acknowledgement is said", Session, "acknowledge", "if self.state == FLOWING and",
           "if False and", "settles"),
)


@contextmanager
def planted(mutant):
    """Put a mutant into the running code, and take it out again."""
    function = inspect.getattr_static(mutant.owner, mutant.function)
    text = textwrap.dedent(inspect.getsource(function))
    space = sys.modules[function.__module__].__dict__
    made = {}
    exec(compile(mutant.applied(text), f"<{mutant.name}>", "exec"), space, made)
    setattr(mutant.owner, mutant.function, made[mutant.function])
    try:
        yield
    finally:
        setattr(mutant.owner, mutant.function, function)
