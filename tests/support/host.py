"""A plain host for tests: takes records in sequence, asks for holes, acknowledges. No store, no clock."""

from firmware_sim.contract import REVISION, frames
from firmware_sim.contract import messages as m


class Host:
    """Feed it bytes from the module; send what `answer()` returns back.

    `records`: (kind, seq, tick, payload) in sequence, one life of the module after another in `lives`.
    """

    def __init__(self, digest, key=b""):
        self.digest, self.key = digest, key
        self.splitter = frames.Splitter()
        self.hello = None
        self.hellos = 0
        self.lives = []
        self.records = []
        self.expected = 1
        self.bad = self.duplicates = self.ahead = 0
        self.bytes = 0
        self.seq = 0
        self.out = bytearray()
        self.hole_since = None

    def frame(self, kind, values, tail=None, seq=None, coded=True):
        """Build one frame down."""
        payload = m.encode(kind, values, tail)
        if not (self.key and coded and kind != m.HELLO_REQUEST):
            return frames.build(kind, 0, 0, payload)
        self.seq += 1
        low, high = self.hello[4:6]
        return frames.build(
            kind, seq or self.seq, 0, payload, lambda body: frames.mac_of(self.key, low, high, body)
        )

    def request(self):
        """Ask for a hello."""
        return self.frame(m.HELLO_REQUEST, (REVISION, *self.digest))

    def ack(self):
        """Acknowledge all that came in sequence."""
        return self.frame(m.ACK, (self.hello[3], self.expected - 1))

    def feed(self, data):
        """Take bytes from the module."""
        self.bytes += len(data)
        for block in self.splitter.feed(bytes(data)):
            parsed = frames.parse(block)
            if isinstance(parsed, str):
                self.bad += 1
            else:
                self.take(*parsed)

    def take(self, kind, seq, tick, payload):
        """Take one good frame."""
        if kind == m.HELLO:
            self.greeted(m.decode(kind, payload)[0])
            return
        first = m.decode(kind, payload)[0][0] if kind == m.LOST else seq
        if seq < self.expected:
            self.duplicates += 1
        elif first > self.expected:
            self.ahead += 1
            if self.hole_since is None and self.hello:
                self.hole_since = self.expected
                self.out += self.frame(m.RESEND, (self.hello[3], self.expected))
        else:
            self.records.append((kind, seq, tick, payload))
            self.expected = seq + 1
            self.hole_since = None

    def greeted(self, values):
        """Note a hello; a new boot begins a new life."""
        self.hellos += 1
        self.seq = 0
        if self.hello is None or self.hello[3] != values[3]:
            self.records = []
            self.lives.append(self.records)
            self.expected = 1
        self.hello = values
        self.hole_since = None

    def answer(self):
        """Return the bytes to send down: resend wishes and one acknowledgement."""
        out = bytes(self.out)
        self.out.clear()
        return out + self.ack() if self.hello else self.request()

    def of(self, kind):
        """Return (tick, values, tail) of all records of a kind in this life."""
        return [(tick, *m.decode(k, payload)) for k, _, tick, payload in self.records if k == kind]
