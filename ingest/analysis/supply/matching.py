"""Match the events of two modules: what both saw, and what one saw alone while the other was watching."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts load when they are first used

from ingest.analysis.supply.records import Gap, SupplyEvent

CYCLE_S = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Matches:
    """Hold pairs and singles. unknown: events of one that fall into a gap of the other."""

    pairs: tuple[tuple[SupplyEvent, SupplyEvent], ...]
    only_first: tuple[SupplyEvent, ...]
    only_second: tuple[SupplyEvent, ...]
    unknown: tuple[SupplyEvent, ...]
    offset_s: float | None


def match(
    first: Sequence[SupplyEvent],
    second: Sequence[SupplyEvent],
    first_gaps: Sequence[Gap] = (),
    second_gaps: Sequence[Gap] = (),
) -> Matches:
    """Pair events of one kind whose starts agree within both clocks' errors and a cycle; least total
    difference.

    offset_s: the median start difference of the pairs, second minus first, None without a pair.
    """
    pairs: list[tuple[SupplyEvent, SupplyEvent]] = []
    for kind in sorted({e.kind for e in (*first, *second)}):
        pairs += _pairs([e for e in first if e.kind == kind], [e for e in second if e.kind == kind])
    taken = {id(e) for pair in pairs for e in pair}
    alone_1, unknown_1 = _alone(first, taken, second_gaps)
    alone_2, unknown_2 = _alone(second, taken, first_gaps)
    offsets = [b.start_s - a.start_s for a, b in pairs]
    return Matches(
        pairs=tuple(sorted(pairs, key=lambda pair: pair[0].start_s)), only_first=alone_1, only_second=alone_2,
        unknown=(*unknown_1, *unknown_2), offset_s=float(np.median(offsets)) if offsets else None,
    )  # fmt: skip


def _pairs(first: list[SupplyEvent], second: list[SupplyEvent]) -> list[tuple[SupplyEvent, SupplyEvent]]:
    """Assign within clusters of events that could belong together, so that large records stay cheap."""
    done: list[tuple[SupplyEvent, SupplyEvent]] = []
    reach = max((e.clock_error_s for e in (*first, *second)), default=0.0) * 2 + CYCLE_S
    marks = sorted(
        [(e.start_s, 0, e) for e in first] + [(e.start_s, 1, e) for e in second], key=lambda m: m[:2]
    )
    cluster: list[tuple[float, int, SupplyEvent]] = []
    for mark in [*marks, None]:
        if mark is None or (cluster and mark[0] - cluster[-1][0] > reach):
            done += _assign([e for _, side, e in cluster if side == 0], [e for _, side, e in cluster if side])
            cluster = []
        if mark is not None:
            cluster.append(mark)
    return done


def _assign(first: list[SupplyEvent], second: list[SupplyEvent]) -> list[tuple[SupplyEvent, SupplyEvent]]:
    """Find the pairing with the least total difference among those the clocks allow."""
    if not first or not second:
        return []
    apart = np.abs(np.array([[a.start_s - b.start_s for b in second] for a in first]))
    allowed = np.array([[a.clock_error_s + b.clock_error_s + CYCLE_S for b in second] for a in first])
    rows, columns = scipy.optimize.linear_sum_assignment(np.where(apart <= allowed, apart, 1e6))
    return [(first[r], second[c]) for r, c in zip(rows, columns, strict=True) if apart[r, c] <= allowed[r, c]]


def _alone(
    events: Sequence[SupplyEvent], taken: set[int], other_gaps: Sequence[Gap]
) -> tuple[tuple[SupplyEvent, ...], tuple[SupplyEvent, ...]]:
    """Divide unpaired events by whether the other module was watching."""
    left = [e for e in events if id(e) not in taken]
    hidden = [any(g.start_s < e.back_end_s and e.start_s < g.end_s for g in other_gaps) for e in left]
    seen = tuple(e for e, dark in zip(left, hidden, strict=True) if not dark)
    return seen, tuple(e for e, dark in zip(left, hidden, strict=True) if dark)
