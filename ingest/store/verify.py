"""Check that a store holds what it claims: whole pages, each sequence once or in a gap, sums that agree."""

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ingest.store.connect import explain, open_readable
from ingest.store.schema import LEVELS, SEQ_BITS, SEQ_MASK, TABLES


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Say what was counted, and one sentence for each fault."""

    modules: int
    boots: int
    records: int
    missing: int
    gaps: int
    problems: tuple[str, ...]


def verify(path: Path) -> Report:
    """Check a store without changing it; raise UserError when it can't be opened at all."""
    with closing(open_readable(path)) as connection:
        try:
            return _verify(connection, str(path))
        except sqlite3.Error as error:
            raise explain(error, str(path)) or error from error


def _verify(connection: sqlite3.Connection, path: str) -> Report:
    problems = []
    for (line,) in connection.execute("PRAGMA integrity_check(10)"):
        if line != "ok":
            problems.append(f"{path}: {' '.join(str(line).split())}")
    for table, row, parent, _ in connection.execute("PRAGMA foreign_key_check"):
        problems.append(f"row {row} of {table} points to a {parent} that isn't there")
    boots = connection.execute("SELECT id, last_seq FROM boot ORDER BY id").fetchall()
    records = missing = 0
    for boot, last_seq in boots:
        found, lacking, faults = _check_boot(connection, boot, last_seq)
        records, missing, problems = records + found, missing + lacking, problems + faults
    return Report(
        modules=connection.execute("SELECT count(*) FROM module").fetchone()[0],
        boots=len(boots),
        records=records,
        missing=missing,
        gaps=connection.execute("SELECT count(*) FROM gap").fetchone()[0],
        problems=tuple(problems),
    )


def _check_boot(connection: sqlite3.Connection, boot: int, last_seq: int) -> tuple[int, int, list[str]]:
    name = connection.execute(
        "SELECT printf('boot %08x of module %08x', boot_id, module) FROM boot WHERE id = ?", (boot,)
    ).fetchone()[0]
    problems = []
    seqs = _sequences(connection, boot)
    twice = len(seqs) - len(np.unique(seqs))
    if twice:
        problems.append(f"{name}: {twice} sequence numbers stand in two tables")
    beyond = int(np.count_nonzero(seqs > last_seq))
    if beyond:
        problems.append(f"{name}: {beyond} records lie beyond the cursor {last_seq}")
    covered = np.zeros(last_seq + 1, bool)
    covered[seqs[seqs <= last_seq]] = True
    kept = covered.copy()
    for first, last in connection.execute("SELECT first_seq, last_seq FROM gap WHERE boot = ?", (boot,)):
        covered[first : last + 1] = True
    pruned = connection.execute(
        "SELECT coalesce(max(seq), 0) FROM pruned WHERE boot = ?", (boot,)
    ).fetchone()[0]
    covered[: pruned + 1] = True
    unexplained = int(np.count_nonzero(~covered[1:]))
    if unexplained:
        first = int(np.flatnonzero(~covered[1:])[0]) + 1
        problems.append(f"{name}: {unexplained} records are missing without a gap, the first is {first}")
    problems += _check_sums(connection, boot, name, pruned)
    return len(seqs), int(np.count_nonzero(~kept[pruned + 1 :])), problems


def _sequences(connection: sqlite3.Connection, boot: int) -> NDArray[np.int64]:
    parts = [
        np.array(
            connection.execute(
                f"SELECT id & {SEQ_MASK} FROM {table} WHERE id > ? AND id < ?",
                (boot << SEQ_BITS, (boot + 1) << SEQ_BITS),
            ).fetchall(),
            np.int64,
        ).ravel()
        for table in TABLES.values()
    ]
    return np.concatenate(parts)


def _check_sums(connection: sqlite3.Connection, boot: int, name: str, pruned: int) -> list[str]:
    span = (boot << SEQ_BITS, (boot + 1) << SEQ_BITS)
    counts = {
        level: connection.execute(
            f"SELECT coalesce(sum(n), 0), coalesce(sum(pressure_sum), 0) FROM rollup_{level} "
            "WHERE id >= ? AND id < ?",
            span,
        ).fetchone()
        for level in LEVELS
    }
    trends = connection.execute(
        "SELECT count(*), coalesce(sum(pressure_mean), 0) FROM trend WHERE id > ? AND id < ?", span
    ).fetchone()
    problems = []
    if len(set(counts.values())) > 1:
        problems.append(f"{name}: minutes, hours and days don't add up to the same ({counts})")
    if not pruned and trends != counts["minute"]:
        problems.append(f"{name}: {trends[0]} seconds are stored, {counts['minute'][0]} are in the roll-ups")
    return problems
