"""A short invented scenario and a way to play it with a host at the far end."""

from firmware_sim.contract import digest
from firmware_sim.rig.rig import Rig
from firmware_sim.scenarios._parts import ADULT, BELLOWS_ADULT
from firmware_sim.world.scenario import Scenario
from tests.support.host import Host


def scenario(*events, **options):
    """Return a bed with an adult on the bellows, mode and limits set up at once."""
    return Scenario(
        name="bench",
        title="Bench",
        description="Invented, for tests.",
        seed=5,
        duration_s=3600.0,
        settings={"patient": ADULT, "ventilator": BELLOWS_ADULT},
        initial={"bed": 1.0, "site_ppm": 945_000.0, "ups_normal": 1.0},
        events=events,
        **options,
    )


class Bed:
    """A rig and its host, talking once a second."""

    def __init__(self, runtime, *events, **options):
        self.rig = Rig(scenario(*events), runtime=runtime, **options)
        self.host = Host(digest.digest(), options.get("key", b""))
        self.up = bytearray()

    def play(self, seconds, answer=True):
        """Play some seconds; without `answer` the host is mute."""
        for _ in range(round(seconds)):
            up = self.rig.run(10)
            self.up += up
            self.host.feed(up)
            if answer:
                self.rig.send(self.host.answer())
        return self

    def named(self):
        """Play one step and let the host name the module's life: from then on records flow."""
        self.host.feed(self.rig.run(1))
        self.rig.send(self.host.answer())
        return self
