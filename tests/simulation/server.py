"""The server behind the forwarder: takes lines, keeps the last value of each, answers as it likes."""

import zlib

from ingest.sinks.outcomes import OUTCOMES, SPLIT, Answer

LINES_MAX = 40
# A refusal of content follows a rule; whatever else a server may say, it may say at any time.
AT_ANY_TIME = (None, 418, 599, *(one for one, (what, _) in OUTCOMES.items() if what != SPLIT and one > 204))


class Server:
    """Answer writes; `lines` maps series and time stamp to the fields that were written last."""

    def __init__(self, sim):
        self.sim, self.faults = sim, sim.faults
        self.lines = {}
        self.changed = []
        self.away_until = 0
        self.small = self.faults.random.random() < 0.3
        self.refuses = self.faults.allows("sink.refuse")

    def bad(self, line):
        """Tell whether this server will never take a line."""
        return self.refuses and zlib.crc32(line.encode()) % 97 == 0

    def __call__(self, body):
        """Return the answer and the virtual seconds that it takes."""
        faults, chance = self.faults, self.faults.random
        seconds = chance.choice((0.1, 2, 20)) if faults.hits("sink.slow", 0.2) else 0
        if faults.hits("sink.outage", 0.03):
            self.away_until = self.sim.step_number + chance.randrange(10, 400)
        if faults.active and self.sim.step_number < self.away_until:
            return Answer(status=None), seconds
        lines = body.decode().split("\n")
        if faults.hits("sink.status", 0.25):
            status = chance.choice(AT_ANY_TIME)
            taken = lines[:chance.randrange(len(lines) + 1)] if chance.random() < 0.3 else []
            self._take(taken)
            return Answer(status=status, retry_after_s=chance.choice((None, 0.5, 5))), seconds
        if self.small and len(lines) > LINES_MAX:
            return Answer(status=413), seconds
        if any(map(self.bad, lines)):
            self._take([line for line in lines if not self.bad(line)] if zlib.crc32(body) & 1 else [])
            return Answer(status=400 if zlib.crc32(body) & 2 else 422), seconds
        self._take(lines)
        return Answer(status=204), seconds

    def _take(self, lines):
        for line in lines:
            head, fields, stamp = line.rsplit(" ", 2)
            key = (head, stamp)
            if self.bad(line):
                continue
            if self.lines.setdefault(key, fields) != fields:
                self.changed.append((key, self.lines[key], fields))
