"""What the Night page asks of the store, against pandas over CSV and DuckDB over Parquet; answers compared.

The same night of trends and pressure wave in each. Times are those of a page that comes cold to the file:
open, ask, close; the best of several, so the file's pages are in memory for all of them.
"""

import tempfile
import time
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq
from bench_store import NAMES, UTC, batches, into_store, made

from ingest.store.reader import open_reader

MODULE, MINUTE = 7, 60_000
# What the page draws, and the columns of a trend behind each: mean, lowest, highest.
ASKED = {
    "supply_in": ("in_rms", "in_min", "in_max"),
    "pressure": ("pressure_mean", "pressure_min", "pressure_max"),
    "oxygen": ("oxygen", "oxygen", "oxygen"),
}
COLUMNS = sorted({column for columns in ASKED.values() for column in columns})
BREATH_MS = 15_000


def best(call, times):
    """Return the least milliseconds of several calls, and the last answer."""
    least, answer = float("inf"), None
    for _ in range(times):
        began = time.perf_counter()
        answer = call()
        least = min(least, time.perf_counter() - began)
    return least * 1000, answer


def night_of_store(path, seconds):
    """Ask the store as the page does."""
    with open_reader(path) as reader:
        found = reader.trends(MODULE, UTC, UTC + seconds * 1000, list(ASKED), pixels=seconds // 60)
    return np.column_stack(
        [part[name] for name in ASKED for part in (found.mean, found.minimum, found.maximum)]
    )


def night_of_pandas(path):
    """Read the columns of a CSV file and group them by the minute."""
    table = pd.read_csv(path, usecols=["t", *COLUMNS])
    groups = table.groupby((table["t"] - UTC - 1) // MINUTE)
    parts = [groups[column].agg(kind) for columns in ASKED.values()
             for column, kind in zip(columns, ("mean", "min", "max"), strict=True)]  # fmt: skip
    return pd.concat(parts, axis=1).to_numpy()


def night_of_duckdb(path):
    """Ask DuckDB the same of a Parquet file."""
    wanted = ", ".join(f"{kind}({column})" for columns in ASKED.values()
                       for column, kind in zip(columns, ("avg", "min", "max"), strict=True))  # fmt: skip
    with duckdb.connect() as connection:
        found = connection.execute(
            f"SELECT (t - {UTC} - 1) // {MINUTE} AS minute, {wanted} FROM '{path}' "
            "GROUP BY minute ORDER BY minute"
        ).fetchnumpy()
    return np.column_stack(list(found.values())[1:])


def breath_of_store(path, start):
    """Ask the store for the wave around a breath."""
    with open_reader(path) as reader:
        return np.round(reader.wave(MODULE, start, start + BREATH_MS).value * 100)


def breath_of_pandas(path, start):
    """Find it in a CSV file: all of it has to be read."""
    table = pd.read_csv(path)
    return table["value"][(table["t"] >= start) & (table["t"] < start + BREATH_MS)].to_numpy()


def breath_of_duckdb(path, start):
    """Find it in a Parquet file by its statistics."""
    with duckdb.connect() as connection:
        return connection.execute(
            f"SELECT value FROM '{path}' WHERE t >= {start} AND t < {start + BREATH_MS} ORDER BY t"
        ).fetchnumpy()["value"]


def write_peers(folder, trend, wave):
    """Write the same night as Parquet (a row group an hour) and CSV."""
    t = np.arange(1, len(trend) + 1) * 1000 + UTC
    night = pa.table({"t": t, **{name: trend[:, column].astype("i4") for column, name in enumerate(NAMES)}})
    # A wave record's tick is the end of its second; its samples lie before it.
    fast = pa.table({"t": np.arange(wave.size) * 10 + UTC, "value": wave.ravel()})
    for name, table, group in (("trend", night, 3600), ("wave", fast, 360_000)):
        pq.write_table(table, folder / f"{name}.parquet", row_group_size=group)
        pyarrow.csv.write_csv(table, folder / f"{name}.csv")


def rows(quick):
    """Yield the night's figure and one breath of it, each against both."""
    seconds, times = (3600, 2) if quick else (43_200, 5)
    trend, wave = made(seconds)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store = folder / "night.db"
        into_store(store, batches(trend, wave))
        write_peers(folder, trend, wave)
        ours, mine = best(lambda: night_of_store(store, seconds), times)
        for peer, call in (
            ("pandas over CSV", lambda: night_of_pandas(folder / "trend.csv")),
            ("DuckDB over Parquet", lambda: night_of_duckdb(folder / "trend.parquet")),
        ):
            took, other = best(call, times)
            # Pressure is in wire steps there; ours come in their units.
            assert np.allclose(mine * 100, other, rtol=1e-6), peer
            yield (
                f"three lanes of a night of {seconds / 3600:g} h by the minute, against {peer}",
                ours,
                "ms",
                "",
                took / ours,
            )
        start = UTC + seconds * 700
        ours, mine = best(lambda: breath_of_store(store, start), times)
        for peer, call in (
            ("pandas over CSV", lambda: breath_of_pandas(folder / "wave.csv", start)),
            ("DuckDB over Parquet", lambda: breath_of_duckdb(folder / "wave.parquet", start)),
        ):
            took, other = best(call, min(times, 2))
            assert len(mine) == len(other) and np.array_equal(mine, other), peer
            yield f"15 s of pressure wave out of that night, against {peer}", ours, "ms", "", took / ours
