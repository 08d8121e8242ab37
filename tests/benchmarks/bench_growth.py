"""How time, memory and size grow: a night, a month, a year of nights; one, ten, a hundred modules.

Each thing is measured at three sizes and an exponent fitted in log-log: 1 is linear, 0 doesn't grow at all.
The month has every second of its thirty nights; the year has the roll-ups of all nights and the seconds of
the last thirty, as a store has that is pruned. Later nights are copies of the first, by SQL. Memory is the
most that a process of its own holds, the interpreter and its libraries included.
"""

import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from bench_store import HELLO, UTC, batches, into_store, made
from bench_supply import a_year

from firmware_sim.contract import messages
from ingest.analysis.supply import study
from ingest.store.connect import open_writable
from ingest.store.reader import open_reader
from ingest.store.writer import Writer
from nightkeel import simulate

NIGHT_S, DAY_MS = 43_200, 86_400_000
LINEAR = "at most 1.1: linear or better"
ASK = """
import sys, time
from pathlib import Path
from ingest.store.reader import open_reader
def ask(path, start, end):
    with open_reader(path) as reader:
        return reader.trends(7, start, end, ["supply_in", "oxygen", "pressure"], pixels=720)
least = 9.0
for _ in range(3):
    began = time.perf_counter()
    found = ask(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
    least = min(least, time.perf_counter() - began)
assert found.count.sum() > 0
# Not getrusage: a child begins there with its parent's figure.
most = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
print(least * 1000, int(most.split()[1]) / 1024)
"""


def exponent(sizes, figures):
    """Return the slope of a straight line through the points in log-log."""
    return float(np.polyfit(np.log(sizes), np.log(np.maximum(figures, 1e-6)), 1)[0])


def grown(name, unit, sizes, label, figures):
    """Return one row: the figures at each size in its name, their exponent as its figure."""
    shown = ", ".join(f"{figure:.3g}" for figure in figures)
    at = ", ".join(f"{size:g}" for size in sizes)
    return f"{name} of {at} {label}: {shown} {unit}", exponent(sizes, figures), "log/log", LINEAR, None


def copy_nights(path, nights, with_seconds):
    """Repeat the first night of a store a day apart; `with_seconds` says how many keep their seconds."""
    connection = open_writable(path)
    connection.execute("PRAGMA synchronous = OFF")
    connection.execute("BEGIN")
    for table, width in (("rollup_minute", 60_000), ("rollup_hour", 3_600_000), ("rollup_day", DAY_MS)):
        names = ", ".join(row[1] for row in connection.execute(f"PRAGMA table_info({table})").fetchall()[1:])
        connection.execute(
            f"WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < {nights - 1}) "
            f"INSERT INTO {table} SELECT id + i * {DAY_MS // width}, {names} FROM n, {table} "
            f"WHERE {nights} > 1"
        )
    kept = range(nights - with_seconds, nights)
    names = ", ".join(row[1] for row in connection.execute("PRAGMA table_info(trend)").fetchall()[2:])
    for night in kept:
        if night:
            connection.execute(
                f"INSERT INTO trend SELECT id + {2 * night * NIGHT_S}, tick + {night * DAY_MS}, {names} "
                f"FROM trend WHERE tick <= {NIGHT_S * 1000}"
            )
    if 0 not in kept:
        connection.execute(f"DELETE FROM trend WHERE tick <= {NIGHT_S * 1000}")
    last = (nights - 1) * DAY_MS + NIGHT_S * 1000
    connection.execute("UPDATE boot SET last_tick = ?, last_seq = ?", (last, 2 * nights * NIGHT_S))
    connection.execute("UPDATE run SET last_tick = ?", (last,))
    connection.execute("COMMIT")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


def asked(path, start, end):
    """Return (ms, MB) of a question in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", ASK, str(path), str(start), str(end)],
        cwd=Path(__file__).parents[2], capture_output=True, text=True, check=True,
    )  # fmt: skip
    return tuple(float(word) for word in done.stdout.split())


def store_rows(folder, quick):
    """Yield questions to stores of a night, a month and a year."""
    trend, wave = made(NIGHT_S)
    given = [
        replace(batch, records={messages.TREND: batch.records[messages.TREND]})
        for batch in batches(trend, wave[:, :0])
    ]
    sizes = (1, 5, 60) if quick else (1, 30, 365)
    last, whole, megabytes = [], [], []
    for nights in sizes:
        path = folder / f"{nights}.db"
        into_store(path, given)
        copy_nights(path, nights, min(nights, sizes[1]))
        megabytes.append(path.stat().st_size / 1e6)
        begin = UTC + (nights - 1) * DAY_MS
        last.append(asked(path, begin, begin + NIGHT_S * 1000))
        whole.append(asked(path, UTC, begin + NIGHT_S * 1000))
        with open_reader(path) as reader:
            found = reader.trends(7, UTC, begin + NIGHT_S * 1000, ["oxygen"], pixels=720)
            assert abs(int(found.count.sum()) - nights * NIGHT_S) <= nights, (nights, found.count.sum())
        path.unlink()
    for name, figures in (("newest night out of a store", last), ("all", whole)):
        yield grown(name, "ms", sizes, "nights", [ms for ms, _ in figures])
        yield grown(f"{name}, memory", "MB", sizes, "nights", [mb for _, mb in figures])
    yield grown("trends on disk, seconds of 30 nights at most,", "MB", sizes, "nights", megabytes)


def module_rows(folder, quick):
    """Yield a minute of many modules, committed second by second in one transaction for all of them."""
    sizes = (1, 10, 100)
    seconds = 10 if quick else 60
    (given,) = batches(*made(60))
    spent, megabytes = [], []
    for count in sizes:
        path = folder / f"modules{count}.db"
        writer = Writer(path, UTC)
        boots = [writer.open_boot(replace(HELLO, module=number + 1, boot_id=number + 1), UTC).boot
                 for number in range(count)]  # fmt: skip
        began = time.perf_counter()
        for second in range(seconds):
            part = {kind: records[second : second + 1] for kind, records in given.records.items()}
            tick = (second + 1) * 1000
            writer.commit([replace(given, boot=boot, last_seq=2 * second + 2, last_tick=tick, records=part)
                           for boot in boots])  # fmt: skip
        spent.append((time.perf_counter() - began) / seconds * 1000)
        writer.close()
        megabytes.append(path.stat().st_size / 1e6)
    yield grown("commit of a second", "ms", sizes, "modules", spent)
    yield grown(f"store after {seconds} s", "MB", sizes, "modules", megabytes)


def study_rows(quick):
    """Yield the study of a week, a month and a year."""
    year = a_year()
    days = (7, 30, 90) if quick else (7, 30, 365)
    spent = []
    for length in days:
        end, count = length * 86_400.0, length * 144
        ten = year.ten_minutes
        columns = {name: getattr(ten, name) for name in ten.__slots__}
        cut = {name: column[:count] for name, column in columns.items() if np.ndim(column)}
        table = replace(ten, **cut)
        events = tuple(event for event in year.events if event.start_s < end)
        record = replace(year, end_s=end, ten_minutes=table, events=events)
        study.study(record)
        began = time.process_time()
        study.study(record)
        spent.append((time.process_time() - began) * 1000)
    yield grown("study", "ms", days, "days", spent)


def night_rows(folder, quick):
    """Yield simulated stretches of a night, physics to committed store."""
    hours = (0.1, 0.2, 0.4) if quick else (0.5, 1.5, 4.5)
    simulate("monsoon-night", 0.02, None, str(folder / "warm.db"), quiet=True)
    spent = []
    for length in hours:
        began = time.process_time()
        simulate("monsoon-night", length, None, str(folder / f"night{length}.db"), quiet=True)
        spent.append(time.process_time() - began)
    yield grown("simulated night", "s cpu", hours, "h", spent)


def rows(quick):
    """Yield everything that grows."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        yield from night_rows(folder, quick)
        yield from store_rows(folder, quick)
        yield from module_rows(folder, quick)
        yield from study_rows(quick)
