"""Every line of the store stands on the server once, unchanged, but for those that it refuses by content."""

from collections import Counter

from tests.simulation.checks.base import Check
from tests.support.store_check import lines_of


class ForwardedWhole(Check):
    """Compare the server with the lines that the store gives now."""

    name = "forwarded whole"

    def step(self):
        """A line sent again must be the same line, unless the store itself has two of one stamp."""
        changed, process = self.sim.server.changed, self.sim.near.process
        if not changed or process is None:
            return
        stamps = Counter()
        for place in process.outbox.places():
            stamps.update(tuple(line.rsplit(" ", 2)[::2])
                          for line in lines_of(process.outbox, place.boot, 0, place.newest))
        # A date set back may label two records alike; that is told among what isn't survived.
        changed[:] = [one for one in changed if stamps[one[0]] < 2]
        self.demand(not changed, lambda: f"a line came again and differed: {changed[0]}")

    def settled(self):
        """Compare all of it."""
        server, outbox = self.sim.server, self.sim.near.process.outbox
        wanted = {}
        for place in outbox.places():
            for line in lines_of(outbox, place.boot, 0, place.seq):
                if not server.bad(line):
                    head, fields, stamp = line.rsplit(" ", 2)
                    wanted[head, stamp] = fields
        missing = [key for key in wanted if key not in server.lines]
        self.demand(not missing, lambda: f"{len(missing)} lines of {len(wanted)} never came, as {missing[0]}")
        ahead = {}
        for place in outbox.places():
            for line in lines_of(outbox, place.boot, place.seq, place.newest):
                head, fields, stamp = line.rsplit(" ", 2)
                ahead[head, stamp] = fields
        foreign = [key for key in server.lines if key not in wanted and key not in ahead]
        self.demand(not foreign, lambda: f"{len(foreign)} lines that the store doesn't hold, as {foreign[0]}")
