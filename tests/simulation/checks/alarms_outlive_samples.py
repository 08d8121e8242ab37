"""While the ring holds anything of a lower class, no alarm and no event is overwritten."""

from tests.simulation.checks.base import Check


class AlarmsOutliveSamples(Check):
    """Look at what the ring gave up."""

    name = "alarms outlive samples"

    def step(self):
        """Look after each step."""
        if self.sim.module.lives:
            lost = self.sim.module.life.alarms_lost
            self.demand(lost == 0, f"{lost} alarms or events overwritten while lower records were kept")
