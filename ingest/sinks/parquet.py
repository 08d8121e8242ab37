"""Write a store as Parquet for those who study many sites: one folder a table, parted by site and day.

    trend/site=clinic/day=2026-05-11/000000ab.parquet

Columns are in the units of the contract (named in each column's metadata), times are UTC with milliseconds.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from firmware_sim.contract import messages
from ingest.errors import UserError
from ingest.store.reader import Module, Reader, Records
from ingest.store.schema import TABLES, field_rows

DAY_MS = 86_400_000
WRITTEN = (
    messages.TREND,
    messages.BREATH,
    messages.ALARM,
    messages.SUPPLY_EVENT,
    messages.SUPPLY_STATE,
    messages.HEALTH,
)


def write_parquet(reader: Reader, folder: Path, progress: Callable[[int], None] = lambda days: None) -> int:
    """Write all modules of a store below `folder`, return the rows written; `progress(days done)`.

    Files of the same module and day are written anew, so that a later run replaces an earlier one.
    """
    if folder.exists() and not folder.is_dir():
        raise UserError(f"{folder} is a file; name a folder for the Parquet files.")
    rows = 0
    for module in reader.modules():
        for day in days(reader, module.id):
            for message_id in WRITTEN:
                rows += _write_day(reader, folder, module, message_id, day)
            progress(1)
    return rows


def days(reader: Reader, module: int) -> list[int]:
    """Return the UTC days (start in ms) on which a module has data."""
    span = reader.span(module)
    if span is None:
        return []
    return list(range(span[0] // DAY_MS * DAY_MS, span[1] + 1, DAY_MS))


def _write_day(reader: Reader, folder: Path, module: Module, message_id: int, day: int) -> int:
    found = reader.records(message_id, module.id, day, day + DAY_MS)
    if not len(found):
        return 0
    # A name from outside never leaves the folder: everything but letters, digits and -._~ is escaped.
    site = quote(module.site or "unnamed", safe="").replace(".", "%2E")
    label = datetime.fromtimestamp(day / 1000, UTC).strftime("%Y-%m-%d")
    place = folder / TABLES[message_id] / f"site={site}" / f"day={label}"
    place.mkdir(parents=True, exist_ok=True)
    pq.write_table(_table(module, message_id, found), place / f"{module.id:08x}.parquet", compression="zstd")
    return len(found)


def _table(module: Module, message_id: int, found: Records) -> pa.Table:
    names = ["utc", "module", "bed", "simulated", "boot", "seq", "tick_ms"]
    columns = [
        pa.array(found.t, pa.timestamp("ms", tz="UTC")),
        pa.array([f"{module.id:08x}"] * len(found)).dictionary_encode(),
        pa.array([module.bed] * len(found)).dictionary_encode(),
        pa.array(np.full(len(found), module.emulated)),
        pa.array(found.id >> 32),
        pa.array(found.id & 0xFFFFFFFF),
        pa.array(found.tick),
    ]
    units = {"tick_ms": "ms"}
    for name, _, unit, _ in field_rows(message_id):
        values = found[name]
        missing = np.isnan(values) if values.dtype.kind == "f" else None
        names.append(name)
        columns.append(pa.array(values, mask=missing))
        units[name] = unit
    fields = [
        pa.field(name, column.type, metadata={"unit": units.get(name, "")})
        for name, column in zip(names, columns, strict=True)
    ]
    note = {"origin": "SIMULATED" if module.emulated else "measured"}
    return pa.Table.from_arrays(columns, schema=pa.schema(fields, metadata=note))


def files(folder: Path) -> Iterator[Path]:
    """Return the files written below a folder."""
    return folder.rglob("*.parquet")
