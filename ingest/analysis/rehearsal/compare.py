"""Hold a replay against what was recorded: with the settings in force they must be the same."""

from collections.abc import Iterable
from dataclasses import dataclass

from ingest.analysis.rehearsal.recording import STEP_MS, Recording, Transition
from ingest.analysis.rehearsal.replay import Replay


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Hold how many transitions are the same in row, tick and every field, and those on one side only."""

    same: int
    only_recorded: tuple[Transition, ...]
    only_replayed: tuple[Transition, ...]

    @property
    def exact(self) -> bool:
        """Tell whether nothing differs."""
        return not self.only_recorded and not self.only_replayed


def compare(replays: Iterable[Replay]) -> Comparison:
    """Compare in order; recorded transitions of steps whose inputs are missing are left out."""
    same = 0
    only_recorded: list[Transition] = []
    only_replayed: list[Transition] = []
    for one in replays:
        recorded = [found for found in one.recording.recorded if _covered(one.recording, found.tick)]
        replayed = list(one.transitions)
        if recorded == replayed:
            same += len(recorded)
            continue
        same += len(set(recorded) & set(replayed))
        only_recorded += [found for found in recorded if found not in set(replayed)]
        only_replayed += [found for found in replayed if found not in set(recorded)]
    return Comparison(
        same=same, only_recorded=tuple(only_recorded), only_replayed=tuple(only_replayed)
    )  # fmt: skip


def _covered(recording: Recording, tick: int) -> bool:
    step = tick // STEP_MS - 1
    return any(one.first_step <= step < one.first_step + one.steps for one in recording.stretches)
