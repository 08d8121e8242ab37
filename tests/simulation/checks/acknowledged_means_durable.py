"""What the module may forget is on the host's disk, at every step."""

from tests.simulation.checks.base import Check


class AcknowledgedMeansDurable(Check):
    """Compare the module's acknowledged sequence with the cursor of the last commit that came to be."""

    name = "acknowledged means durable"

    def __init__(self, sim):
        super().__init__(sim)
        self.checked = {}

    def step(self):
        """Look after each step."""
        module, model = self.sim.module, self.sim.model
        if module.app is None:
            return
        acked, life = module.app.ring.acked, module.life
        if acked == self.checked.get(life, 0):
            return
        boots = [boot for boot, one in model.boots.items() if one is life]
        durable = max((model.cursor.get(boot, 0) for boot in boots), default=0)
        if model.pending is not None and boots:
            # A commit whose fate is not known yet; the next opening settles it.
            return
        self.demand(acked <= durable, f"the module may forget up to {acked}, the disk holds up to {durable}")
        self.checked[life] = acked
