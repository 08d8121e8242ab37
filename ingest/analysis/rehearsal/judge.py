"""Hold a rehearsal against what truly happened: missed and late events first, then what was saved."""

import difflib
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from firmware_sim.contract import alarms
from ingest.analysis.burden import Episode
from ingest.errors import UserError

# A step of the engine: less is no delay.
LATE_S = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueEvent:
    """Hold one event that truly happened, UTC ms; `condition` names the row that must say it, None: any."""

    start_ms: int
    end_ms: int
    condition: str | None = None
    text: str = ""

    def __post_init__(self) -> None:
        """Refuse a condition that the table doesn't know."""
        if self.condition is not None and self.condition not in alarms.ID_OF:
            near = difflib.get_close_matches(self.condition, alarms.ID_OF, 3, 0.4)
            hint = f"did you mean {' or '.join(near)}?" if near else "see the alarm table."
            raise UserError(f"No alarm row is called '{self.condition}': {hint}")

    def touches(self, one: Episode) -> bool:
        """Tell whether an alarm belongs to this event: the right row, standing at some time within it."""
        if self.condition not in (None, one.condition):
            return False
        return one.start_ms <= self.end_ms and (one.end_ms is None or one.end_ms > self.start_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Hold the delay from an event's beginning to its alarm, in force and rehearsed; None: no alarm."""

    event: TrueEvent
    in_force_s: float | None
    rehearsed_s: float | None

    @property
    def missed(self) -> bool:
        """Tell whether no alarm would have said it."""
        return self.rehearsed_s is None

    @property
    def late(self) -> bool:
        """Tell whether it would have been said later than it was."""
        if self.rehearsed_s is None or self.in_force_s is None:
            return False
        return self.rehearsed_s - self.in_force_s >= LATE_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Hold verdicts, missed ones first, then late ones; and alarms that belong to no true event.

    `added_s`: delay added to detection, median and greatest over the events found both times (without
    events: over the alarms that stay); None when there is none.
    """

    verdicts: tuple[Verdict, ...]
    nuisance_in_force: int
    nuisance: int
    added_s: tuple[float, float] | None


def judge(
    events: Sequence[TrueEvent], in_force: Sequence[Episode], rehearsed: Sequence[Episode]
) -> Judged:
    """Judge a rehearsal; alarms that touch no event count as nuisance."""
    verdicts = [
        Verdict(event=event, in_force_s=_delay_s(event, in_force), rehearsed_s=_delay_s(event, rehearsed))
        for event in events
    ]
    verdicts.sort(key=lambda one: (not one.missed, not one.late, one.event.start_ms))
    added = [
        one.rehearsed_s - one.in_force_s
        for one in verdicts
        if one.rehearsed_s is not None and one.in_force_s is not None
    ]
    if not events:
        added = _shifts(in_force, rehearsed)
    return Judged(
        verdicts=tuple(verdicts),
        nuisance_in_force=_nuisance(events, in_force),
        nuisance=_nuisance(events, rehearsed),
        added_s=(statistics.median(added), max(added)) if added else None,
    )


def _delay_s(event: TrueEvent, episodes: Sequence[Episode]) -> float | None:
    starts = [one.start_ms for one in episodes if event.touches(one)]
    return max(0, min(starts) - event.start_ms) / 1000 if starts else None


def _nuisance(events: Sequence[TrueEvent], episodes: Sequence[Episode]) -> int:
    return sum(not any(event.touches(one) for event in events) for one in episodes)


def _shifts(in_force: Sequence[Episode], rehearsed: Sequence[Episode]) -> list[float]:
    """Return by how much each alarm that is still there begins later (earlier: negative), s."""
    by_row: dict[str, list[Episode]] = {}
    for one in rehearsed:
        by_row.setdefault(one.condition, []).append(one)
    shifts = []
    for one in in_force:
        end = one.end_ms if one.end_ms is not None else one.start_ms + 1
        same = [o.start_ms for o in by_row.get(one.condition, ()) if _meet(o, one.start_ms, end)]
        if same:
            shifts.append((min(same) - one.start_ms) / 1000)
    return shifts


def _meet(one: Episode, start_ms: int, end_ms: int) -> bool:
    return one.start_ms <= end_ms and (one.end_ms is None or one.end_ms >= start_ms)
