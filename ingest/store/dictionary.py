"""The shape of a store as its own database reports it."""

import sqlite3
from contextlib import closing

from ingest.store.migrations import migrate


def tables() -> dict[str, list[str]]:
    """Return the columns of every table of the newest shape, in order."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        migrate(connection, 0)
        names = connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY rowid"
        ).fetchall()
        return {
            name: [row[1] for row in connection.execute(f"PRAGMA table_info({name})")] for (name,) in names
        }
