"""One link, step by step: an event in, effects out. No port, no file, no clock: `now` is handed in.

    effects = pipeline.step(Received(data), now)

The state belongs to the pipeline object and moves only in `step`; the same events at the same times give
the same effects. An acknowledgement is only ever the effect of `Committed`.
"""

from dataclasses import dataclass
from typing import NamedTuple

from firmware_sim.contract import REVISION, messages
from firmware_sim.contract.digest import digest
from ingest.link.decoder import Decoder, Frame
from ingest.link.session import ASKING, CLOSED, FLOWING, OPENING, REFUSED, Contract, Harvest, Session
from ingest.records import Batch, Cursor, Hello
from ingest.records import Session as SessionCounts

# So many records are committed at once at most; a backlog is cut into batches of this size.
BATCH_RECORDS_MAX = 5000
# A module that hears nothing for long reports 'link lost': the last acknowledgement is repeated this often.
KEEP_ALIVE_MS = 2000


class Now(NamedTuple):
    """Two clocks: `mono` for intervals, which never jumps, and `utc` for labels; both in ms."""

    mono: int
    utc: int


@dataclass(frozen=True, slots=True)
class Opened:
    """The port is open."""


@dataclass(frozen=True, slots=True)
class Received:
    """The port brought bytes."""

    data: bytes


@dataclass(frozen=True, slots=True)
class Known:
    """The store told how far the module's boot is committed."""

    cursor: Cursor


@dataclass(frozen=True, slots=True)
class Denied:
    """The store won't take this module from this link."""

    reason: str


@dataclass(frozen=True, slots=True)
class Committed:
    """Batches up to this sequence of this boot are on the disk."""

    boot: int
    last_seq: int


@dataclass(frozen=True, slots=True)
class Elapsed:
    """Time went by."""


@dataclass(frozen=True, slots=True)
class Tell:
    """Somebody wants a message sent to the module: message id, values without the boot id, tail."""

    message_id: int
    values: tuple[int, ...]
    tail: bytes


@dataclass(frozen=True, slots=True)
class Closed:
    """The port is gone; `reason` in a few words."""

    reason: str


Event = Opened | Received | Known | Denied | Committed | Elapsed | Tell | Closed


@dataclass(frozen=True, slots=True)
class Send:
    """Write bytes to the port."""

    data: bytes


@dataclass(frozen=True, slots=True)
class LookUp:
    """Ask the store how far this module's boot is committed; the answer is Known or Denied."""

    hello: Hello


@dataclass(frozen=True, slots=True)
class Commit:
    """Put this on the disk, then say Committed."""

    batch: Batch


@dataclass(frozen=True, slots=True)
class Refuse:
    """Stop this link; the sentence is for a person."""

    sentence: str


Effect = Send | LookUp | Commit | Refuse


class Pipeline:
    """Move one link from bytes to batches.

    `commit_ms`: how long a record waits for company before it is committed.
    """

    def __init__(
        self, link: str, contract: Contract, commit_ms: int = 1000, key: bytes | None = None
    ) -> None:
        self.link = link
        self.commit_ms = commit_ms
        self.session = Session(contract, link, key)
        self.decoder = Decoder()
        self.records = 0
        self._waiting: list[Frame] = []
        self._opened_utc = 0
        self._seen_utc = 0
        self._first_pending: int | None = None
        self._in_flight = 0
        self._committed = 0
        self._kept_alive = 0
        self._told_refusal = False

    @property
    def state(self) -> str:
        """Return the state of the link's session."""
        return self.session.state

    @property
    def hello(self) -> Hello | None:
        """Return who speaks, None before the module said so."""
        return self.session.hello

    @property
    def boot(self) -> int:
        """Return the store's key of the module's boot, 0 before it is known."""
        return self.session.boot

    def step(self, event: Event, now: Now) -> list[Effect]:
        """Take one event; return what is to be done, in order."""
        effects: list[Effect] = []
        match event:
            case Received(data):
                self._received(data, now, effects)
            case Elapsed():
                self.session.time(now.mono)
                self._commit_if_due(now, effects)
                self._keep_alive(now)
            case Committed(boot, last_seq):
                self._is_committed(boot, last_seq, now)
                self._commit_if_due(now, effects)
            case Known(cursor):
                self._is_known(cursor, now, effects)
            case Denied(reason):
                self.session.denied(reason)
            case Opened():
                self._opens(now)
            case Tell(message_id, values, tail):
                self._tell(message_id, values, tail)
            case Closed(reason):
                self._closes(reason, now, effects)
        self._finish(effects)
        return effects

    def _opens(self, now: Now) -> None:
        self._opened_utc = self._seen_utc = now.utc
        self.decoder = Decoder()
        self.records = 0
        self.session.restart_counts()
        self.session.opened(now.mono)

    def _received(self, data: bytes, now: Now, effects: list[Effect]) -> None:
        self._seen_utc = now.utc
        arrived = self.decoder.feed(data)
        if self._waiting:
            self._waiting += arrived
            return
        self._take(arrived, now, effects)
        self._commit_if_due(now, effects)

    def _take(self, arrived: list[Frame], now: Now, effects: list[Effect]) -> None:
        session = self.session
        boot = session.boot
        rest = session.receive(arrived, now.mono, now.utc)
        if session.harvest.count and self._first_pending is None:
            self._first_pending = now.mono
        if session.state == OPENING:
            # What came before belongs to the old boot.
            self._commit(boot, effects)
            self._waiting = rest
            assert session.hello is not None
            effects.append(LookUp(session.hello))

    def _is_known(self, cursor: Cursor, now: Now, effects: list[Effect]) -> None:
        session = self.session
        session.known(cursor)
        if session.state != FLOWING:
            return
        assert session.hello is not None
        self._committed = cursor.last_seq
        self._in_flight = 0
        waiting, self._waiting = self._waiting, []
        ticks = [session.hello.tick, *(frame[2] for frame in waiting)]
        session.timed_newest(ticks, now.utc, now.mono)
        session.acknowledge(cursor.last_seq)
        self._take(waiting, now, effects)
        self._commit_if_due(now, effects)

    def _commit_if_due(self, now: Now, effects: list[Effect]) -> None:
        harvest = self.session.harvest
        # What is known of a new boot's clock goes with its first record, which may still correct it.
        fits = harvest.fits and not self.session.is_new
        if self._in_flight or not self.session.boot or not (harvest.count or fits or harvest.gaps):
            return
        if self._first_pending is None:
            self._first_pending = now.mono
        if harvest.count >= BATCH_RECORDS_MAX or now.mono - self._first_pending >= self.commit_ms:
            self._commit(self.session.boot, effects)

    def _commit(self, boot: int, effects: list[Effect], closed: int | None = None, reason: str = "") -> None:
        session = self.session
        harvest, session.harvest = session.harvest, Harvest()
        self._first_pending = None
        if not boot:
            return
        self.records += harvest.count
        last_seq = max((kept[-1][0] for kept in harvest.records.values()), default=0)
        last_tick = max((kept[-1][1] for kept in harvest.records.values()), default=0)
        self._in_flight = last_seq
        effects.append(
            Commit(
                Batch(
                    boot=boot,
                    last_seq=last_seq,
                    last_tick=last_tick,
                    records=harvest.records,
                    gaps=tuple(harvest.gaps),
                    fits=tuple(harvest.fits),
                    session=self.counts(closed, reason),
                )
            )
        )

    def _is_committed(self, boot: int, last_seq: int, now: Now) -> None:
        if boot != self.session.boot:
            return
        self._in_flight = 0
        if last_seq:
            self._committed = max(self._committed, last_seq)
            self._kept_alive = now.mono
            self.session.acknowledge(self._committed)
            self.session.time_the_clock(now.mono)

    def _keep_alive(self, now: Now) -> None:
        if self.session.state == FLOWING and now.mono - self._kept_alive >= KEEP_ALIVE_MS:
            self._kept_alive = now.mono
            self.session.acknowledge(self._committed)

    def _tell(self, message_id: int, values: tuple[int, ...], tail: bytes) -> None:
        session = self.session
        if session.state != FLOWING or session.hello is None:
            return
        named = message_id == messages.COMMAND
        session.say(message_id, (session.hello.boot_id, *values) if named else values, tail)

    def _closes(self, reason: str, now: Now, effects: list[Effect]) -> None:
        self._seen_utc = now.utc
        boot = self.session.boot
        self.session.closed()
        self._waiting = []
        self._commit(boot, effects, closed=now.utc, reason=reason)

    def _finish(self, effects: list[Effect]) -> None:
        session = self.session
        if session.out:
            effects.append(Send(b"".join(session.out)))
            session.out.clear()
        if session.state == REFUSED and not self._told_refusal:
            self._told_refusal = True
            effects.append(Refuse(session.refusal))

    def counts(self, closed: int | None = None, reason: str = "") -> SessionCounts:
        """Return what this opening of the link counted so far."""
        decoder, session = self.decoder, self.session
        counters = {
            "bytes": decoder.bytes,
            "frames": decoder.frames,
            "records": self.records,
            "resend": session.resends,
            **decoder.drops,
            **session.drops,
        }
        return SessionCounts(
            link=self.link,
            opened_utc=self._opened_utc,
            seen_utc=self._seen_utc,
            closed_utc=closed,
            reason=reason,
            counters=counters,
        )


def this_contract() -> Contract:
    """Return the contract that this program speaks."""
    low, high = digest()
    return Contract(revision=REVISION, digest_low=low, digest_high=high)


__all__ = [
    "ASKING",
    "CLOSED",
    "FLOWING",
    "OPENING",
    "REFUSED",
    "Closed",
    "Commit",
    "Committed",
    "Contract",
    "Denied",
    "Effect",
    "Elapsed",
    "Event",
    "Known",
    "LookUp",
    "Now",
    "Opened",
    "Pipeline",
    "Received",
    "Refuse",
    "Send",
    "Tell",
    "this_contract",
]
