"""Our block layout against one row a sample and against Parquet: same samples, durability and answer."""

import sqlite3
import tempfile
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from ingest.store.reader import open_reader
from nightkeel import simulate


def rows(quick):
    """Yield time and size of one hour (12 without --quick) of pressure wave, and of the night's query."""
    hours = 0.25 if quick else 2.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store = folder / "night.db"
        simulate("quiet-night", hours, None, str(store), quiet=True)
        with open_reader(store) as reader:
            module = reader.modules()[0].id
            start, end = reader.span(module)
            wave = reader.wave(module, start, end)
        blocks_s, blocks_mb = timed(write_blocks, folder / "blocks.db", wave)
        single_s, single_mb = timed(write_samples, folder / "single.db", wave)
        parquet_s, parquet_mb = timed(write_parquet, folder / "wave.parquet", wave)
        count = len(wave.t)
        assert read_samples(folder / "single.db") == read_blocks(folder / "blocks.db") == count
        yield (
            "pressure into blocks, against a row a sample",
            blocks_s / count * 1e9,
            "ns/sample",
            "",
            single_s / blocks_s,
        )
        yield (
            "pressure into blocks, against Parquet",
            blocks_s / count * 1e9,
            "ns/sample",
            "",
            parquet_s / blocks_s,
        )
        yield (
            "bytes a sample in blocks, against a row a sample",
            blocks_mb / count,
            "B",
            "",
            single_mb / blocks_mb,
        )
        yield "bytes a sample in blocks, against Parquet", blocks_mb / count, "B", "", parquet_mb / blocks_mb


def timed(write, path, wave):
    """Return seconds and bytes of one way of writing."""
    began = time.perf_counter()
    write(path, wave)
    return time.perf_counter() - began, path.stat().st_size


def connect(path):
    """Open a database with the store's durability."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    return connection


def write_blocks(path, wave):
    """Write int16 blocks, one row a second, a commit a minute: as the store does."""
    connection = connect(path)
    connection.execute("CREATE TABLE wave (id INTEGER PRIMARY KEY, t INTEGER, block BLOB)")
    codes = np.round(np.nan_to_num(wave.value) * 100).astype("<i2")
    for first in range(0, len(codes), 6000):
        part = [(at // 100, int(wave.t[at]), codes[at : at + 100].tobytes())
                for at in range(first, min(first + 6000, len(codes)), 100)]  # fmt: skip
        connection.execute("BEGIN")
        connection.executemany("INSERT INTO wave VALUES (?, ?, ?)", part)
        connection.execute("COMMIT")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


def write_samples(path, wave):
    """Write one row a sample, a commit a minute."""
    connection = connect(path)
    connection.execute("CREATE TABLE wave (t INTEGER PRIMARY KEY, value INTEGER)")
    codes = np.round(np.nan_to_num(wave.value) * 100).astype(int).tolist()
    times = wave.t.tolist()
    for first in range(0, len(codes), 6000):
        connection.execute("BEGIN")
        part = zip(times[first : first + 6000], codes[first : first + 6000], strict=True)
        connection.executemany("INSERT INTO wave VALUES (?, ?)", part)
        connection.execute("COMMIT")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


def write_parquet(path, wave):
    """Write one file at the end; Parquet has no durable appends, which this comparison gives it for free."""
    pq.write_table(
        pa.table({"t": wave.t, "value": np.round(np.nan_to_num(wave.value) * 100).astype("i2")}), path
    )


def read_samples(path):
    """Count the samples of the one-row way."""
    return sqlite3.connect(path).execute("SELECT count(*) FROM wave").fetchone()[0]


def read_blocks(path):
    """Count the samples of the block way."""
    return sqlite3.connect(path).execute("SELECT sum(length(block)) / 2 FROM wave").fetchone()[0]
