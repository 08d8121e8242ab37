"""Remove old samples: events, roll-ups, marks and what bounds time stay, and so does what no sink has yet."""

import sqlite3
from dataclasses import dataclass
from pathlib import Path

from firmware_sim.contract import messages
from ingest.store.reader.rows import Boot
from ingest.store.schema import SEQ_BITS, TABLES
from ingest.store.writer import Writer

# What may go: the bulk. Alarms, supply events, log, settings, states and answers are kept for good.
PRUNED = tuple(
    TABLES[one]
    for one in (
        messages.TREND,
        messages.PRESSURE_WAVE,
        messages.SUPPLY_CYCLES,
        messages.INPUTS,
        messages.CAPTURE,
        messages.HALF_CYCLES,
        messages.HEALTH,
        messages.RAW,
        messages.BREATH,
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pruning:
    """Count what went and what was old enough but is not yet forwarded."""

    removed: int
    spared: int


def prune(path: Path, before_utc: int, now: int, even_unsent: bool) -> Pruning:
    """Remove samples older than `before_utc`; with `even_unsent` also those that no sink has taken.

    Every sink of the store must have taken a record before it may go; without any sink nothing has.
    """
    writer = Writer(path, now)
    try:
        with writer.transaction() as connection:
            counts = [
                _prune_boot(connection, boot, before_utc, now, even_unsent) for boot in _boots(connection)
            ]
        removed, spared = sum(one for one, _ in counts), sum(two for _, two in counts)
        if removed:
            writer.connection.execute("VACUUM")
        return Pruning(removed=removed, spared=spared)
    finally:
        writer.close()


def _boots(connection: sqlite3.Connection) -> list[Boot]:
    found = connection.execute(
        "SELECT id, module, boot_id, firmware, emulated, last_seq, last_tick, utc0, rate_ppb "
        "FROM boot ORDER BY id"
    )
    names = ("id", "module", "boot_id", "firmware", "emulated", "last_seq", "last_tick", "utc0", "rate_ppb")
    return [Boot(**dict(zip(names, row, strict=True))) for row in found]


def _prune_boot(
    connection: sqlite3.Connection, boot: Boot, before_utc: int, now: int, even_unsent: bool
) -> tuple[int, int]:
    head = boot.id << SEQ_BITS
    tick = boot.tick(before_utc)
    old = max(
        connection.execute(
            f"SELECT coalesce(max(id), 0) FROM {table} WHERE id > ? AND id < ? AND tick < ?",
            (head, (boot.id + 1) << SEQ_BITS, tick),
        ).fetchone()[0]
        for table in PRUNED
    )
    if old <= head:
        return 0, 0
    upto = old if even_unsent else min(old, head | _sent(connection, boot.id))
    spared = sum(
        connection.execute(f"SELECT count(*) FROM {table} WHERE id > ? AND id <= ?", (upto, old)).fetchone()[
            0
        ]
        for table in PRUNED
    )
    removed = sum(
        connection.execute(f"DELETE FROM {table} WHERE id > ? AND id <= ?", (head, upto)).rowcount
        for table in PRUNED
    )
    if removed:
        connection.execute(
            "INSERT INTO pruned VALUES (?, ?, ?) ON CONFLICT (boot) DO UPDATE SET "
            "seq = max(seq, excluded.seq), utc = excluded.utc",
            (boot.id, upto - head, now),
        )
    return removed, spared


def _sent(connection: sqlite3.Connection, boot: int) -> int:
    """Return the sequence up to which every sink has taken this boot; a sink that never saw it has none."""
    found = connection.execute(
        "SELECT min(coalesce(own.seq, 0)) FROM (SELECT DISTINCT name FROM sink) all_of "
        "LEFT JOIN sink own ON own.name = all_of.name AND own.boot = ?",
        (boot,),
    ).fetchone()[0]
    return int(found or 0)
