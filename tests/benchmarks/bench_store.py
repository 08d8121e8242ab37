"""Ingest into our store against one row a sample in SQLite, Parquet, and a real time-series server.

All get the same numbers: the pressure wave at 100 samples/s and the 25 fields of each second's trend. Ours
and the other SQLite commit once a simulated minute, both with the store's durability. Parquet has no durable
append (a file is readable when it is closed), and the server syncs when it likes: this comparison gives them
both for free. Ours also makes roll-ups, runs, bands and cursors in the same transaction. Totals are compared.
"""

import http.client
import json
import sqlite3
import tempfile
import time
import urllib.error
import urllib.parse
import urllib.request
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from firmware_sim.contract import messages
from ingest.records import COUNTERS, Batch, ClockFit, Hello, Session
from ingest.store.reader import open_reader
from ingest.store.writer import Writer
from tests.support.time_series_server import is_here, serving

UTC = 1_772_308_800_000
PORT = 18_431
NAMES = messages.field_names(messages.TREND)
NUMBERS_A_SECOND = 100 + len(NAMES)
TYPICAL = (22_950, 22_900, 23_010, 23_000, 22_990, 23_020, 49_980, 50_000, 900, 480, 2_010, 9_320, 5_010, 900,
           1, 0, 1, 0, 0, 545, 0, 700, 5_400, 350, 12)  # fmt: skip
TOTALS = ("in_rms", "oxygen")
HELLO = Hello(
    module=7, boot_id=1, revision=1, digest_low=1, digest_high=2, nonce_low=0, nonce_high=0, emulated=True,
    profile=1, firmware="bench", oldest_seq=1, next_seq=1, tick=0, module_utc=UTC, nominal_v=230,
    nominal_hz=50,
)  # fmt: skip


def made(seconds, seed=3):
    """Return (trend fields by second, wave by second) as integers on the wire; noisy, as sensors are."""
    random = np.random.default_rng(seed)
    trend = np.tile(np.array(TYPICAL), (seconds, 1))
    trend[:, :14] += random.normal(0, 12, (seconds, 14)).round().astype(int)
    at = np.arange(100 * seconds) / 100 % 4
    breath = 500 + 1500 * np.where(at < 1.2, at / 1.2, np.exp(-(at - 1.2) / 0.5))
    wave = (breath + random.normal(0, 8, len(at))).round().astype("<i2")
    return trend, wave.reshape(seconds, 100)


def batches(trend, wave):
    """Return one batch a minute, as the pipeline hands them over: payloads from the wire."""
    session = Session(link="bench", opened_utc=UTC, seen_utc=UTC, closed_utc=None, reason="",
                      counters=dict.fromkeys(COUNTERS, 0))  # fmt: skip
    out, seq = [], 0
    for first in range(0, len(trend), 60):
        records = {messages.TREND: [], messages.PRESSURE_WAVE: []}
        for second in range(first, min(first + 60, len(trend))):
            tick = (second + 1) * 1000
            fields = [int(value) for value in trend[second]]
            for kind, values, tail in (
                (messages.TREND, fields, None),
                (messages.PRESSURE_WAVE, (), wave[second].tolist()),
            ):
                seq += 1
                records[kind].append((seq, tick, messages.encode(kind, values, tail)))
        fit = ClockFit(tick=tick, utc0=UTC, rate_ppb=0, residual_ms=0, module_utc=UTC + tick, step=False)
        out.append(Batch(boot=1, last_seq=seq, last_tick=tick, session=session, records=records, fits=(fit,)))
    return out


def into_store(path, given):
    """Commit every batch with the real writer."""
    writer = Writer(path, UTC)
    writer.open_boot(HELLO, UTC)
    began = time.perf_counter()
    for batch in given:
        writer.commit([batch])
    took = time.perf_counter() - began
    writer.close()
    return took


def into_rows(path, trend, wave):
    """Write one row a sample, keyed by channel and time, a commit a minute."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("CREATE TABLE sample (channel INTEGER, t INTEGER, value INTEGER, "
                       "PRIMARY KEY (channel, t)) WITHOUT ROWID")  # fmt: skip
    began = time.perf_counter()
    for first in range(0, len(trend), 60):
        last = min(first + 60, len(trend))
        connection.execute("BEGIN")
        for column in range(len(NAMES)):
            values = trend[first:last, column].tolist()
            times = range(UTC + (first + 1) * 1000, UTC + (last + 1) * 1000, 1000)
            connection.executemany("INSERT INTO sample VALUES (?, ?, ?)",
                                   zip([column] * len(values), times, values, strict=True))  # fmt: skip
        values = wave[first:last].ravel().tolist()
        times = range(UTC + first * 1000 + 10, UTC + last * 1000 + 10, 10)
        connection.executemany("INSERT INTO sample VALUES (99, ?, ?)", zip(times, values, strict=True))
        connection.execute("COMMIT")
    took = time.perf_counter() - began
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return took


def into_parquet(path, trend, wave):
    """Write two files, one row group an hour as suits the format, closed at the end."""
    trends = pa.schema([("t", pa.int64()), *((name, pa.int32()) for name in NAMES)])
    waves = pa.schema([("t", pa.int64()), ("value", pa.int16())])
    path.mkdir()
    began = time.perf_counter()
    with pq.ParquetWriter(path / "trend", trends) as slow, pq.ParquetWriter(path / "wave", waves) as fast:
        for first in range(0, len(trend), 3600):
            last = min(first + 3600, len(trend))
            t = np.arange(first + 1, last + 1) * 1000 + UTC
            columns = [t, *(trend[first:last, column] for column in range(len(NAMES)))]
            slow.write_table(pa.table([pa.array(column, field.type) for column, field in
                                       zip(columns, trends, strict=True)], schema=trends))  # fmt: skip
            t = np.arange(first * 100 + 1, last * 100 + 1) * 10 + UTC
            fast.write_table(pa.table([t, wave[first:last].ravel()], schema=waves))
    return time.perf_counter() - began


def into_server(trend, wave):
    """Post the server's own import format, a body a minute; making the bodies is not counted."""
    bodies = []
    for first in range(0, len(trend), 60):
        last = min(first + 60, len(trend))
        times = list(range(UTC + (first + 1) * 1000, UTC + (last + 1) * 1000, 1000))
        series = [(name, times, trend[first:last, column]) for column, name in enumerate(NAMES)]
        times = list(range(UTC + first * 1000 + 10, UTC + last * 1000 + 10, 10))
        series.append(("wave", times, wave[first:last].ravel()))
        bodies.append("\n".join(
            json.dumps({"metric": {"__name__": name}, "values": values.tolist(), "timestamps": times})
            for name, times, values in series).encode())  # fmt: skip
    connection = http.client.HTTPConnection("127.0.0.1", PORT, timeout=120)
    began = time.perf_counter()
    for body in bodies:
        connection.request("POST", "/api/v1/import", body)
        answer = connection.getresponse()
        answer.read()
        assert answer.status == 204, answer.status
    took = time.perf_counter() - began
    connection.close()
    return took


def asked(seconds, name):
    """Ask the server for the sum of a series."""
    urllib.request.urlopen(f"http://127.0.0.1:{PORT}/internal/force_flush", timeout=60).close()
    query = urllib.parse.urlencode({
        "query": f"sum_over_time({name}[{seconds + 10}s])", "time": UTC // 1000 + seconds + 1, "nocache": 1,
    })  # fmt: skip
    with urllib.request.urlopen(f"http://127.0.0.1:{PORT}/api/v1/query?{query}", timeout=60) as answer:
        return float(json.load(answer)["data"]["result"][0]["value"][1])


def size(path):
    """Return the bytes of a file, or of all files under a folder."""
    return sum(
        part.stat().st_size for part in ([path] if path.is_file() else path.rglob("*")) if part.is_file()
    )


def check(store, single, parquet, trend, wave):
    """Compare the totals of all with what was given."""
    with open_reader(store) as reader:
        kept = reader.records(messages.TREND, 7, UTC, UTC + 10**9)
        for name in TOTALS:
            assert round(float(kept.columns[name].sum()) * 100) == trend[:, NAMES.index(name)].sum(), name
        assert round(float(np.sum(reader.wave(7, UTC, UTC + 10**9).value)) * 100) == wave.sum(dtype=int)
    connection = sqlite3.connect(single)
    for number, total in ((NAMES.index("in_rms"), trend[:, 0].sum()), (99, wave.sum(dtype=int))):
        assert connection.execute(
            "SELECT sum(value) FROM sample WHERE channel = ?", (number,)
        ).fetchone() == (total,)
    connection.close()
    assert pq.read_table(parquet / "wave")["value"].to_numpy().sum(dtype=int) == wave.sum(dtype=int)


def rows(quick):
    """Yield time and bytes a number of each way."""
    seconds = 900 if quick else 7200
    trend, wave = made(seconds)
    given, count = batches(trend, wave), seconds * NUMBERS_A_SECOND
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store, single, parquet = folder / "ours.db", folder / "single.db", folder / "parquet"
        ours = into_store(store, given)
        found = {"one SQLite row a sample": (into_rows(single, trend, wave), size(single))}
        found["Parquet, no durability"] = into_parquet(parquet, trend, wave), size(parquet)
        check(store, single, parquet, trend, wave)
        if is_here():
            with serving(folder / "server", PORT):
                took = into_server(trend, wave)
                assert round(asked(seconds, "in_rms")) == trend[:, 0].sum()
            found["victoria-metrics, its own import"] = took, size(folder / "server")
        for peer, (took, _) in found.items():
            yield (
                f"ingest, a commit a minute, against {peer}",
                ours / count * 1e9,
                "ns a number",
                "",
                took / ours,
            )
        for peer, (_, held) in found.items():
            yield f"bytes on disk, against {peer}", size(store) / count, "B a number", "", held / size(store)
