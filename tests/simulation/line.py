"""The cable in both directions, with everything that happens to cables."""


class Line:
    """Carry bytes; `plugged` says whether the host's port is there. One call a direction and step."""

    def __init__(self, faults):
        self.faults = faults
        self.plugged = True
        self.plug_at = 0
        self.held = [bytearray(), bytearray()]
        self.until = [0, 0]

    def tick(self, step):
        """Pull or plug; return True in the step in which the plug was pulled."""
        if self.plugged and self.faults.hits("link.unplug", 0.01):
            self.plugged = False
            self.plug_at = step + self.faults.random.randrange(1, 80)
            self.held = [bytearray(), bytearray()]
            return True
        if not self.plugged and (step >= self.plug_at or not self.faults.active):
            self.plugged = True
        return False

    def carry(self, way, data, step):
        """Return what arrives of `data` in this step; way 0 is up, 1 down."""
        if not self.plugged:
            return b""
        held = self.held[way]
        held += self._harmed(data) if data else b""
        if held and step >= self.until[way] and self.faults.hits("link.stall", 0.01):
            self.until[way] = step + self.faults.random.randrange(2, 40)
        if step < self.until[way] and self.faults.active:
            return b""
        out = bytes(held)
        held.clear()
        return out

    def _harmed(self, data):
        faults, chance = self.faults, self.faults.random
        if faults.hits("link.drop", 0.03):
            at = chance.randrange(len(data))
            data = data[:at] + data[at + chance.choice((1, 1, 2, 20, 500)):]
        if data and faults.hits("link.flip", 0.05):
            out = bytearray(data)
            for _ in range(chance.randrange(1, 4)):
                out[chance.randrange(len(out))] ^= 1 << chance.randrange(8)
            data = bytes(out)
        if data and faults.hits("link.duplicate", 0.03):
            at = chance.randrange(len(data))
            data = data + data[at:] if chance.random() < 0.5 else data[:at] + data
        if faults.hits("link.noise", 0.01):
            at = chance.randrange(len(data) + 1)
            foreign = chance.randbytes(chance.choice((1, 30, 3000))).replace(b"\0", b"\1")
            data = data[:at] + foreign + data[at:]
        return data
