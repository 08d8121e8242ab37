"""Captured waveforms for a package without names: one small table each, and a list of them."""

import itertools
from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from dashboard.reports.study_tables import Frame, times
from ingest.store.reader import Capture, Reader, tables

RATE_HZ = 3200.0
MOST = 500
"""Captures in one package: 500 of a second are about 30 MB of text before it is packed."""
DAY_MS = 86_400_000


def captures_of(reader: Reader, module: int, start: int, end: int) -> list[Capture]:
    """Return the first captures that begin in start <= t < end (UTC ms), both taps, at most MOST of each."""
    days = (reader.captures(module, day, min(end, day + DAY_MS)) for day in range(start, end, DAY_MS))
    return list(itertools.islice(itertools.chain.from_iterable(days), 2 * MOST))


def listed(captures: Sequence[Capture], origin: str) -> Frame:
    """Return one row a waveform; `file` names its table."""
    return pd.DataFrame(
        {
            "file": [_name(number) for number, _ in _grouped(captures)],
            "start_utc": times(group[0].start / 1000 for _, group in _grouped(captures)),
            "kind": [tables.CAPTURE_KINDS[group[0].kind] for _, group in _grouped(captures)],
            "samples": [max(len(one.codes) for one in group) for _, group in _grouped(captures)],
            "complete": [all(one.complete for one in group) for _, group in _grouped(captures)],
            "origin": [origin] * len(list(_grouped(captures))),
        }
    )


def waves(captures: Sequence[Capture]) -> Iterator[tuple[str, Frame]]:
    """Return name and table of each waveform: ms from its first sample, V of each tap, empty where lost."""
    for number, group in _grouped(captures):
        length = max(len(one.codes) for one in group)
        columns = {"ms": np.round(np.arange(length) * 1000.0 / RATE_HZ, 4)}
        for one in group:
            volts = np.full(length, np.nan)
            volts[: len(one.codes)] = np.round(one.volts, 3)
            for low, high in one.missing:
                volts[low:high] = np.nan
            columns[("before_v", "after_v")[one.tap]] = volts
        yield _name(number), pd.DataFrame(columns)


def _grouped(captures: Sequence[Capture]) -> Iterator[tuple[int, list[Capture]]]:
    groups: dict[tuple[int, int, int], list[Capture]] = {}
    for one in captures:
        # The number of a capture comes back after 65 535 others; its time doesn't.
        groups.setdefault((one.boot, one.capture_id, round(one.start)), []).append(one)
    return enumerate(groups.values(), 1)


def _name(number: int) -> str:
    return f"waves/{number:04d}.csv"
