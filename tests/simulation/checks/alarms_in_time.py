"""A circuit pressure above its limit is an alarm within three steps, and the red lamp soon lit."""

from tests.simulation.checks.base import Check
from tests.simulation.module import PRESSURE_HIGH

# The row has no on-delay; one period of the channel and 200 ms are allowed.
STEPS_MAX = 3
LAMP_STEPS_MAX = 10


class AlarmsInTime(Check):
    """Look at engine and lamp, whatever happens to line, host and disk meanwhile."""

    name = "alarms in time"

    def __init__(self, sim):
        super().__init__(sim)
        self.dark = 0

    def step(self):
        """Look after each step."""
        module = self.sim.module
        if module.app is None or module.high_since is None:
            self.dark = 0
            return
        system = module.app.system
        age = module.app.steps - module.high_since
        if age >= STEPS_MAX:
            self.demand(PRESSURE_HIGH in system.engine.standing(),
                        f"pressure stands above its limit for {age} steps without an alarm")
        self.dark = 0 if module.red or system.annunciator.is_testing() or age < STEPS_MAX else self.dark + 1
        self.demand(self.dark <= LAMP_STEPS_MAX, "the red lamp stays dark under a high-priority alarm")
