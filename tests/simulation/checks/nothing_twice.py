"""No record is taken twice: what is written lies behind the cursor, in order, each sequence once."""

from tests.simulation.checks.base import Check


class NothingTwice(Check):
    """Look at the sequences of each batch."""

    name = "nothing twice"

    def committing(self, batches):
        """Compare with the cursor of what is on the disk."""
        cursor = dict(self.sim.model.cursor)
        for batch in batches:
            seqs = sorted(seq for records in batch.records.values() for seq, _, _ in records)
            self.demand(len(seqs) == len(set(seqs)), "a batch holds a record twice")
            before = cursor.get(batch.boot, 0)
            self.demand(not seqs or seqs[0] > before, lambda s=seqs, b=before: (
                f"record {s[0]} is taken again, the disk holds up to {b}"))
            cursor[batch.boot] = max(before, batch.last_seq)
