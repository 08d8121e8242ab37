"""Find records by time: UTC to ticks by each boot's clock, ticks to ids by bisection (both only grow)."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firmware_sim.contract import messages
from ingest.store.connect import open_readable
from ingest.store.reader.rows import Boot, Records
from ingest.store.schema import SEQ_BITS, field_rows

_SIZES: dict[str, Any] = {"h": np.int16, "H": np.uint16, "B": np.uint8, "i": np.int32}


class Base:
    """Hold the read-only connection and the way from time to rows."""

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self.connection = open_readable(self.path)

    def close(self) -> None:
        """Close the file."""
        self.connection.close()

    def rows(self, sql: str, parameters: tuple[object, ...] = ()) -> list[tuple[Any, ...]]:
        """Run one query and return all its rows."""
        return self.connection.execute(sql, parameters).fetchall()

    def boots(self, module: int) -> list[Boot]:
        """Return the boots of a module in order of first contact."""
        found = self.rows(
            "SELECT id, module, boot_id, firmware, emulated, last_seq, last_tick, utc0, rate_ppb "
            "FROM boot WHERE module = ? ORDER BY id",
            (module,),
        )
        return [
            Boot(
                id=row[0],
                module=row[1],
                boot_id=row[2],
                firmware=row[3],
                emulated=bool(row[4]),
                last_seq=row[5],
                last_tick=row[6],
                utc0=row[7],
                rate_ppb=row[8],
            )
            for row in found
        ]

    def first_id(self, table: str, boot: Boot, tick: int) -> int:
        """Return the smallest id of the boot in `table` with at least that tick, or one past its end."""
        low = (boot.id << SEQ_BITS) + 1
        end = (boot.id << SEQ_BITS) + boot.last_seq + 1
        if tick > boot.last_tick:
            return end
        high = end
        probe = f"SELECT id, tick FROM {table} WHERE id >= ? AND id < ? ORDER BY id LIMIT 1"
        while low < high:
            middle = (low + high) // 2
            row = self.connection.execute(probe, (middle, high)).fetchone()
            if row is None or row[1] >= tick:
                high = middle
            else:
                low = row[0] + 1
        return low

    def spans(self, table: str, module: int, start: int, end: int) -> Iterator[tuple[Boot, int, int]]:
        """Yield (boot, first id, end id) of each boot with ticks inside start <= UTC < end."""
        for boot in self.boots(module):
            low, high = boot.tick(start), boot.tick(end)
            if high < 0 or low > boot.last_tick or self._is_empty(table, boot):
                continue
            yield boot, self.first_id(table, boot, low), self.first_id(table, boot, high)

    def _is_empty(self, table: str, boot: Boot) -> bool:
        # Most years of samples are pruned: one look tells what two searches would find out.
        head = boot.id << SEQ_BITS
        found = self.rows(
            f"SELECT 1 FROM {table} WHERE id > ? AND id <= ? LIMIT 1", (head, head + boot.last_seq)
        )
        return not found

    def records(self, message_id: int, module: int, start: int, end: int) -> Records:
        """Return all records of one fixed-size message with start <= UTC < end."""
        name = messages.LAYOUTS[message_id][0]
        fields = field_rows(message_id)
        listed = ", ".join(f'"{field[0]}"' for field in fields)
        times, parts = [], []
        for boot, low, high in self.spans(name, module, start, end):
            found = self.rows(
                f"SELECT id, tick, {listed} FROM {name} WHERE id >= ? AND id < ? ORDER BY id", (low, high)
            )
            if found:
                part = matrix(found, len(fields) + 2)
                parts.append(part)
                times.append(boot.utc_array(part[:, 1].astype(np.int64)))
        data = np.concatenate(parts) if parts else np.empty((0, len(fields) + 2))
        utc = np.concatenate(times) if times else np.empty(0, np.int64)
        columns = {field[0]: scaled(data[:, index + 2], field) for index, field in enumerate(fields)}
        return Records(
            t=utc, id=data[:, 0].astype(np.int64), tick=data[:, 1].astype(np.int64), columns=columns
        )


def matrix(found: list[tuple[Any, ...]], width: int) -> NDArray[np.float64]:
    """Return rows of integers and NULLs as float64, NULL as NaN. Exact up to 2^53, which every id keeps."""
    return np.array(found, dtype=np.float64).reshape(-1, width)


def scaled(values: NDArray[np.float64], field: tuple[str, str, str, int]) -> NDArray[np.generic]:
    """Return a column in its unit; codes and counts that can't be missing as integers."""
    _, code, unit, scale = field
    if not unit and scale == 1 and not code.endswith("?"):
        return values.astype(np.int64)
    return values / scale


def unpack_tail(blob: bytes, code: str, scale: int) -> NDArray[np.float64]:
    """Return the array tail of a message in its unit, the missing marker as NaN."""
    kind = _SIZES[code[0]]
    raw = np.frombuffer(blob, dtype=np.dtype(kind).newbyteorder("<"))
    values = raw.astype(np.float64) / scale
    if code.endswith("?"):
        values[raw == (np.iinfo(kind).min if code[0] in "hi" else np.iinfo(kind).max)] = np.nan
    return values
