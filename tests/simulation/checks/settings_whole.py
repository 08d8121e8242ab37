"""Whatever a power cut does to the flash, the settings after it are a set that somebody made, whole."""

from tests.simulation.checks.base import Check


class SettingsWhole(Check):
    """Look at each waking up."""

    name = "settings whole"

    def step(self):
        """Look after each step."""
        torn = self.sim.module.torn_settings
        self.demand(not torn, "the module woke up with settings that nobody made")
