"""A small stand-in for the module's end of the link: speaks frames by the contract, keeps what it made.

It knows nothing of sampling; `second()` makes the records of one second with counted-up contents, so that a
test can tell each one again. `lose` overwrites records in its ring as a full ring would.
"""

import random
import struct

from firmware_sim.contract import frames, messages


class ModuleDouble:
    """Speak for one module. `made` maps each sequence to (message id, tick, payload) ever made."""

    def __init__(self, contract, boot_id=1, module=0x1234, seed=0, start_tick=0, emulated=1):
        self.contract = contract
        self.boot_id = boot_id
        self.module = module
        self.random = random.Random(seed)
        self.tick = start_tick
        self.emulated = emulated
        self.next_seq = 1
        self.made = {}
        self.ring = {}
        self.acked = 0
        self.give = 1
        self.out = bytearray()
        self.splitter = frames.Splitter()
        self.commands = []

    def hello(self):
        self.out += frames.build(messages.HELLO, 0, self.tick & 0xFFFFFFFF, messages.encode(messages.HELLO, (
            self.contract.revision, self.contract.digest_low, self.contract.digest_high, self.boot_id, 7, 8,
            self.emulated, 1, self.module, self.acked + 1, self.next_seq, 0, 0, 230, 50), b"double"))

    def put(self, message_id, values, tail=None):
        payload = messages.encode(message_id, values, tail)
        seq = self.next_seq
        self.next_seq += 1
        self.made[seq] = self.ring[seq] = (message_id, self.tick, payload)
        return seq

    def second(self):
        """Let one second pass and make its records."""
        self.tick += 1000
        n = self.tick // 1000
        volt = 23000 + n % 500
        self.put(messages.TREND, (volt, volt - 50, volt + 40, volt, volt - 10, volt + 10, 50000 + n % 9, None,
                                  900 + n % 7, 500, 2200 + n % 100, 9300, 3300, 1200, 1, 0, 1, 0, 0, 512, 0,
                                  None, None, None, None))
        self.put(messages.PRESSURE_WAVE, (), [(n * 7 + i * 13) % 2500 for i in range(100)])
        self.put(messages.SUPPLY_CYCLES, (5, 5, 0, 0), [volt] * 10)
        self.put(messages.INPUTS, (10, 0), bytes((n + i) % 251 for i in range(45)))
        if n % 4 == 0:
            self.put(messages.BREATH, (0, 2200, None, 500, 900, 450, 1000, 3000, 1500, 0))

    def lose(self, *seqs):
        for seq in seqs:
            self.ring.pop(seq, None)

    def send(self, limit=10**9):
        """Give out what is due, at most `limit` bytes beyond what waits already; return all of it."""
        start = len(self.out)
        while self.give < self.next_seq and len(self.out) - start < limit:
            seq = self.give
            if seq in self.ring:
                message_id, tick, payload = self.ring[seq]
                self.give += 1
            else:
                while self.give < self.next_seq and self.give not in self.ring:
                    self.give += 1
                last, tick = self.give - 1, self.made[self.give - 1][1]
                kinds = 0
                for one in range(seq, last + 1):
                    kinds |= 1 << (self.made[one][0] - messages.TREND)
                payload = messages.encode(messages.LOST, (seq, last, last - seq + 1, kinds,
                                                          tick & 0xFFFFFFFF, tick & 0xFFFFFFFF))
                message_id, seq = messages.LOST, last
            self.out += frames.build(message_id, seq, tick & 0xFFFFFFFF, payload)
        said, self.out = bytes(self.out), bytearray()
        return said

    def receive(self, data):
        """Obey the host."""
        for block in self.splitter.feed(data):
            parsed = frames.parse(block)
            if isinstance(parsed, str):
                continue
            kind, _, _, payload = parsed
            values, tail = messages.decode(kind, payload)
            if kind == messages.HELLO_REQUEST:
                self.give = self.acked + 1
                self.hello()
            elif kind == messages.ACK and values[0] == self.boot_id and values[1] < self.give:
                for seq in range(self.acked + 1, values[1] + 1):
                    self.ring.pop(seq, None)
                self.acked = max(self.acked, values[1])
            elif kind == messages.RESEND and values[0] == self.boot_id:
                self.give = max(values[1], self.acked + 1)
            elif kind == messages.COMMAND and values[0] == self.boot_id:
                self.commands.append((values, tail))
                self.put(messages.COMMAND_RESULT, (values[1], values[3], 0, 0), b"done")

    def reboot(self, boot_id):
        """Start again with an empty ring and a tick of zero; nothing is said until `hello`."""
        kept = self.made
        self.__init__(self.contract, boot_id, self.module, emulated=self.emulated)
        return kept


def raw(tick):
    """Return the low 32 bits of a tick, as they travel."""
    return struct.unpack("<I", struct.pack("<Q", tick)[:4])[0]
