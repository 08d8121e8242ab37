"""The promises, one file each. A check looks at every step, every commit, and at the end when all is calm."""

from tests.simulation.checks.acknowledged_means_durable import AcknowledgedMeansDurable
from tests.simulation.checks.alarms_in_time import AlarmsInTime
from tests.simulation.checks.alarms_outlive_samples import AlarmsOutliveSamples
from tests.simulation.checks.base import Broken, Check
from tests.simulation.checks.forwarded_whole import ForwardedWhole
from tests.simulation.checks.nothing_invented import NothingInvented
from tests.simulation.checks.nothing_lost import NothingLostInSilence
from tests.simulation.checks.nothing_twice import NothingTwice
from tests.simulation.checks.queues_bounded import QueuesBounded
from tests.simulation.checks.settings_whole import SettingsWhole

ALL = (NothingInvented, NothingLostInSilence, AcknowledgedMeansDurable, NothingTwice, AlarmsInTime,
       AlarmsOutliveSamples, SettingsWhole, QueuesBounded, ForwardedWhole)


def make(sim):
    """Return one check of each kind for a run."""
    return [kind(sim) for kind in ALL]


__all__ = ["ALL", "Broken", "Check", "make"]
