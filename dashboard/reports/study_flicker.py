"""What needs half cycles: flicker and rapid voltage changes, from a store that kept them or from seconds.

Half cycles are kept only where the module was set to send them (`study.half_cycles`). Without them flicker is
not available, and rapid changes come from least, mean and greatest Urms(1/2) of each second.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ingest.analysis.supply import flicker, rapid
from ingest.analysis.supply.compiled import Floats
from ingest.analysis.supply.flicker_estimate import NEEDED_S, estimate
from ingest.analysis.supply.records import SupplyEvent
from ingest.analysis.supply.study import INTERVAL_S, RapidFrom
from ingest.analysis.supply.windows import HalfCycles
from ingest.store.reader import HalfCycles as StoredRun
from ingest.store.reader import Reader

DAY_MS = 86_400_000
JOINED = 0.6
"""Two runs are one where the next begins this near its due time, in half cycles: ticks are whole ms."""
EDGE_S = 0.5
"""So much may be missing at the ends of 11 min."""
DEAD = 0.1
LAMP_EDGE_V = 160.0
"""Below this reference the lamp is the one of 120 V."""
ENOUGH = 0.99
SECONDS_MS_MAX = 62 * DAY_MS
"""Up to this period voltages are read second by second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fluctuation:
    """Hold Pst by 10 min of the clock, nan where it can't be had, and the rapid changes with their source."""

    pst: Floats
    changes: tuple[SupplyEvent, ...]
    source: RapidFrom


def lamp_of(reference_v: float) -> flicker.Lamp:
    """Return the lamp by which flicker is judged at a declared voltage."""
    return flicker.LAMP_120_V if reference_v < LAMP_EDGE_V else flicker.LAMP_230_V


def fluctuation(
    reader: Reader, module: int, start: int, end: int, tap: int, declared_v: float | None,
    band: tuple[float, float], watched_s: float,
) -> Fluctuation:  # fmt: skip
    """Read one tap, start <= t < end in UTC ms; `band`: fractions beyond which it is a dip or a swell."""
    first = int(start / 1000 // INTERVAL_S)
    pst = np.full(-int(-end / 1000 // INTERVAL_S) - first, np.nan)
    if declared_v is None:
        return Fluctuation(pst=pst, changes=(), source="")
    runs: list[StoredRun] = []
    for day in range(start, end, DAY_MS):
        stop = min(end, day + DAY_MS)
        runs += [r for r in reader.half_cycles(module, day, stop) if r.capture_id == 0 and r.tap == tap]
    pieces = joined(runs)
    for rows in pieces:
        _flicker(rows, declared_v, first, pst)
    kept_s = sum(float(rows.end_s[-1] - rows.end_s[0]) for rows in pieces)
    if watched_s > 0 and kept_s >= ENOUGH * watched_s:
        return Fluctuation(pst=pst, changes=_changes(pieces, declared_v, band), source="half cycles")
    if end - start > SECONDS_MS_MAX:
        return Fluctuation(pst=pst, changes=(), source="")
    seconds = _seconds(reader, module, start, end, tap)
    known = int((~np.isnan(seconds.mean_v)).sum())
    found = tuple(rapid.rapid_from_seconds(seconds, declared_v, band)) if known else ()
    return Fluctuation(pst=pst, changes=found, source="seconds" if known >= ENOUGH * watched_s else "")


def joined(runs: Sequence[StoredRun]) -> list[HalfCycles]:
    """Join runs that follow one another without a hole."""
    pieces: list[list[StoredRun]] = []
    due = -np.inf
    for run in sorted(runs, key=lambda one: (one.boot, one.start)):
        half_ms = run.period_us / 1000
        if not pieces or pieces[-1][-1].boot != run.boot or abs(run.start - due) > JOINED * half_ms:
            pieces.append([])
        pieces[-1].append(run)
        due = run.start + len(run.rms) * half_ms
    return [_rows(piece) for piece in pieces]


def _rows(runs: Sequence[StoredRun]) -> HalfCycles:
    rms = np.concatenate([run.rms for run in runs])
    half = np.concatenate([np.full(len(run.rms), run.period_us / 1e6) for run in runs])
    # The tick of a run is a whole ms: the mean spacing of all is truer than that of one.
    end = runs[0].start / 1000 + np.concatenate(([0.0], np.cumsum(half)[:-1]))
    drift = (runs[-1].start / 1000 - end[len(rms) - len(runs[-1].rms)]) / max(1, len(rms) - len(runs[-1].rms))
    end = end + drift * np.arange(len(rms))
    never = np.zeros(len(rms), dtype=np.bool_)
    return HalfCycles(
        start_s=end - 2 * half, end_s=end, rms_v=rms, half_s=half, half_v2s=rms**2 * half, held=never,
        clipped=never, rising=never,
    )  # fmt: skip


def _flicker(rows: HalfCycles, declared_v: float, first: int, pst: Floats) -> None:
    """Enter the Pst of each 10 min of the clock that these half cycles and the minute before them cover."""
    begin = int(np.ceil((rows.end_s[0] + flicker.SETTLE_S - EDGE_S) / INTERVAL_S))
    for number in range(begin, int((rows.end_s[-1] + EDGE_S) // INTERVAL_S)):
        stop = (number + 1) * INTERVAL_S
        low, high = np.searchsorted(rows.end_s, (stop - NEEDED_S, stop))
        piece = _cut(rows, int(low), int(high), declared_v)
        if 0 <= number - first < len(pst):
            found = estimate(piece, lamp_of(declared_v)).pst
            pst[number - first] = np.nan if found is None else found


def _cut(rows: HalfCycles, low: int, high: int, declared_v: float) -> HalfCycles:
    parts = (rows.start_s, rows.end_s, rows.rms_v, rows.half_s, rows.half_v2s)
    start, end, rms, half, squares = (part[low:high] for part in parts)
    # A dead line has no crossings, so its windows are held ones.
    return HalfCycles(
        start_s=start, end_s=end, rms_v=rms, half_s=half, half_v2s=squares, held=rms < DEAD * declared_v,
        clipped=rows.clipped[low:high], rising=rows.rising[low:high],
    )  # fmt: skip


def _changes(
    pieces: Sequence[HalfCycles], declared_v: float, band: tuple[float, float]
) -> tuple[SupplyEvent, ...]:
    found: list[SupplyEvent] = []
    for rows in pieces:
        state = rapid.rapid_start(0.5 / float(np.median(rows.half_s)))
        beyond = (rows.rms_v < band[0] * declared_v) | (rows.rms_v > band[1] * declared_v)
        found += rapid.rapid_changes(state, rows, beyond, declared_v)[1]
    return tuple(found)


def _seconds(reader: Reader, module: int, start: int, end: int, tap: int) -> rapid.Seconds:
    name = "supply_in" if tap == 0 else "supply_out"
    parts = [
        reader.trends(module, day, min(end, day + DAY_MS), (name,)) for day in range(start, end, DAY_MS)
    ]

    def column(of: str) -> Floats:
        return np.concatenate([getattr(part, of)[name] for part in parts])

    t = np.concatenate([part.t / 1000 - part.width_ms / 2000 for part in parts])
    return rapid.Seconds(
        start_s=t, low_v=column("minimum"), mean_v=column("mean"), high_v=column("maximum")
    )
