"""Trends from the finest level that the pixels need, bands of codes, and the pressure wave."""

from collections.abc import Iterator, Sequence

import numpy as np

from firmware_sim.contract import messages
from ingest.store.reader.base import Base, matrix, unpack_tail
from ingest.store.reader.places import monitored
from ingest.store.reader.rows import Band, Boot, ClockIntervals, Floats, Series, Times, Trends
from ingest.store.schema import BANDS, LEVELS, QUANTITIES, SEQ_BITS, SEQ_MASK, field_rows

SCALES = {field[0]: field[3] for field in field_rows(messages.TREND)}
UNITS = {
    name: next(field[2] for field in field_rows(messages.TREND) if field[0] == columns[2])
    for name, columns in QUANTITIES.items()
}
SECOND_MS = 1000
# A level is taken while its rows are at most this many times the pixels; the store puts them together.
ROWS_PER_PIXEL = 8
WAVE_STEP_MS = 10


def trends(
    base: Base, module: int, start: int, end: int, quantities: Sequence[str] | None, pixels: int | None
) -> Trends:
    """Return quantities in about `pixels` bins (at most one more a boot), minimum and maximum kept.

    `pixels` None: every second. Bins are whole multiples of module time, so that the same window gives the
    same bins again. Raise KeyError for a quantity that isn't in QUANTITIES.
    """
    names = list(QUANTITIES) if quantities is None else list(quantities)
    if unknown := set(names) - set(QUANTITIES):
        raise KeyError(f"no quantity {sorted(unknown)}; there are {list(QUANTITIES)}")
    table, step = _level(end - start, pixels)
    width = step if pixels is None else step * max(1, -(-(end - start) // (pixels * step)))
    times, parts = [], []
    for boot, low, high in _spans(base, table, step, module, start, end):
        found = base.rows(_sql(table, step, width, names), (low, high))
        part = matrix(found, 2 + 4 * len(names))
        times.append(boot.utc_array(part[:, 0].astype(np.int64) * width + width // 2))
        parts.append(part)
    rows = np.concatenate(parts) if parts else np.empty((0, 2 + 4 * len(names)))
    t = np.concatenate(times) if times else np.empty(0, np.int64)
    order = np.argsort(t, kind="stable")
    rows, t = rows[order], t[order]
    kinds: list[dict[str, Floats]] = [{}, {}, {}]
    for index, name in enumerate(names):
        low_v, high_v, total, count = rows[:, 2 + 4 * index : 6 + 4 * index].T
        mean = np.divide(total, count, out=np.full_like(total, np.nan), where=count > 0)
        for kind, value in zip(kinds, (low_v, high_v, mean), strict=True):
            kind[name] = value / SCALES[QUANTITIES[name][2]]
    return Trends(
        t=t,
        width_ms=width,
        minimum=kinds[0],
        maximum=kinds[1],
        mean=kinds[2],
        count=rows[:, 1].astype(np.int64),
    )


def _level(length_ms: int, pixels: int | None) -> tuple[str, int]:
    if pixels is None or length_ms <= SECOND_MS * pixels * ROWS_PER_PIXEL:
        return "trend", SECOND_MS
    for level, width in LEVELS.items():
        if length_ms <= width * pixels * ROWS_PER_PIXEL:
            return f"rollup_{level}", width
    return "rollup_day", LEVELS["day"]


def _spans(
    base: Base, table: str, step: int, module: int, start: int, end: int
) -> Iterator[tuple[Boot, int, int]]:
    if table == "trend":
        # A second belongs to the window that holds its middle.
        yield from base.spans(table, module, start + SECOND_MS // 2, end + SECOND_MS // 2)
        return
    for boot in base.boots(module):
        low, high = boot.tick(start), boot.tick(end)
        if high > 0 and low <= boot.last_tick:
            head = boot.id << SEQ_BITS
            yield boot, head | max(low, 0) // step, head | (high - 1) // step + 1


def _sql(table: str, step: int, width: int, names: Sequence[str]) -> str:
    if table == "trend" and width == step:
        columns = [
            f"{low}, {high}, {mean}, {mean} IS NOT NULL"
            for low, high, mean in (QUANTITIES[name] for name in names)
        ]
        # The middle of the second, as a number of seconds.
        place = f"(max(tick, {SECOND_MS // 2}) - {SECOND_MS // 2}) / {width}"
        return f"SELECT {', '.join([place, '1', *columns])} FROM trend WHERE id >= ? AND id < ? ORDER BY id"
    if table == "trend":
        place = f"(max(tick, {SECOND_MS // 2}) - {SECOND_MS // 2}) / {width}"
        count = "count(*)"
        columns = [
            f"min({low}), max({high}), sum({mean}), count({mean})"
            for low, high, mean in (QUANTITIES[name] for name in names)
        ]
    else:
        place = f"(id & {SEQ_MASK}) / {width // step}"
        count = "sum(n)"
        columns = [f"min({name}_min), max({name}_max), sum({name}_sum), sum({name}_n)" for name in names]
    return f"SELECT {place}, {', '.join([count, *columns])} FROM {table} WHERE id >= ? AND id < ? GROUP BY 1"


def by_clock(
    base: Base, module: int, start: int, end: int, quantities: Sequence[str], interval_ms: int
) -> ClockIntervals:
    """Return the minutes of a window by whole intervals of the clock, put together by the database.

    A minute belongs to the interval that holds its middle. Raise KeyError for a quantity that isn't in
    QUANTITIES.
    """
    scales = [SCALES[QUANTITIES[name][2]] for name in quantities]
    minute, width = LEVELS["minute"], 1 + 5 * len(quantities)
    tick = f"((id & {SEQ_MASK}) * {minute} + {minute // 2})"
    # Rounded down, as `Boot.utc` does; the database rounds towards zero.
    drift = f"(({tick} * ? + {10**18}) / {10**9} - {10**9})"
    columns = ", ".join(
        f"min({name}_min), max({name}_max), count({mean}), total({mean}), total({mean} * {mean})"
        for name in quantities
        for mean in (f"(1.0 * {name}_sum / nullif({name}_n, 0))",)
    )
    place = f"(? + {tick} + {drift}) / {interval_ms}"
    sql = f"SELECT {place}, {columns} FROM rollup_minute WHERE id >= ? AND id < ? GROUP BY 1"
    parts = [
        matrix(base.rows(sql, (boot.utc0, boot.rate_ppb, low, high)), width)
        for boot, low, high in _spans(base, "rollup_minute", minute, module, start, end)
    ]
    rows = np.concatenate(parts) if parts else np.empty((0, width))
    # Two boots may share an interval.
    index, place_of = np.unique(rows[:, 0].astype(np.int64), return_inverse=True)
    kinds: list[dict[str, Floats]] = [{}, {}, {}, {}]
    for name, scale, (low_v, high_v, count, total, square) in zip(
        quantities, scales, rows[:, 1:].T.reshape(len(quantities), 5, len(rows)), strict=True
    ):
        low, high = np.full((2, len(index)), np.nan)
        np.fmin.at(low, place_of, low_v)
        np.fmax.at(high, place_of, high_v)
        counted = np.bincount(place_of, count, len(index))
        with np.errstate(invalid="ignore"):
            mean, mean_square = (
                np.bincount(place_of, sums, len(index)) / counted for sums in (total, square)
            )
        found = (low / scale, high / scale, mean / scale, mean_square / scale**2)
        for kind, value in zip(kinds, found, strict=True):
            kind[name] = value
    return ClockIntervals(
        index=index, minimum=kinds[0], maximum=kinds[1], mean=kinds[2], mean_square=kinds[3]
    )


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
        # The record's tick is the end of its second; its samples lie before it.
        ends = boot.utc_array(np.array([row[0] for row in found], np.int64))
        origin = ends - np.cumsum(sizes) * WAVE_STEP_MS
        times.append(np.repeat(origin, sizes) + np.arange(len(value)) * WAVE_STEP_MS)
        parts.append(value)
    t = np.concatenate(times) if times else np.empty(0, np.int64)
    value = np.concatenate(parts) if parts else np.empty(0)
    keep = (t >= start) & (t < end)
    return Series(t=t, value=value) if keep.all() else Series(t=t[keep], value=value[keep])
