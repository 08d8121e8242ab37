"""Write tables as CSV: unit in the header, ISO 8601 times with offset, missing values empty (RFC 4180)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ingest.analysis.night_clock import local_time

ORIGIN: Final = {True: "SIMULATED", False: "real module"}
_FORMULA_SIGNS: Final = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberColumn:
    """Hold one column of numbers: name, unit ('' for none), decimals, values with nan where missing."""

    name: str
    unit: str
    decimals: int
    values: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class TextColumn:
    """Hold one column of text; `typed` marks what a person wrote, which `strip` leaves out."""

    name: str
    values: Sequence[str]
    typed: bool = False


def csv_bytes(
    *,
    times_ms: NDArray[np.int64],
    columns: Sequence[NumberColumn | TextColumn],
    zone: tzinfo,
    emulated: bool,
    strip: bool = True,
) -> bytes:
    """Return one table as UTF-8: time, the columns in order, and the origin of the data in every row.

    Text that a spreadsheet would run as a formula gets an apostrophe before it.
    """
    kept = [c for c in columns if not (strip and isinstance(c, TextColumn) and c.typed)]
    for column in kept:
        if len(column.values) != times_ms.size:
            raise ValueError(f"column {column.name} has {len(column.values)} rows, time has {times_ms.size}")
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(["time (ISO 8601)", *(_header(column) for column in kept), "origin"])
    times = (local_time(int(at), zone).isoformat(timespec="milliseconds") for at in times_ms)
    origin = [ORIGIN[emulated]] * times_ms.size
    writer.writerows(zip(times, *(_cells(column) for column in kept), origin, strict=True))
    return out.getvalue().encode()


def _header(column: NumberColumn | TextColumn) -> str:
    unit = column.unit if isinstance(column, NumberColumn) else ""
    return f"{column.name} ({unit})" if unit else column.name


def _cells(column: NumberColumn | TextColumn) -> Iterator[str]:
    if isinstance(column, TextColumn):
        return (f"'{text}" if text.startswith(_FORMULA_SIGNS) else text for text in column.values)
    return ("" if value != value else f"{value:.{column.decimals}f}" for value in column.values.tolist())
