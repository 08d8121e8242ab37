"""Trends from the finest level that the pixels need, bands of codes, and the pressure wave."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from firmware_sim.contract import messages
from ingest.store.reader.base import Base, matrix, unpack_tail
from ingest.store.reader.places import monitored
from ingest.store.reader.rows import Band, Codes, Floats, Series, Times, Trends
from ingest.store.schema import BANDS, LEVELS, QUANTITIES, SEQ_BITS, field_rows

SCALES = {field[0]: field[3] for field in field_rows(messages.TREND)}
UNITS = {
    name: next(field[2] for field in field_rows(messages.TREND) if field[0] == columns[2])
    for name, columns in QUANTITIES.items()
}
SECOND_MS = 1000
# A level is taken while its rows are at most this many times the pixels; then they are reduced.
ROWS_PER_PIXEL = 4
WAVE_STEP_MS = 10


def trends(
    base: Base, module: int, start: int, end: int, quantities: Sequence[str] | None, pixels: int | None
) -> Trends:
    """Return quantities reduced to at most `pixels` bins with minimum and maximum kept.

    `pixels` None: every second. Raise KeyError for a quantity that isn't in QUANTITIES.
    """
    names = list(QUANTITIES) if quantities is None else list(quantities)
    for name in names:
        QUANTITIES[name]
    level, width = _level(end - start, pixels)
    parts = (
        [_seconds(base, module, start, end, names)]
        if level is None
        else [_rollup(base, level, width, module, start, end, names)]
    )
    t, data, count = parts[0]
    if pixels is not None and len(t) > pixels:
        width = max(width, -(-(end - start) // pixels))
        t, data, count = _reduce(t, data, count, start, width)
    data = data.copy()
    data[:, 2] = np.divide(data[:, 2], data[:, 3], out=np.full_like(data[:, 2], np.nan), where=data[:, 3] > 0)
    scale = [SCALES[QUANTITIES[name][2]] for name in names]
    kinds = [
        {name: data[index, kind] / scale[index] for index, name in enumerate(names)} for kind in range(3)
    ]
    return Trends(t=t, width_ms=width, minimum=kinds[0], maximum=kinds[1], mean=kinds[2], count=count)


def _level(length_ms: int, pixels: int | None) -> tuple[str | None, int]:
    if pixels is None or length_ms <= SECOND_MS * pixels * ROWS_PER_PIXEL:
        return None, SECOND_MS
    for level, width in LEVELS.items():
        if length_ms <= width * pixels * ROWS_PER_PIXEL:
            return level, width
    return "day", LEVELS["day"]


_Table = tuple[Times, NDArray[np.float64], Codes]


def _seconds(base: Base, module: int, start: int, end: int, names: Sequence[str]) -> _Table:
    columns = list(dict.fromkeys(column for name in names for column in QUANTITIES[name]))
    listed = ", ".join(columns)
    times, parts = [], []
    # A second belongs to the window that holds its middle.
    for boot, low, high in base.spans("trend", module, start + SECOND_MS // 2, end + SECOND_MS // 2):
        found = base.rows(
            f"SELECT tick, {listed} FROM trend WHERE id >= ? AND id < ? ORDER BY id", (low, high)
        )
        part = matrix(found, len(columns) + 1)
        times.append(boot.utc_array(part[:, 0].astype(np.int64)) - SECOND_MS // 2)
        parts.append(part)
    all_rows = np.concatenate(parts) if parts else np.empty((0, len(columns) + 1))
    t = np.concatenate(times) if times else np.empty(0, np.int64)
    data = np.empty((len(names), 4, len(t)))
    for index, name in enumerate(names):
        for kind, column in enumerate(QUANTITIES[name]):
            data[index, kind] = all_rows[:, columns.index(column) + 1]
        data[index, 3] = ~np.isnan(data[index, 2])
    data[:, 2] = np.nan_to_num(data[:, 2])
    return t, data, np.ones(len(t), np.int64)


def _rollup(
    base: Base, level: str, width: int, module: int, start: int, end: int, names: Sequence[str]
) -> _Table:
    listed = ", ".join(f"{name}_{kind}" for name in names for kind in ("min", "max", "sum", "n"))
    times, parts = [], []
    for boot in base.boots(module):
        low, high = boot.tick(start), boot.tick(end)
        if high < 0 or low > boot.last_tick:
            continue
        first = (boot.id << SEQ_BITS) | max(low, 0) // width
        last = (boot.id << SEQ_BITS) | high // width
        found = base.rows(
            f"SELECT id, n, {listed} FROM rollup_{level} WHERE id >= ? AND id <= ? ORDER BY id", (first, last)
        )
        part = matrix(found, 2 + 4 * len(names))
        bucket = part[:, 0].astype(np.int64) & ((1 << SEQ_BITS) - 1)
        times.append(boot.utc_array(bucket * width + width // 2))
        parts.append(part)
    rows = np.concatenate(parts) if parts else np.empty((0, 2 + 4 * len(names)))
    t = np.concatenate(times) if times else np.empty(0, np.int64)
    data = np.ascontiguousarray(rows[:, 2:].T).reshape(len(names), 4, -1)
    data[:, 2] = np.nan_to_num(data[:, 2])
    return t, data, rows[:, 1].astype(np.int64)


def _reduce(t: Times, data: NDArray[np.float64], count: Codes, start: int, width: int) -> _Table:
    order = np.argsort(t, kind="stable")
    t, data, count = t[order], data[:, :, order], count[order]
    bins = (t - start) // width
    heads = np.flatnonzero(np.r_[True, bins[1:] != bins[:-1]])
    out = np.empty((data.shape[0], 4, len(heads)))
    out[:, 0] = np.fmin.reduceat(data[:, 0], heads, axis=1)
    out[:, 1] = np.fmax.reduceat(data[:, 1], heads, axis=1)
    out[:, 2] = np.add.reduceat(data[:, 2], heads, axis=1)
    out[:, 3] = np.add.reduceat(data[:, 3], heads, axis=1)
    return start + bins[heads] * width + width // 2, out, np.add.reduceat(count, heads)


def bands(base: Base, module: int, start: int, end: int, column: str) -> list[Band]:
    """Return the stretches of one code of the trends (a name of BANDS), cut where nothing was recorded."""
    if column not in BANDS:
        raise KeyError(column)
    stretches = monitored(base, module, start, end)
    out: list[Band] = []
    for boot in base.boots(module):
        low, high = boot.tick(start), boot.tick(end)
        if high < 0 or low > boot.last_tick:
            continue
        found = base.rows(
            f"SELECT tick, {column} FROM band WHERE id > ? AND id <= ? AND tick < ? ORDER BY id",
            (boot.id << SEQ_BITS, (boot.id + 1) << SEQ_BITS, high),
        )
        ends = [row[0] - SECOND_MS for row in found[1:]] + [min(high, boot.last_tick)]
        for (tick, code), stop in zip(found, ends, strict=True):
            for stretch in stretches:
                first = max(boot.utc(tick - SECOND_MS), stretch.start)
                last = min(boot.utc(stop), stretch.end)
                if first < last:
                    _extend(out, first, last, code)
    return out


def _extend(out: list[Band], start: int, end: int, code: int) -> None:
    if out and out[-1].end == start and out[-1].code == code:
        out[-1] = Band(start=out[-1].start, end=end, code=code)
    else:
        out.append(Band(start=start, end=end, code=code))


def wave(base: Base, module: int, start: int, end: int) -> Series:
    """Return the circuit pressure at 100 S/s in cmH2O; a second that was not recorded is a jump in `t`."""
    times: list[Times] = []
    parts: list[Floats] = []
    for boot, low, high in base.spans("pressure_wave", module, start, end + SECOND_MS):
        found = base.rows(
            "SELECT tick, wave FROM pressure_wave WHERE id >= ? AND id < ? ORDER BY id", (low, high)
        )
        if not found:
            continue
        value = unpack_tail(b"".join(row[1] for row in found), "h?", 100)
        sizes = np.array([len(row[1]) // 2 for row in found])
        ticks = np.repeat(np.array([row[0] for row in found], np.int64), sizes)
        # The record's tick is the end of its second; its samples lie before it.
        place = np.arange(len(value)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        times.append(boot.utc_array(ticks - np.repeat(sizes, sizes) * WAVE_STEP_MS + place * WAVE_STEP_MS))
        parts.append(value)
    t = np.concatenate(times) if times else np.empty(0, np.int64)
    value = np.concatenate(parts) if parts else np.empty(0)
    keep = (t >= start) & (t < end)
    return Series(t=t[keep], value=value[keep])
