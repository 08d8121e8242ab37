"""What is derived from the contract for the store: insert statements, row packing, roll-up quantities."""

import struct
from collections.abc import Callable, Iterable
from typing import Any

from firmware_sim.contract import messages
from ingest.records import Record

SEQ_BITS = 32
SEQ_MASK = (1 << SEQ_BITS) - 1

# Messages that become rows of a table of the same name.
STORED = tuple(row for row in messages.MESSAGES if row[2] == "up" and row[3])
TABLES = {row[0]: row[1] for row in STORED}

# A quantity of the trends and the columns that give its minimum, maximum and mean, unit and wire scale.
QUANTITIES: dict[str, tuple[str, str, str]] = {
    "supply_in": ("in_min", "in_max", "in_rms"),
    "supply_out": ("out_min", "out_max", "out_rms"),
    "frequency_in": ("in_frequency", "in_frequency", "in_frequency"),
    "frequency_out": ("out_frequency", "out_frequency", "out_frequency"),
    "pressure": ("pressure_min", "pressure_max", "pressure_mean"),
    **{
        name: (name, name, name)
        for name in (
            "oxygen",
            "rail",
            "battery",
            "product_pressure",
            "battery_voltage",
            "ups_current",
            "surge_peak",
        )
    },
}
# Codes of the trends: stored as bands, a row at each change.
BANDS = ("supply_state", "oxygen_state", "mode", "preset", "sensors", "flags")
# Roll-up levels and their width in ms of module time.
LEVELS = {"minute": 60_000, "hour": 3_600_000, "day": 86_400_000}
# Fields that carry a raw tick and are widened when stored.
TICK_FIELDS = ("start_tick", "from_tick", "to_tick")

_NONE_OF = {"B": 0xFF, "H": 0xFFFF, "I": 0xFFFFFFFF, "h": -32768, "i": -2147483648}


def field_rows(message_id: int) -> tuple[tuple[str, str, str, int], ...]:
    """Return the (name, code, unit, scale) rows of a message's fields, tail left out."""
    return next(row[4] for row in messages.MESSAGES if row[0] == message_id)


def insert_sql(table: str, columns: Iterable[str]) -> str:
    """Return an insert that leaves a row alone when its key is there."""
    names = list(columns)
    listed = ", ".join(f'"{name}"' for name in names)
    return f"INSERT OR IGNORE INTO {table} ({listed}) VALUES ({', '.join('?' * len(names))})"


def widen(raw: int, near: int) -> int:
    """Return the widened tick whose low 32 bits are `raw`, within 2^31 ms of the widened tick `near`."""
    return near + ((raw - near + 0x80000000) & 0xFFFFFFFF) - 0x80000000


class RowPacker:
    """Turn records of one message into rows of its table."""

    def __init__(self, message_id: int) -> None:
        name, layout, size, bounds, _, _, _, _ = messages.LAYOUTS[message_id]
        row = next(row for row in messages.MESSAGES if row[0] == message_id)
        fields = [field[0] for field in row[4]]
        tail = [row[5][0]] if row[5] else []
        self.sql = insert_sql(name, ["id", "tick", *fields, *tail])
        self.size: int = size
        self.unpack: Callable[[bytes], tuple[Any, ...]] = struct.Struct(layout).unpack_from
        # struct never yields this object, so that a field that may not be missing compares unequal.
        never = object()
        self.missing = tuple(never if bound[2] is None else bound[2] for bound in bounds)
        self.sparse = any(bound[2] is not None for bound in bounds)
        self.has_tail = bool(tail)
        self.text = row[5] is not None and row[5][2] == "utf-8"
        self.ticks = tuple(fields.index(name) for name in TICK_FIELDS if name in fields)

    def rows(self, boot: int, records: list[Record]) -> list[tuple[Any, ...]]:
        """Return one tuple a record: id, tick, fields, tail."""
        high = boot << SEQ_BITS
        unpack, size, missing = self.unpack, self.size, self.missing
        out = []
        for seq, tick, payload in records:
            values = unpack(payload)
            if self.sparse:
                values = tuple(
                    [None if value == none else value for value, none in zip(values, missing, strict=True)]
                )
            if self.ticks:
                values = self._widened(values, tick)
            if self.has_tail:
                rest: Any = payload[size:]
                if self.text:
                    rest = rest.decode("utf-8", "replace")
                out.append((high | seq, tick, *values, rest))
            else:
                out.append((high | seq, tick, *values))
        return out

    def _widened(self, values: tuple[Any, ...], tick: int) -> tuple[Any, ...]:
        changed = list(values)
        for index in self.ticks:
            changed[index] = widen(changed[index], tick)
        return tuple(changed)


def _keep(function: str, column: str) -> str:
    # min() and max() of two values give NULL when either is: coalesce keeps the known one.
    other = f"excluded.{column}"
    return f"{column} = {function}(coalesce({column}, {other}), coalesce({other}, {column}))"


def rollup_sql(level: str) -> str:
    """Return the statement that adds the trends with ids in (?, ?] of one boot to a roll-up level.

    A trend's tick is the end of its second; the second belongs to the bucket that holds its middle.
    """
    columns = ["id", "n"]
    select = ["(id & ~:mask) | ((max(tick, 500) - 500) / :width)", "count(*)"]
    update = ["n = n + excluded.n"]
    for name, (low, high, mean) in QUANTITIES.items():
        columns += [f"{name}_min", f"{name}_max", f"{name}_sum", f"{name}_n"]
        select += [f"min({low})", f"max({high})", f"sum({mean})", f"count({mean})"]
        update += [_keep("min", f"{name}_min"), _keep("max", f"{name}_max")]
        update += [
            f"{name}_sum = coalesce({name}_sum + excluded.{name}_sum, {name}_sum, excluded.{name}_sum)"
        ]
        update += [f"{name}_n = {name}_n + excluded.{name}_n"]
    parameters = {":mask": str(SEQ_MASK), ":width": str(LEVELS[level])}
    sql = (
        f"INSERT INTO rollup_{level} ({', '.join(columns)}) SELECT {', '.join(select)} FROM trend "
        f"WHERE id > ? AND id <= ? GROUP BY 1 ON CONFLICT (id) DO UPDATE SET {', '.join(update)}"
    )
    for name, text in parameters.items():
        sql = sql.replace(name, text)
    return sql
