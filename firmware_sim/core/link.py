"""The module's end of the serial link: sends records in sequence, says hello, obeys acknowledged hosts."""

from firmware_sim.contract import NONE, REVISION, frames
from firmware_sim.contract import messages as m
from firmware_sim.contract.settings import ID_OF

# Steps without a word from the host after which hello is said again and again.
BEACON_STEPS = 100
# Steps without progress of the acknowledgement, the host being alive, after which all is sent again.
RESEND_STEPS = 1200
# A hello_request after such a silence comes from a host that was away: it gets all from the oldest again.
AWAY_STEPS = 30
# A host that repeats its wish within this many steps is served once.
REPEAT_STEPS = 5
FIRMWARE = b"nightkeel"
# Wishes of the host that the app looks after.
SET_CLOCK = 1
COMMAND = 2


class Link:
    """Move bytes between `hal` and `ring`.

    `step()` once each 100 ms: `receive()` first returns what the host wants done, `send()` last. Counts:
    `sent`, `resent`, `bad`; `age` in steps since the last good frame, NONE until there was one.
    """

    def __init__(self, hal, ring, boot_id, digest):
        """`digest`: the contract's, as two 32-bit words, low first."""
        self.hal = hal
        self.ring = ring
        self.boot_id = boot_id
        self.digest = digest
        self.key = hal.link_key()
        self.nonce_low = hal.random32()
        self.nonce_high = hal.random32()
        self.nonce_seq = 0
        self.splitter = frames.Splitter()
        self.rest = b""
        self.trusted = False
        self.age = NONE
        self.silence = 0
        self.progress = 0
        self.asked_seq = 0
        self.asked_age = REPEAT_STEPS
        self.sent = 0
        self.resent = 0
        self.bad = 0
        self.highest = 0
        self.nominal_v = 0
        self.nominal_hz = 0
        self.hello_due = True
        # Frames carry no boot id: records wait until the host has named this life.
        self.known = False

    def nominal(self, settings):
        """Say the nominal supply of these settings in the hello."""
        self.nominal_v = settings[ID_OF["supply.nominal_voltage"]]
        self.nominal_hz = settings[ID_OF["supply.nominal_frequency"]]

    def receive(self):
        """Take in the host's frames; return a list of (SET_CLOCK or COMMAND, values, tail)."""
        self.wait(1)
        data = self.hal.uart_read()
        if not data:
            return ()
        wishes = []
        overlong = self.splitter.overlong
        for block in self.splitter.feed(data):
            self._take(block, wishes)
        if self.splitter.overlong != overlong:
            self.bad += 1
        return wishes

    def wait(self, steps):
        """Let some steps pass without a word from the host."""
        self.silence += steps
        self.progress += steps
        self.asked_age += steps
        if self.age != NONE:
            self.age += steps

    def is_idle(self, steps):
        """Tell whether nothing waits to be sent, nor will for some steps of silence."""
        return (self.ring.give_seq == self.ring.next_seq and not self.rest and not self.hello_due
                and self.silence + steps < BEACON_STEPS and self.progress + steps < RESEND_STEPS)

    def _take(self, block, wishes):
        parsed = frames.parse(block)
        if isinstance(parsed, str):
            self.bad += 1
            return
        kind, seq, _, payload = parsed
        decoded = m.decode(kind, payload) if m.LAYOUTS.get(kind, _UNKNOWN)[5] == "down" else None
        if decoded is None or not self._genuine(kind, seq, block):
            self.bad += 1
            return
        values, tail = decoded
        was_away = self.age == NONE or self.silence >= AWAY_STEPS
        self.age = 0
        self.silence = 0
        if kind == m.HELLO_REQUEST:
            self._greet(values, was_away)
        elif kind == m.ACK:
            self._acknowledged(values)
        elif kind == m.RESEND:
            self._again(values)
        elif kind == m.SET_CLOCK:
            wishes.append((SET_CLOCK, values, tail))
        elif kind == m.COMMAND:
            wishes.append((COMMAND, values, tail))

    def _genuine(self, kind, seq, block):
        if not self.key or kind == m.HELLO_REQUEST:
            return True
        if seq <= self.nonce_seq or isinstance(frames.parse(block, self._code), str):
            return False
        self.nonce_seq = seq
        return True

    def _code(self, body):
        return frames.mac_of(self.key, self.nonce_low, self.nonce_high, body)

    def _greet(self, values, was_away):
        self.trusted = values == (REVISION, self.digest[0], self.digest[1])
        if self.asked_age < REPEAT_STEPS and self.asked_seq == 0:
            return
        self.asked_seq = 0
        self.asked_age = 0
        if self.key:
            self.nonce_low = self.hal.random32()
            self.nonce_high = self.hal.random32()
            self.nonce_seq = 0
        self.hello_due = True
        if was_away:
            self.ring.rewind()

    def _names_this_life(self, boot_id):
        if boot_id == self.boot_id:
            self.known = True
            return True
        # The host takes this one for the life before: that hello was lost.
        self.hello_due = True
        return False

    def _acknowledged(self, values):
        boot_id, seq = values
        if not self._names_this_life(boot_id):
            return
        before = self.ring.acked
        if not self.ring.ack(seq):
            self.bad += 1
        elif self.ring.acked != before:
            self.progress = 0

    def _again(self, values):
        boot_id, seq = values
        if not self._names_this_life(boot_id) or (seq == self.asked_seq and self.asked_age < REPEAT_STEPS):
            return
        self.asked_seq = seq
        self.asked_age = 0
        self.ring.rewind(seq)

    def send(self, tick):
        """Give the UART as many frames as it takes; what it doesn't take waits."""
        ring = self.ring
        if self.silence >= BEACON_STEPS and self.silence % BEACON_STEPS == 0:
            self.hello_due = True
        elif ring.give_seq == ring.next_seq and not (self.rest or self.hello_due):
            if self.progress < RESEND_STEPS:
                return
        if self.progress >= RESEND_STEPS:
            self.progress = 0
            if self.silence < BEACON_STEPS:
                ring.rewind()
        rest = self.rest
        while True:
            if rest:
                taken = self.hal.uart_write(rest)
                if taken < len(rest):
                    self.rest = rest[taken:]
                    return
            rest = self._next_frame(tick)
            if rest is None:
                self.rest = b""
                return

    def _next_frame(self, tick):
        if self.hello_due:
            self.hello_due = False
            return frames.build(m.HELLO, 0, tick, self._hello())
        record = self.ring.give() if self.known else None
        if record is None:
            return None
        kind, seq, record_tick, payload = record
        if seq > self.highest:
            self.highest = seq
            self.sent += 1
        else:
            self.resent += 1
        return frames.build(kind, seq, record_tick, payload)

    def _hello(self):
        hal = self.hal
        unix_s, unix_ms, is_set = hal.rtc()
        return m.encode(m.HELLO, (
            REVISION, self.digest[0], self.digest[1], self.boot_id, self.nonce_low, self.nonce_high,
            1 if hal.emulated else 0, hal.profile, hal.unique_id(), self.ring.oldest(), self.ring.next_seq,
            unix_s if is_set else 0, unix_ms if is_set else 0, self.nominal_v, self.nominal_hz,
        ), FIRMWARE)


_UNKNOWN = (None, None, None, None, None, None)
