"""Merge stores of several modules into one, without doubles; what is known twice is kept once.

Records keep their module, boot and sequence, which are their key: only the store's own number of a boot
changes. A gap that the other store can fill is filled.
"""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from ingest.store.connect import open_readable
from ingest.store.schema import LEVELS, SEQ_BITS, SEQ_MASK, TABLES, rollup_sql
from ingest.store.writer import TREND_STEP_MS_MAX, Writer

# Tables keyed by boot and sequence.
_KEYED = (*TABLES.values(), "band")
_BATCH = 5000


@dataclass(frozen=True, slots=True, kw_only=True)
class Merged:
    """Count what one store brought."""

    records: int
    already: int
    boots: int
    marks: int


def merge(
    target: Path, source: Path, now: int, progress: Callable[[int], None] = lambda records: None
) -> Merged:
    """Bring everything of `source` into `target` in one transaction; raise UserError when one is unusable."""
    with closing(open_readable(source)) as reading:
        writer = Writer(target, now)
        try:
            with writer.transaction() as writing:
                return _merge(reading, writing, progress)
        finally:
            writer.close()


def _merge(
    reading: sqlite3.Connection, writing: sqlite3.Connection, progress: Callable[[int], None]
) -> Merged:
    for row in reading.execute("SELECT * FROM module"):
        writing.execute(
            f"INSERT INTO module VALUES ({', '.join('?' * len(row))}) ON CONFLICT (id) DO UPDATE SET "
            "site = CASE site WHEN '' THEN excluded.site ELSE site END, "
            "bed = CASE bed WHEN '' THEN excluded.bed ELSE bed END, "
            "first_utc = min(first_utc, excluded.first_utc), last_utc = max(last_utc, excluded.last_utc)",
            row,
        )
    boots = {
        row[0]: _boot(writing, row) for row in reading.execute("SELECT * FROM boot ORDER BY id").fetchall()
    }
    seen = new = 0
    for theirs, ours in boots.items():
        for table in _KEYED:
            some, fresh = _records(reading, writing, table, theirs, ours, progress)
            if table != "band":
                seen, new = seen + some, new + fresh
        _times(reading, writing, theirs, ours)
        _rebuild(reading, writing, theirs, ours)
    return Merged(records=new, already=seen - new, boots=len(boots), marks=_marks(reading, writing, boots))


def _boot(writing: sqlite3.Connection, row: tuple[object, ...]) -> int:
    _, module, boot_id, *rest = row
    writing.execute(
        "INSERT INTO boot (module, boot_id, revision, digest_low, digest_high, firmware, emulated, "
        f"first_utc, last_seq, last_tick, utc0, rate_ppb) VALUES ({', '.join('?' * 12)}) "
        "ON CONFLICT (module, boot_id) DO UPDATE SET "
        "utc0 = CASE WHEN excluded.last_tick > last_tick THEN excluded.utc0 ELSE utc0 END, "
        "rate_ppb = CASE WHEN excluded.last_tick > last_tick THEN excluded.rate_ppb ELSE rate_ppb END, "
        "first_utc = min(first_utc, excluded.first_utc), last_seq = max(last_seq, excluded.last_seq), "
        "last_tick = max(last_tick, excluded.last_tick)",
        (module, boot_id, *rest),
    )
    found = writing.execute(
        "SELECT id FROM boot WHERE module = ? AND boot_id = ?", (module, boot_id)
    ).fetchone()
    return int(found[0])


def _records(
    reading: sqlite3.Connection,
    writing: sqlite3.Connection,
    table: str,
    theirs: int,
    ours: int,
    progress: Callable[[int], None],
) -> tuple[int, int]:
    found = reading.execute(
        f"SELECT * FROM {table} WHERE id > ? AND id < ? ORDER BY id",
        (theirs << SEQ_BITS, (theirs + 1) << SEQ_BITS),
    )
    seen, before = 0, writing.total_changes
    while rows := found.fetchmany(_BATCH):
        writing.executemany(
            f"INSERT OR IGNORE INTO {table} VALUES ({', '.join('?' * len(rows[0]))})",
            [((ours << SEQ_BITS) | (row[0] & SEQ_MASK), *row[1:]) for row in rows],
        )
        seen += len(rows)
        progress(len(rows))
    return seen, writing.total_changes - before


def _times(reading: sqlite3.Connection, writing: sqlite3.Connection, theirs: int, ours: int) -> None:
    for table, columns in (("clock", 7), ("gap", 8), ("host_command", 14)):
        for row in reading.execute(f"SELECT * FROM {table} WHERE boot = ?", (theirs,)).fetchall():
            changed = (None, ours, *row[2:]) if table == "host_command" else (ours, *row[1:])
            writing.execute(f"INSERT OR IGNORE INTO {table} VALUES ({', '.join('?' * columns)})", changed)
    for row in reading.execute("SELECT * FROM session WHERE boot = ?", (theirs,)).fetchall():
        writing.execute(
            f"INSERT OR IGNORE INTO session VALUES ({', '.join('?' * len(row))})", (None, ours, *row[2:])
        )
    pruned = reading.execute("SELECT seq, utc FROM pruned WHERE boot = ?", (theirs,)).fetchone()
    if pruned is not None:
        writing.execute("INSERT OR IGNORE INTO pruned VALUES (?, ?, ?)", (ours, *pruned))
    _fill_gaps(writing, ours)


def _fill_gaps(writing: sqlite3.Connection, boot: int) -> None:
    head = boot << SEQ_BITS
    for first, last in writing.execute(
        "SELECT first_seq, last_seq FROM gap WHERE boot = ?", (boot,)
    ).fetchall():
        held = sum(
            writing.execute(
                f"SELECT count(*) FROM {table} WHERE id >= ? AND id <= ?", (head | first, head | last)
            ).fetchone()[0]
            for table in TABLES.values()
        )
        if held > last - first:
            writing.execute("DELETE FROM gap WHERE boot = ? AND first_seq = ?", (boot, first))


def _rebuild(reading: sqlite3.Connection, writing: sqlite3.Connection, theirs: int, ours: int) -> None:
    """Make runs and roll-ups anew from the seconds; of pruned seconds take the fuller of what both kept."""
    head, end = ours << SEQ_BITS, (ours + 1) << SEQ_BITS
    if writing.execute("SELECT count(*) FROM pruned WHERE boot = ?", (ours,)).fetchone()[0]:
        for first, last in reading.execute(
            "SELECT first_tick, last_tick FROM run WHERE boot = ?", (theirs,)
        ).fetchall():
            writing.execute(
                "INSERT INTO run VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET last_tick = max(last_tick, "
                "excluded.last_tick)",
                (ours, first, last),
            )
        for level in LEVELS:
            for row in reading.execute(
                f"SELECT * FROM rollup_{level} WHERE id >> {SEQ_BITS} = ?", (theirs,)
            ).fetchall():
                key = head | (row[0] & SEQ_MASK)
                writing.execute(f"DELETE FROM rollup_{level} WHERE id = ? AND n < ?", (key, row[1]))
                writing.execute(
                    f"INSERT OR IGNORE INTO rollup_{level} VALUES ({', '.join('?' * len(row))})",
                    (key, *row[1:]),
                )
        return
    for level in LEVELS:
        writing.execute(f"DELETE FROM rollup_{level} WHERE id >= ? AND id < ?", (head, end))
        writing.execute(rollup_sql(level), (head, end - 1))
    writing.execute("DELETE FROM run WHERE boot = ?", (ours,))
    writing.execute(
        "INSERT INTO run SELECT ?, min(tick), max(tick) FROM ("
        "SELECT tick, sum(fresh) OVER (ORDER BY id) AS part FROM ("
        "SELECT id, tick, coalesce(tick - lag(tick) OVER (ORDER BY id) > ?, 1) AS fresh FROM trend "
        "WHERE id >= ? AND id < ?)) GROUP BY part",
        (ours, TREND_STEP_MS_MAX, head, end),
    )


def _marks(reading: sqlite3.Connection, writing: sqlite3.Connection, boots: dict[int, int]) -> int:
    added = 0
    numbers: dict[int, int] = {}
    columns = (
        "mark, version, module, boot, tick, utc, utc_end, kind, author, text, data, recorded_utc, removed"
    )
    for row in reading.execute(f"SELECT {columns} FROM mark ORDER BY mark, version").fetchall():
        mark, version, module, boot, *rest = row
        if mark not in numbers:
            twin = writing.execute(
                "SELECT mark FROM mark WHERE version = 1 AND module = ? AND utc = ? AND author = ? "
                "AND text = ? AND recorded_utc = ?",
                (module, row[5], row[8], row[9], row[11]),
            ).fetchone()
            numbers[mark] = (
                twin[0]
                if twin
                else writing.execute("SELECT coalesce(max(mark), 0) + 1 FROM mark").fetchone()[0]
            )
        added += writing.execute(
            f"INSERT OR IGNORE INTO mark ({columns}) VALUES ({', '.join('?' * 13)})",
            (numbers[mark], version, module, boots.get(boot), *rest),
        ).rowcount
    return added
