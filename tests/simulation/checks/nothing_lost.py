"""Every sequence number is stored or lies inside a stored gap; a gap names only what the ring gave up."""

from tests.simulation.checks.base import Check


class NothingLostInSilence(Check):
    """Look for holes behind the cursor, and for gaps that needn't be."""

    name = "nothing lost in silence"

    def committing(self, batches):
        """A gap must be true."""
        from tests.simulation.simulation import boot_of

        for batch in batches:
            life = boot_of(self.sim, batch.boot)
            for gap in batch.gaps:
                spare = [one for one in range(gap.first_seq, gap.last_seq + 1) if one not in life.lost]
                self.demand(not spare, f"the gap {gap.first_seq}-{gap.last_seq} ({gap.reason}) gives up "
                                       f"{spare[:5]}, which the module had")

    def settled(self):
        """No boot may have a hole behind its cursor."""
        model = self.sim.model
        for boot, cursor in model.cursor.items():
            hole = model.covered(boot, cursor)
            self.demand(hole is None, f"boot {boot}: record {hole} of {cursor} is missing without a gap")
