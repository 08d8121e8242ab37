"""The near end of one link: who speaks, which record comes next, what to ask for again.

Records are taken strictly in sequence. What comes ahead of its turn is dropped and asked for again; the
module answers from its ring, and a hole that it can't fill comes as a `lost` record in its place. The state
table is STATES; every state meets every event, or the pair is listed as ignored.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from firmware_sim.contract import frames, messages
from ingest.link import clock as clocks
from ingest.link.clock import Clock
from ingest.link.decoder import Frame
from ingest.records import ClockFit, Cursor, Gap, Hello, Record

CLOSED, ASKING, OPENING, FLOWING, REFUSED = "closed", "asking", "opening", "flowing", "refused"

# state -> event -> what happens; events: opened, closed, hello, other (a hello of another contract),
# denied, known, record, time.
STATES: dict[str, dict[str, str]] = {
    CLOSED: {
        "opened": ASKING,
        "closed": "ignored",
        "hello": "ignored",
        "other": "ignored",
        "denied": "ignored",
        "known": "ignored",
        "record": "ignored",
        "time": "ignored",
    },
    ASKING: {
        "opened": "ignored",
        "closed": CLOSED,
        "hello": OPENING,
        "other": REFUSED,
        "denied": "ignored",
        "known": "ignored",
        "record": "dropped, counted",
        "time": "asks again",
    },
    OPENING: {
        "opened": "ignored",
        "closed": CLOSED,
        "hello": "waits",
        "other": "waits",
        "denied": REFUSED,
        "known": FLOWING,
        "record": "waits",
        "time": "ignored",
    },
    FLOWING: {
        "opened": "ignored",
        "closed": CLOSED,
        "hello": "same boot: clock; another: " + OPENING,
        "other": REFUSED,
        "denied": "ignored",
        "known": "ignored",
        "record": "taken, dropped or asked for",
        "time": "asks again, says hello, keeps alive",
    },
    REFUSED: {
        "opened": "ignored",
        "closed": CLOSED,
        "hello": "ignored",
        "other": "ignored",
        "denied": "ignored",
        "known": "ignored",
        "record": "ignored",
        "time": "ignored",
    },
}

# A question without an answer is asked again after this.
ASK_AGAIN_MS = 2000
# A module is asked for a timed hello this often, or soon after an answer that the clock doubts.
HELLO_EVERY_MS = 60_000
HELLO_DOUBT_MS = 3000
# Asked this often for the same record, the answer always beginning later: it will never come.
MISSES_MAX = 8
# Ticks of the last records are remembered, to tell a repeated record from one of a boot not announced.
MEMORY = 1024
# A tick may lie that far before its predecessor's (records of one step); farther back it is another boot's.
BACK_MS = 5000


@dataclass(frozen=True, slots=True, kw_only=True)
class Contract:
    """Name the contract this program speaks."""

    revision: int
    digest_low: int
    digest_high: int


@dataclass(slots=True, kw_only=True)
class Harvest:
    """Collect what a step of the session brought."""

    records: dict[int, list[Record]] = field(default_factory=dict)
    count: int = 0
    gaps: list[Gap] = field(default_factory=list)
    fits: list[ClockFit] = field(default_factory=list)


class Session:
    """Hold the state of one link. It is moved on by its methods only, and never looks at a clock itself."""

    def __init__(self, contract: Contract, name: str, key: bytes | None = None) -> None:
        self.contract = contract
        self.name = name
        self.key = key
        self.state = CLOSED
        self.hello: Hello | None = None
        self.boot = 0
        self.expected = 1
        self.last_tick = 0
        self.clock = Clock()
        self.drops = {"duplicate": 0, "ahead": 0, "foreign_boot": 0}
        self.resends = 0
        self.refusal = ""
        self.harvest = Harvest()
        # Nothing of this boot was taken yet: its oldest record may be from before the tick's last wrap.
        self.is_new = False
        self.out: list[bytes] = []
        self._ticks = [-1] * MEMORY
        self._asked = -ASK_AGAIN_MS
        self._hello_asked = 0
        self._hole_seen = 0
        self._hole_first = 0
        self._misses = 0
        self._skipped: tuple[int, int, str] | None = None
        self._sound: int | None = None
        self._counter = 0
        self._said: tuple[int, tuple[int, ...], bytes | None] | None = None
        self._said_frame = b""

    # What the port did.

    def opened(self, mono_ms: int) -> None:
        """Ask the module who it is."""
        if self.state == CLOSED:
            self.state = ASKING
            self._ask_hello(mono_ms)

    def restart_counts(self) -> None:
        """Count from zero again for a new opening of the port."""
        self.drops = dict.fromkeys(self.drops, 0)
        self.resends = 0

    def closed(self) -> None:
        """Forget the conversation; what was committed is known to the store."""
        self.state = CLOSED
        self.hello = None
        self._hole_seen = self._misses = 0
        self._skipped = None
        self._ticks = [-1] * MEMORY

    # What the store knows.

    def known(self, cursor: Cursor) -> None:
        """Go on behind what is committed of this boot."""
        if self.state != OPENING:
            return
        assert self.hello is not None
        same = cursor.boot == self.boot
        self.state = FLOWING
        self.boot = cursor.boot
        self.expected = cursor.last_seq + 1
        self.last_tick = cursor.last_tick
        fit = cursor.fit
        if not same or self.clock.fit is None or cursor.last_seq == 0:
            self.clock = Clock(points=((fit.tick, fit.utc(fit.tick)),) if fit else (), fit=fit)
        self._hole_seen = self._misses = 0
        self._skipped = None
        self._ticks = [-1] * MEMORY
        if not same:
            self._sound = None
        self.is_new = cursor.last_seq == 0
        if self.is_new and self.hello.tick > 0x7FFFFFFF:
            # First met after weeks of running: ticks count from near its hello.
            self.last_tick = self.hello.tick - 0x40000000
        self._skip_overwritten(self.hello)

    def denied(self, reason: str) -> None:
        """Stop: this module may not be recorded here."""
        if self.state == OPENING:
            self.state = REFUSED
            self.refusal = reason

    # What the module said.

    def receive(self, arrived: list[Frame], mono_ms: int, utc_ms: int) -> list[Frame]:
        """Take frames in order; return those that must wait until the store knows the module's boot."""
        if self.state == OPENING:
            return arrived
        for place, frame in enumerate(arrived):
            message_id, seq, raw, payload = frame
            if self.is_new and self.state == FLOWING and message_id != messages.HELLO:
                self._look_past_the_wrap(raw)
            if seq == self.expected and self.state == FLOWING and message_id != messages.LOST:
                # The usual case, kept short.
                tick = self.last_tick + ((raw - self.last_tick) & 0xFFFFFFFF)
                if tick - self.last_tick > 0x7FFFFFFF:
                    tick -= 0x100000000
                    if not self._plausible(seq, tick, mono_ms):
                        continue
                if self._skipped is not None or self._hole_seen:
                    self._hole_ends(seq, tick)
                self._take(message_id, seq, tick, payload)
            elif message_id == messages.HELLO:
                self._hello(frame, arrived, mono_ms, utc_ms)
                if self.state == OPENING:
                    return arrived[place + 1 :]
            elif self.state == FLOWING:
                self._unusual(frame, mono_ms)
            elif self.state == ASKING:
                self.drops["ahead"] += 1
        return []

    def _look_past_the_wrap(self, raw: int) -> None:
        """Put the first hello into the second round of ticks when a record of the first one shows up."""
        assert self.hello is not None
        if self.last_tick or self.hello.tick + clocks.between(self.hello.tick, raw) >= 0:
            return
        self.last_tick = raw
        self.clock = clocks.shifted(self.clock, clocks.WRAP)
        self.harvest.fits = [self.clock.fit] if self.clock.fit else []

    def _take(self, message_id: int, seq: int, tick: int, payload: bytes) -> None:
        self.is_new = False
        self.expected = seq + 1
        if tick > self.last_tick:
            self.last_tick = tick
        self._ticks[seq % MEMORY] = tick
        harvest = self.harvest
        harvest.count += 1
        kept = harvest.records.get(message_id)
        if kept is None:
            harvest.records[message_id] = [(seq, tick, payload)]
        else:
            kept.append((seq, tick, payload))

    def _plausible(self, seq: int, tick: int, mono_ms: int) -> bool:
        # A tick before its predecessor's: a record of the same step, or a boot that was not announced.
        if tick >= 0 and (self.last_tick - tick <= BACK_MS or self._sound == seq):
            return True
        self.drops["foreign_boot"] += 1
        self._distrust(seq, mono_ms)
        return False

    def _distrust(self, seq: int, mono_ms: int) -> None:
        self._sound = seq
        self.state = ASKING
        self._ask_hello(mono_ms)

    def _unusual(self, frame: Frame, mono_ms: int) -> None:
        message_id, seq, raw, payload = frame
        if message_id == messages.LOST and seq >= self.expected:
            first, last = messages.decode(message_id, payload)[0][:2]
            if first <= self.expected and last == seq:
                self._lost(frame)
                return
        if seq < self.expected:
            self._repeated(frame, mono_ms)
        else:
            self._ahead(seq, mono_ms)
            if seq == self.expected:
                tick = clocks.widen(raw, self.last_tick)
                self._hole_ends(seq, tick)
                self._take(message_id, seq, tick, payload)

    def _lost(self, frame: Frame) -> None:
        message_id, seq, raw, payload = frame
        (_, last, _, kinds, from_raw, to_raw), _ = messages.decode(message_id, payload)
        tick = clocks.widen(raw, self.last_tick)
        self.harvest.gaps.append(
            Gap(
                first_seq=self.expected,
                last_seq=last,
                from_tick=clocks.widen(from_raw, self.last_tick),
                to_tick=clocks.widen(to_raw, self.last_tick),
                count=last - self.expected + 1,
                kinds=kinds,
                reason="overwritten in the module's ring",
            )
        )
        self._forget(self.expected, last)
        self._skipped = None
        self._hole_seen = self._misses = 0
        self._take(message_id, seq, tick, payload)

    def _forget(self, first: int, last: int) -> None:
        for seq in range(max(first, last - MEMORY), last + 1):
            self._ticks[seq % MEMORY] = -1

    def _repeated(self, frame: Frame, mono_ms: int) -> None:
        message_id, seq, raw, _ = frame
        self.drops["duplicate"] += 1
        if self._hole_seen and seq <= self._hole_seen:
            self._hole_seen = seq
        known = self._ticks[seq % MEMORY] if self.expected - seq <= MEMORY else -1
        other = known >= 0 and (known - raw) & 0xFFFFFFFF and message_id != messages.LOST
        if other or (seq == 1 and self._sound != 1):
            # Same number, other tick: the module started again and its hello was lost. The first records of
            # two lives may have the same ticks; when they come again, it costs little to ask, once.
            self.drops["foreign_boot"] += 1
            self._distrust(seq, mono_ms)

    def _ahead(self, seq: int, mono_ms: int) -> None:
        self.drops["ahead"] += 1
        if not self._hole_seen:
            self._hole_seen, self._hole_first, self._misses = seq, 0, 0
            self._ask_resend(mono_ms)
            return
        if seq <= self._hole_seen:
            # The module went back and still begins behind the hole.
            self._misses = self._misses + 1 if seq == self._hole_first else 1
            self._hole_first = seq
            if self._misses >= MISSES_MAX:
                self._skipped = (self.expected, seq - 1, "asked for in vain")
                self.expected = seq
                return
            self._ask_resend(mono_ms)
        self._hole_seen = seq

    def _hole_ends(self, seq: int, tick: int) -> None:
        if self._skipped is not None:
            first, last, reason = self._skipped
            self._forget(first, last)
            self.harvest.gaps.append(
                Gap(
                    first_seq=first,
                    last_seq=last,
                    from_tick=self.last_tick,
                    to_tick=tick,
                    count=last - first + 1,
                    kinds=0,
                    reason=reason,
                )
            )
            self._skipped = None
        self._hole_seen = self._misses = 0

    def _hello(self, frame: Frame, arrived: list[Frame], mono_ms: int, utc_ms: int) -> None:
        hello = parse_hello(frame)
        if self.state in (CLOSED, REFUSED):
            return
        spoken = Contract(revision=hello.revision, digest_low=hello.digest_low, digest_high=hello.digest_high)
        if spoken != self.contract:
            self.state = REFUSED
            self.refusal = _mismatch(self.name, spoken, self.contract)
            return
        old = self.hello
        self.hello = hello
        if (
            self.state == FLOWING
            and old is not None
            and (old.module, old.boot_id) == (hello.module, hello.boot_id)
        ):
            self._skip_overwritten(hello)
            # The newest tick of what lay in the buffer is the one that was read just now.
            self.timed_newest([one[2] for one in arrived], utc_ms, mono_ms)
            return
        if self.state == FLOWING:
            # It started again and said so unasked: until it is greeted it obeys nobody.
            self._ask_hello(mono_ms)
        self.state = OPENING

    def timed_newest(self, raw_ticks: list[int], utc_ms: int, mono_ms: int) -> None:
        """Take the newest of some raw ticks as what the module's clock said at a host time."""
        assert self.hello is not None
        hello = self.hello.tick
        tick = clocks.widen(hello, self.last_tick) + max(clocks.between(hello, raw) for raw in raw_ticks)
        self.clock, fit = clocks.observe(self.clock, tick, utc_ms, self.hello.module_utc or None)
        if fit is not None:
            self.harvest.fits.append(fit)
        if self.clock.doubt is not None:
            self._hello_asked = mono_ms - HELLO_EVERY_MS + HELLO_DOUBT_MS

    def _skip_overwritten(self, hello: Hello) -> None:
        if hello.oldest_seq > self.expected:
            self._skipped = (self.expected, hello.oldest_seq - 1, "acknowledged to another host")
            self.expected = hello.oldest_seq

    # What time brings.

    def time(self, mono_ms: int) -> None:
        """Ask again where an answer is due."""
        if self.state == ASKING and mono_ms - self._hello_asked >= ASK_AGAIN_MS:
            self._ask_hello(mono_ms)
        elif self.state == FLOWING:
            if self._hole_seen and mono_ms - self._asked >= ASK_AGAIN_MS:
                self._ask_resend(mono_ms)
            if mono_ms - self._hello_asked >= 2 * HELLO_EVERY_MS:
                self._ask_hello(mono_ms)

    def time_the_clock(self, mono_ms: int) -> None:
        """Ask for a timed hello when one is due: behind an acknowledgement, so that little comes twice."""
        if self.state == FLOWING and mono_ms - self._hello_asked >= HELLO_EVERY_MS:
            self._ask_hello(mono_ms)

    # What the host says.

    def _ask_hello(self, mono_ms: int) -> None:
        self._hello_asked = mono_ms
        one = self.contract
        self.say(messages.HELLO_REQUEST, (one.revision, one.digest_low, one.digest_high))

    def _ask_resend(self, mono_ms: int) -> None:
        assert self.hello is not None
        self._asked = mono_ms
        self.resends += 1
        self.say(messages.RESEND, (self.hello.boot_id, self.expected))

    def acknowledge(self, seq: int) -> None:
        """Tell the module that everything up to `seq` is on the disk; 0 says that somebody listens."""
        if self.state == FLOWING and self.hello is not None:
            self.say(messages.ACK, (self.hello.boot_id, seq))

    def say(self, message_id: int, values: tuple[int, ...], tail: bytes | None = None) -> None:
        """Put one message to the module into `out`."""
        self._counter += 1
        signed = self.key is not None and message_id != messages.HELLO_REQUEST
        said = (message_id, values, tail)
        # Mostly the last acknowledgement again, to keep the link alive; only a signed one differs each time.
        if signed or said != self._said:
            payload = messages.encode(message_id, values, tail)
            counter, mac = (self._counter, self._mac()) if signed else (0, None)
            self._said, self._said_frame = said, frames.build(message_id, counter, 0, payload, mac)
        self.out.append(self._said_frame)

    def _mac(self) -> Callable[[bytes], bytes]:
        hello, key = self.hello, self.key
        assert hello is not None

        def code(body: bytes) -> bytes:
            made: bytes = frames.mac_of(key, hello.nonce_low, hello.nonce_high, body)
            return made

        return code


def parse_hello(frame: Frame) -> Hello:
    """Return the fields of a hello frame that the decoder let pass."""
    _, _, tick, payload = frame
    decoded = messages.decode(messages.HELLO, payload)
    assert decoded is not None, "the decoder lets only whole messages pass"
    (
        (
            revision,
            digest_low,
            digest_high,
            boot_id,
            nonce_low,
            nonce_high,
            emulated,
            profile,
            module_id,
            oldest,
            following,
            unix_s,
            unix_ms,
            nominal_v,
            nominal_hz,
        ),
        firmware,
    ) = decoded
    return Hello(
        module=module_id,
        boot_id=boot_id,
        revision=revision,
        digest_low=digest_low,
        digest_high=digest_high,
        nonce_low=nonce_low,
        nonce_high=nonce_high,
        emulated=bool(emulated),
        profile=profile,
        firmware=firmware.decode("utf-8", "replace"),
        oldest_seq=oldest,
        next_seq=following,
        tick=tick,
        module_utc=unix_s * 1000 + unix_ms,
        nominal_v=nominal_v,
        nominal_hz=nominal_hz,
    )


def _mismatch(link: str, spoken: Contract, known: Contract) -> str:
    if spoken.revision != known.revision:
        older = "module's firmware" if spoken.revision < known.revision else "host program"
        return (
            f"The module on {link} speaks contract revision {spoken.revision}, this program revision "
            f"{known.revision}: update the {older}."
        )
    return (
        f"The module on {link} carries other tables (digest {spoken.digest_high:08x}{spoken.digest_low:08x}) "
        f"than this program ({known.digest_high:08x}{known.digest_low:08x}): install firmware and program of "
        "the same version."
    )
