"""Play a scenario through the whole chain into a store, and remember what only the simulator can know."""

from dataclasses import dataclass, field
from pathlib import Path

from firmware_sim import scenarios
from firmware_sim.contract import STEP_MS
from firmware_sim.ports.bridge.hal import SOUND
from firmware_sim.rig.rig import Rig
from ingest.inline import Inline
from ingest.store.reader import Reader, open_reader

STEPS_A_SECOND = 1000 // STEP_MS


@dataclass
class Played:
    """A night in a store, the rig that made it, and the times (ms from the start) at which sound began."""

    rig: Rig
    store: Path
    sounds_ms: list[int] = field(default_factory=list)
    boots_ms: dict[int, int] = field(default_factory=dict)

    def reader(self) -> Reader:
        """Open the store."""
        return open_reader(self.store)

    def true_ms(self, record_id: int, tick: int) -> int:
        """Return when a record was made, in ms from the scenario's start, whatever any clock believed."""
        if not self.boots_ms:
            self.boots_ms = self._match_boots()
        return self.boots_ms[record_id >> 32] + tick

    def _match_boots(self) -> dict[int, int]:
        """Map the store's boots to the rig's: in order, or by time where the host missed a whole life."""
        steps = self.rig.boot_steps
        with self.reader() as reader:
            boots = reader.boots(reader.modules()[0].id)
        if len(boots) == len(steps):
            return {boot.id: step * STEP_MS for boot, step in zip(boots, steps, strict=True)}
        begun = [self.rig.start_utc_ms + step * STEP_MS for step in steps]
        nearest = {boot.id: min(begun, key=lambda utc: abs(utc - boot.utc0)) for boot in boots}
        return {key: utc - self.rig.start_utc_ms for key, utc in nearest.items()}


def play(name: str, store: Path, hours: float | None = None, seed: int | None = None) -> Played:
    """Play a scenario for its whole length (or `hours`) into a new store."""
    scenario = scenarios.load(name)
    sounds: list[int] = []

    def trace(step: int, edges: list) -> None:
        sounds.extend(step * STEP_MS + edge[3] for edge in edges if edge[0] == SOUND and edge[2])

    rig = Rig(scenario, seed, trace=trace)
    host = Inline(store, rig.start_utc_ms, site=scenario.name)
    seconds = round(scenario.duration_s if hours is None else hours * 3600)
    for second in range(1, seconds + 1):
        data = rig.run(STEPS_A_SECOND)
        if rig.host_is_on:
            rig.send(host.feed(data, second * 1000, rig.host_ms()))
    host.close()
    rig.stop()
    return Played(rig, store, sounds)
