"""Each record that is written is one that the module made: same kind, same tick, same bytes."""

from firmware_sim.contract import messages
from tests.simulation.checks.base import Check


class NothingInvented(Check):
    """Compare each batch with the truth of the module."""

    name = "nothing invented"

    def committing(self, batches):
        """Look at every record before it is written."""
        from tests.simulation.simulation import boot_of

        for batch in batches:
            life = boot_of(self.sim, batch.boot)
            for kind, records in batch.records.items():
                for seq, tick, payload in records:
                    if kind == messages.LOST:
                        self._lost(life, seq, payload)
                    else:
                        self.demand(life.made.get(seq) == (kind, tick, payload),
                                    f"record {seq} at {tick} ms is not what the module made")

    def _lost(self, life, seq, payload):
        first, last = messages.decode(messages.LOST, payload)[0][:2]
        self.demand(last == seq and all(one in life.lost for one in range(first, last + 1)),
                    f"records {first} to {last} are said to be lost, the ring kept some")
