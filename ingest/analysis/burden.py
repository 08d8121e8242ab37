"""Count what alarms asked of people: rate, floods, chatter, response, silence, beside published figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ingest.analysis.spans import Span, clip, outside, overlap, total_ms, union

FLOOD_MORE_THAN: Final = 10  # in FLOOD_MS: ISA-18.2, EEMUA 191 (seen as a quotation)
FLOOD_MS: Final = 600_000
CHATTER_AT_LEAST: Final = 3  # activations of one condition in CHATTER_MS: same
CHATTER_MS: Final = 60_000
STALE_MS: Final = 86_400_000  # standing longer than a day: same


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """Hold one published figure: text key, alarms a day, and whether it is about a bed at all."""

    key: str
    per_day: float
    about_a_bed: bool
    source: str


REFERENCES: Final = (
    Reference(
        key="burden.reference.icu_observed",
        per_day=24 * 1214 / 200,
        about_a_bed=True,
        source="Görges, Markewitz, Westenskow, Anesth Analg 2009;108:1546 (1214 alarms in 200 h; published)",
    ),
    Reference(
        key="burden.reference.audible_per_bed",
        per_day=187.0,
        about_a_bed=True,
        source="Drew et al., PLOS ONE 2014;9:e110274 (audible alarms a bed a day; published)",
    ),
    Reference(
        key="burden.reference.operator_acceptable",
        per_day=150.0,
        about_a_bed=False,
        source="ISA-18.2, a plant operator, not a bed (seen as a quotation)",
    ),
    Reference(
        key="burden.reference.operator_most",
        per_day=300.0,
        about_a_bed=False,
        source="ISA-18.2, a plant operator, not a bed (seen as a quotation)",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """Hold one activation: condition name, priority, UTC ms; `end_ms` None while it stands."""

    condition: str
    priority: str
    start_ms: int
    end_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionBurden:
    """Hold one condition's share of the load."""

    condition: str
    priority: str
    activations: int
    per_hour: float | None
    standing_s: float
    median_s: float | None
    ended_by_itself: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Crowd:
    """Hold one flood or one chatter: span, activations, condition (None: all together)."""

    start_ms: int
    end_ms: int
    activations: int
    condition: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Burden:
    """Hold the alarm load of a stretch of monitored time.

    Rates are None when nothing was monitored; shares and medians None when nothing was there to share.
    `longest_quiet` is the longest monitored span with no alarm standing, `longest_muted` the longest in
    which one stood with its sound off.
    """

    watched_h: float
    activations: int
    per_hour: float | None
    per_day: float | None
    by_condition: tuple[ConditionBurden, ...]
    floods: tuple[Crowd, ...]
    chatter: tuple[Crowd, ...]
    stale: int
    responses: int
    response_median_s: float | None
    response_p90_s: float | None
    ended_by_itself_share: float | None
    longest_quiet: Span | None
    longest_muted: Span | None

    def against(self, reference: Reference) -> float | None:
        """Return this load divided by a published one."""
        return None if self.per_day is None else self.per_day / reference.per_day


def alarm_burden(
    episodes: Sequence[Episode],
    *,
    start_ms: int,
    end_ms: int,
    unmonitored: Sequence[Span] = (),
    responses_ms: Sequence[int] = (),
    muted: Sequence[Span] = (),
) -> Burden:
    """Return the load between two times.

    Counts episodes that start inside. `responses_ms` are presses of pause or acknowledge; the first press
    while an episode stands is its response. An episode that ends unanswered ended by itself; one still
    standing counts for neither. Rates divide by the monitored time, never by the whole night.
    """
    inside = sorted((e for e in episodes if start_ms <= e.start_ms < end_ms), key=lambda e: e.start_ms)
    watched = outside(unmonitored, start_ms, end_ms)
    watched_h = total_ms(watched) / 3_600_000
    presses = np.sort(np.asarray(responses_ms, dtype=np.int64))
    delays = [_response_s(episode, presses, end_ms) for episode in inside]
    answered = [delay for delay in delays if delay is not None]
    alone = [e.end_ms is not None and d is None for e, d in zip(inside, delays, strict=True)]
    decided = len(answered) + sum(alone)
    per_hour = len(inside) / watched_h if watched_h > 0 else None
    standing = clip(((e.start_ms, _end(e, end_ms)) for e in episodes), start_ms, end_ms)
    return Burden(
        watched_h=watched_h,
        activations=len(inside),
        per_hour=per_hour,
        per_day=None if per_hour is None else 24 * per_hour,
        by_condition=_by_condition(inside, alone, watched_h, end_ms),
        floods=floods(inside),
        chatter=chatter(inside),
        stale=sum(_end(e, end_ms) - e.start_ms > STALE_MS for e in inside),
        responses=len(answered),
        response_median_s=float(np.median(answered)) if answered else None,
        response_p90_s=float(np.percentile(answered, 90)) if answered else None,
        ended_by_itself_share=sum(alone) / decided if decided else None,
        longest_quiet=_longest(overlap(outside(standing, start_ms, end_ms), watched)),
        longest_muted=_longest(overlap(clip(muted, start_ms, end_ms), standing)),
    )


def floods(episodes: Sequence[Episode]) -> tuple[Crowd, ...]:
    """Return where more than 10 alarms began within 10 min (ISA-18.2, EEMUA 191)."""
    starts = np.sort(np.asarray([e.start_ms for e in episodes], dtype=np.int64))
    return _crowds(starts, FLOOD_MORE_THAN + 1, FLOOD_MS, None)


def chatter(episodes: Sequence[Episode]) -> tuple[Crowd, ...]:
    """Return where one condition began three times or more within a minute (ISA-18.2, EEMUA 191)."""
    found: list[Crowd] = []
    for condition in sorted({e.condition for e in episodes}):
        mine = [e.start_ms for e in episodes if e.condition == condition]
        starts = np.sort(np.asarray(mine, dtype=np.int64))
        found += _crowds(starts, CHATTER_AT_LEAST, CHATTER_MS, condition)
    return tuple(sorted(found, key=lambda crowd: crowd.start_ms))


def removed_by_delay(lengths_s: Sequence[float], delay_s: float) -> float:
    """Return the share of alarms that an added on-delay would have kept silent: those not longer than it."""
    return float(np.mean(np.asarray(lengths_s, dtype=np.float64) <= delay_s)) if len(lengths_s) else 0.0


def _crowds(
    starts: NDArray[np.int64], count: int, within_ms: int, condition: str | None
) -> tuple[Crowd, ...]:
    """Join all windows shorter than `within_ms` that hold `count` starts; the edge itself is outside."""
    if starts.size < count:
        return ()
    first = np.flatnonzero(starts[count - 1 :] - starts[: starts.size - count + 1] < within_ms)
    spans = union((int(starts[i]), int(starts[i + count - 1]) + 1) for i in first)
    return tuple(
        Crowd(
            start_ms=a, end_ms=b - 1, condition=condition,
            activations=int(np.count_nonzero((starts >= a) & (starts < b))),
        )
        for a, b in spans
    )  # fmt: skip


def _end(episode: Episode, end_ms: int) -> int:
    return end_ms if episode.end_ms is None else episode.end_ms


def _response_s(episode: Episode, presses: NDArray[np.int64], end_ms: int) -> float | None:
    row = int(np.searchsorted(presses, episode.start_ms))
    if row == presses.size or presses[row] > _end(episode, end_ms):
        return None
    return float(presses[row] - episode.start_ms) / 1000.0


def _by_condition(
    inside: Sequence[Episode], alone: Sequence[bool], watched_h: float, end_ms: int
) -> tuple[ConditionBurden, ...]:
    rows = []
    for condition in {e.condition for e in inside}:
        mine = [pair for pair in zip(inside, alone, strict=True) if pair[0].condition == condition]
        lengths = [(e.end_ms - e.start_ms) / 1000.0 for e, _ in mine if e.end_ms is not None]
        rows.append(
            ConditionBurden(
                condition=condition,
                priority=mine[-1][0].priority,
                activations=len(mine),
                per_hour=len(mine) / watched_h if watched_h > 0 else None,
                standing_s=total_ms((e.start_ms, _end(e, end_ms)) for e, _ in mine) / 1000.0,
                median_s=float(np.median(lengths)) if lengths else None,
                ended_by_itself=sum(by_itself for _, by_itself in mine),
            )
        )
    return tuple(sorted(rows, key=lambda row: (-row.activations, row.condition)))


def _longest(spans: Sequence[Span]) -> Span | None:
    return max(spans, key=lambda span: span[1] - span[0], default=None)
