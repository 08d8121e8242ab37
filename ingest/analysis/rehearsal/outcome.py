"""What a replay would have asked of people: activations, standing time, silence, chatter, floods."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from firmware_sim.contract import alarms
from firmware_sim.kernels import alarms as k
from ingest.analysis.burden import Burden, Episode, alarm_burden
from ingest.analysis.rehearsal.replay import Replay
from ingest.analysis.spans import Span, outside

BEGINS = (k.RAISED, k.RESTORED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Hold the episodes of a rehearsal and their burden over [start_ms, end_ms)."""

    episodes: tuple[Episode, ...]
    burden: Burden
    start_ms: int
    end_ms: int

    @property
    def standing_s(self) -> float:
        """Return for how long all conditions together stood."""
        return sum(row.standing_s for row in self.burden.by_condition)


def outcome_of(replays: Sequence[Replay], start_ms: int, end_ms: int) -> Outcome:
    """Return the outcome inside a window; time whose inputs are missing counts as unmonitored."""
    episodes = sorted(
        (one for run in replays for one in episodes_of(run)), key=lambda one: (one.start_ms, one.condition)
    )
    rehearsed = [
        (one.recording.utc_ms(0), one.recording.utc_ms(one.recording.end_step * 100)) for one in replays
    ]
    holes = [hole for one in replays for hole in one.recording.holes_ms()]
    burden = alarm_burden(
        episodes,
        start_ms=start_ms,
        end_ms=end_ms,
        unmonitored=[*holes, *outside(rehearsed, start_ms, end_ms)],
        muted=[span for run in replays for span in silent_spans(run)],
    )
    return Outcome(episodes=tuple(episodes), burden=burden, start_ms=start_ms, end_ms=end_ms)


def episodes_of(run: Replay) -> Iterable[Episode]:
    """Return the activations of one replay; what stood at its end is cut there."""
    recording = run.recording
    open_rows: dict[int, tuple[int, int]] = {}
    for one in run.transitions:
        if one.transition in BEGINS and one.row not in open_rows:
            open_rows[one.row] = (one.tick, one.priority)
        elif one.transition == k.CLEARED and one.row in open_rows:
            tick, priority = open_rows.pop(one.row)
            yield _episode(one.row, priority, recording.utc_ms(tick), recording.utc_ms(one.tick))
    for row, (tick, priority) in open_rows.items():
        yield _episode(row, priority, recording.utc_ms(tick), recording.utc_ms(run.end_tick))


def _episode(row: int, priority: int, start_ms: int, end_ms: int) -> Episode:
    return Episode(
        condition=alarms.ROWS[row].name,
        priority=alarms.PRIORITIES[priority],
        start_ms=start_ms,
        end_ms=end_ms,
    )


def silent_spans(run: Replay) -> list[Span]:
    """Return the UTC spans in which something stood and nothing sounded."""
    utc = run.recording.utc_ms
    edges = [*run.sounds, (run.end_tick, 0, 0)]
    return [
        (utc(tick), utc(end)) for (tick, sound, lamp), (end, _, _) in pairwise(edges) if lamp and not sound
    ]
